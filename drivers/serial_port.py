"""One serial port, opened to listen: it is read, never written.

`SerialPort` gives bytes and turns what pyserial and the system raise into the errors of
`drivers.contract`, each a sentence that says what would mend it.
"""

from __future__ import annotations

import errno
import os
import sys
import threading
import time
from contextlib import suppress
from pathlib import Path

import serial

from drivers.contract import (
    AddressError,
    DeviceBusy,
    DeviceDenied,
    DeviceError,
    DeviceLost,
    DeviceMissing,
    Note,
    Notes,
)

BAUDS = (300, 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400, 460800, 921600)
"""Rates that serial devices use."""

PATIENCE_S = 3.0
"""What is known here says something at least once a second."""

SETTLE_S = 0.005
"""After the first byte this long is waited for its neighbours, so that a slow line does not
wake the reader for every byte."""


class SerialPort:
    """A serial port that is only read. Not shared between readers; `close` from any thread."""

    def __init__(self, name: str, baud: int) -> None:
        self.name = name
        self.baud = baud
        self._port: serial.Serial | None = None
        self._reading = threading.Lock()

    def open(self) -> None:
        """Open it for this program alone.

        Raises DeviceMissing, DeviceDenied, DeviceBusy, DeviceError, or AddressError
        where the name is no serial port or the rate none it can do.
        """
        try:
            # An exclusive lock keeps a second program from taking half of the bytes.
            self._port = serial.Serial(self.name, self.baud, timeout=0, exclusive=True)
        except (OSError, ValueError) as error:
            raise refusal(self.name, self.baud, error) from None

    def read(self, timeout_s: float) -> bytes:
        """What has come, after waiting for the first byte at most `timeout_s`.

        Raises DeviceLost when the port has gone, or was closed meanwhile.
        """
        with self._reading:
            port = self._port
            if port is None:
                raise DeviceLost("{name} is not open.", name=self.name)
            try:
                return _read(port, timeout_s)
            except (OSError, TypeError, ValueError):
                # pyserial answers a port that vanishes under it with any of these.
                raise DeviceLost(
                    "{name} went away: was its cable pulled?", name=self.name
                ) from None

    def set_baud(self, baud: int) -> None:
        """Listen at another rate from now on; what was received before is dropped.

        Raises AddressError for a rate the port cannot do, DeviceLost.
        """
        with self._reading:
            try:
                if self._port is not None:
                    self._port.baudrate = baud
                    self._port.reset_input_buffer()
            except ValueError as error:
                raise refusal(self.name, baud, error) from None
            except OSError:
                raise DeviceLost(
                    "{name} went away: was its cable pulled?", name=self.name
                ) from None
            self.baud = baud

    def complain(self, notes: Notes, expected: str) -> None:
        """Note once that what comes is not what was expected."""
        warning = Note(
            "Nothing that comes from {name} is {expected}; the list of inputs says "
            "what it looks like.",
            name=self.name,
            expected=expected,
        )
        if warning not in notes.warnings:
            notes.warnings.append(warning)

    def close(self) -> None:
        """Close it; a read in another thread ends at once. Harmless when closed."""
        port, self._port = self._port, None
        if port is None:
            return
        # Not every system can cut a read short; there its timeout ends it.
        with suppress(AttributeError, OSError):
            port.cancel_read()
        # The reader must have left before the descriptor is given back to the system.
        left = self._reading.acquire(timeout=1.0)
        with suppress(OSError):  # it may be gone already
            port.close()
        if left:
            self._reading.release()


def _read(port: serial.Serial, timeout_s: float) -> bytes:
    timeout_s = round(timeout_s, 3)
    if port.timeout != timeout_s:
        port.timeout = timeout_s
    first = port.read(1)
    if not first:
        return b""
    time.sleep(min(SETTLE_S, timeout_s))
    return bytes(first + port.read(port.in_waiting))


def refusal(name: str, baud: int, error: OSError | ValueError) -> DeviceError | AddressError:
    """The error of ours for what opening a port raised."""
    number = getattr(error, "errno", None)
    text = str(error)
    if number == errno.ENOENT or "FileNotFoundError" in text:
        return DeviceMissing(
            "There is no port {name}; the list of inputs names those that are plugged in.",
            name=name,
        )
    if number in (errno.EACCES, errno.EPERM) and sys.platform != "win32":
        return DeviceDenied(
            "This user may not open {name}. {name_2}", name=name, name_2=permission_advice(name)
        )
    if number in (errno.EBUSY, errno.EAGAIN) or "PermissionError" in text:
        return DeviceBusy("Another program holds {name}; close that one first.", name=name)
    if number in (errno.ENXIO, errno.ENODEV, errno.EIO):
        return DeviceMissing(
            "{name} has a name but no device behind it; plug it in again.", name=name
        )
    if "Inappropriate ioctl" in text or number == errno.EISDIR:
        return AddressError(
            "{name} is not a serial port; the list of inputs names those that are.", name=name
        )
    if isinstance(error, ValueError) or number == errno.EINVAL or "baud" in text.lower():
        rates = ", ".join(str(rate) for rate in BAUDS)
        return AddressError(
            "{name} cannot do {baud} baud; usual rates are {rates}.",
            name=name,
            baud=baud,
            rates=rates,
        )
    return DeviceError("{name} cannot be opened: {text}.", name=name, text=text)


def permission_advice(name: str) -> str:
    """Which group or rule would let this user open a port that exists."""
    try:
        import grp
        import pwd

        status = Path(name).stat()
        group = grp.getgrgid(status.st_gid)
        user = pwd.getpwuid(os.getuid()).pw_name
        if not sys.platform.startswith("linux"):
            raise KeyError(sys.platform)
    except (ImportError, KeyError, OSError):
        return "Ask who looks after this computer for permission to use serial ports."
    rule = "install packaging/70-evenpace.rules as it says in its head"
    if not status.st_mode & 0o060:
        return Note(
            "Its group '{gr_name}' may not open it either; {rule}.",
            gr_name=group.gr_name,
            rule=rule,
        )
    if user in group.gr_mem:
        return Note(
            "'{user}' is in the group '{gr_name}'; log out and in again to make it count.",
            user=user,
            gr_name=group.gr_name,
        )
    return Note(
        "It belongs to the group '{gr_name}': run 'sudo usermod -aG {gr_name} "
        "{user}', then log out and in again; or {rule}.",
        gr_name=group.gr_name,
        user=user,
        rule=rule,
    )


def baud_option(address: str, options: dict[str, str], default: int) -> int:
    """The option `baud` as a number. Raises AddressError."""
    text = options.get("baud", str(default))
    if not text.isascii() or not text.isdigit() or not 50 <= int(text) <= 4_000_000:
        raise AddressError(
            "'{address}': baud is '{text}', expected a rate such as 9600 or 115200.",
            address=address,
            text=text,
        )
    return int(text)
