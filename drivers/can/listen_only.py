"""A CAN bus that can only be listened to.

`open_bus` is the only place where a python-can bus is made, and `ListenOnlyBus` the only
thing of it that leaves: it has `recv` and `close`, and its own way to send is cut off. An
interface is opened so that it neither acknowledges nor sends error frames; one that
cannot be made so is refused unless the user accepts it in the address.
"""

from __future__ import annotations

import errno
import json
import subprocess
from collections.abc import Callable
from contextlib import suppress
from typing import Any, NoReturn

import can

from drivers.contract import AddressError, DeviceError, DeviceLost, DeviceMissing
from drivers.serial_port import SerialPort, refusal

BITRATES = (10_000, 20_000, 50_000, 100_000, 125_000, 250_000, 500_000, 1_000_000)
TRACTOR_BITRATE = 250_000
"""Of tractor buses: ISO 11783-2 and SAE J1939 (from memory)."""

_PASSIVE = can.BusState.PASSIVE
SILENT: dict[str, dict[str, Any]] = {
    "kvaser": {"driver_mode": False},
    "nixnet": {"listen_only": True},
    "pcan": {"state": _PASSIVE},
    "seeedstudio": {"operation_mode": "silent", "frame_type": "EXT"},
    "slcan": {"listen_only": True, "timeout": 0},
    "systec": {"state": _PASSIVE},
    "vector": {"listen_only": True},
}
"""What makes an interface of python-can listen only, read in the source of python-can 4.6.1;
of these only slcan was tried, on a pseudo-terminal."""

_SERIAL = ("robotell", "seeedstudio", "serial", "slcan")
"""Interfaces whose channel is a serial port."""

VIRTUAL = "virtual"
"""The bus inside one program: no tractor hangs on it."""

CONSENT = "may_transmit"


class ListenOnlyBus:
    """All that the program sees of a CAN bus: frames that come."""

    __slots__ = ("_close", "_recv", "_rest")

    def __init__(
        self, bus: can.BusABC, close: Callable[[], None], rest: Callable[[], int] = lambda: 0
    ) -> None:
        for name in ("send", "send_periodic", "flush_tx_buffer"):
            setattr(bus, name, _never)
        self._recv = bus.recv
        self._close, self._rest = close, rest

    def recv(self) -> can.Message | None:
        """A frame that has come, None where there is none; it does not wait.

        Raises what python-can raises.
        """
        # recv's own timeout follows the wall clock, which may be set while it waits.
        while (message := self._recv(0)) is None and self._rest():
            pass  # what came was no frame, and there is more
        return message

    def close(self) -> None:
        """Leave the bus; a device that is gone already raises nothing."""
        with suppress(can.CanError, OSError):
            self._close()


def _never(*_: object, **__: object) -> NoReturn:
    raise PermissionError("this program only listens on a CAN bus")


def check_interface(address: str, interface: str, bitrate: int, consent: bool) -> None:
    """Raise AddressError where an interface or rate is unknown or would not be silent."""
    if interface not in can.VALID_INTERFACES:
        known = ", ".join(sorted(can.VALID_INTERFACES))
        raise AddressError(
            "'{address}': no CAN interface '{interface}'; known are {known}.",
            address=address,
            interface=interface,
            known=known,
        )
    if bitrate not in BITRATES:
        rates = ", ".join(str(rate) for rate in BITRATES)
        raise AddressError(
            "'{address}': bitrate is {bitrate}, expected one of {rates}.",
            address=address,
            bitrate=bitrate,
            rates=rates,
        )
    if interface not in (*SILENT, VIRTUAL, "socketcan") and not consent:
        raise AddressError(
            "'{address}': {interface} cannot be made listen-only from here: it would "
            "acknowledge frames on the tractor's bus and could disturb it. Use an interface "
            "that can ({silent}, socketcan), or, where the bus may be disturbed, "
            "add {consent}=yes to the address.",
            address=address,
            interface=interface,
            silent=", ".join(SILENT),
            consent=CONSENT,
        )


def open_bus(interface: str, channel: str, bitrate: int, consent: bool) -> ListenOnlyBus:
    """Open a bus to listen. Raises DeviceError or AddressError."""
    if interface == "socketcan" and not consent:
        _check_socketcan(channel, bitrate)
    if interface == "slcan":
        # python-can takes no lock, so a port that another program holds would be shared.
        port = SerialPort(channel.partition("@")[0], 115200)
        port.open()
        port.close()
    settings = dict(SILENT.get(interface, {}))
    if interface not in (VIRTUAL, "socketcan"):
        settings["bitrate"] = bitrate
    try:
        bus = can.Bus(channel, interface=interface, ignore_config=True, **settings)
    except Exception as error:  # where a maker's library is missing its wrapper may raise anything
        raise _refusal(interface, channel, error) from None
    if interface == "slcan":
        return _listen_slcan(bus, channel)
    if interface == "vector" and not getattr(bus, "permission_mask", 0):
        bus.shutdown()
        raise DeviceError(
            "{interface} {channel}: another program decides how this channel takes part in "
            "the bus, so it cannot be made listen-only; close that program first.",
            interface=interface,
            channel=channel,
        )
    return ListenOnlyBus(bus, bus.shutdown)


_LONGEST = 160
"""Signs of a line: the longest frame, of 64 bytes, has 139."""

_ASCII = bytes(byte if byte < 0x80 else ord("?") for byte in range(256))


class _SlcanPort:
    """The serial port of an slcan bus, read in blocks; written only the command to close.

    python-can reads byte by byte, which is slow on a port and quick on a block; a byte that
    is no ASCII would keep its reader from ever reading on.
    """

    def __init__(self, port: Any) -> None:
        self._port = port
        self._block = b""
        self._at = self._open_bytes = 0

    @property
    def rest(self) -> int:
        """Bytes that were taken from the port and not yet read."""
        return max(0, len(self._block) - self._at)

    @property
    def in_waiting(self) -> int:
        return max(1, self.rest)

    def read(self, size: int = 1) -> bytes:
        if self._at >= len(self._block):
            block = self._port.read(max(1, self._port.in_waiting))
            self._block, self._at = self._ended(block.translate(_ASCII)), 0
        data = self._block[self._at : self._at + size]
        self._at += size
        return data

    def _ended(self, block: bytes) -> bytes:
        """A line that never ends is none, and python-can would gather it for ever."""
        self._open_bytes = 0 if b"\r" in block or b"\a" in block else self._open_bytes + len(block)
        if self._open_bytes < _LONGEST:
            return block
        self._open_bytes = 0
        return block + b"\r"

    def write(self, data: bytes) -> None:
        if data != b"C\r":
            _never()
        self._port.write(data)

    def flush(self) -> None:
        self._port.flush()

    def close(self) -> None:
        self._port.close()


def _listen_slcan(bus: Any, channel: str) -> ListenOnlyBus:
    port = bus.serialPortOrig
    try:
        port.exclusive = True
    except OSError as error:
        port.close()
        raise refusal(channel, 0, error) from None
    bus.serialPortOrig = _SlcanPort(port)

    def close() -> None:
        try:
            bus.shutdown()
        finally:
            port.close()

    return ListenOnlyBus(bus, close, lambda: bus.serialPortOrig.rest)


def _check_socketcan(channel: str, bitrate: int) -> None:
    """Raise DeviceError unless the system says that the interface only listens.

    That is set outside of any program that uses it; a vcan leads to no wire at all.
    """
    try:
        told = subprocess.run(
            ["ip", "-details", "-json", "link", "show", "dev", channel],
            capture_output=True,
            text=True,
            timeout=2,
            check=True,
        ).stdout
        link = json.loads(told)[0].get("linkinfo", {})
    except subprocess.CalledProcessError:
        raise DeviceMissing(
            "There is no CAN interface {channel} in this system.", channel=channel
        ) from None
    except (OSError, subprocess.TimeoutExpired, ValueError, LookupError):
        link = {}
    modes = link.get("info_data", {}).get("ctrlmode", [])
    if link.get("info_kind") == "vcan" or "LISTEN-ONLY" in modes:
        return
    raise DeviceError(
        "{channel} is not known to be listen-only: it would acknowledge frames on the tractor's "
        "bus and could disturb it. Run 'sudo ip link set {channel} down' and 'sudo ip link set "
        "{channel} up type can bitrate {bitrate} listen-only on' first, or, where the bus may "
        "be disturbed, add {consent}=yes to the address.",
        channel=channel,
        bitrate=bitrate,
        consent=CONSENT,
    )


def _refusal(interface: str, channel: str, error: Exception) -> DeviceError | AddressError:
    """The error of ours for what python-can raised while opening."""
    cause = error.__cause__ if isinstance(error.__cause__, OSError) else error
    if interface in _SERIAL and isinstance(cause, OSError):
        return refusal(channel.partition("@")[0], 0, cause)
    if isinstance(cause, OSError) and cause.errno in (errno.ENODEV, errno.ENXIO):
        return DeviceMissing("There is no CAN interface {channel} in this system.", channel=channel)
    if isinstance(cause, OSError) and cause.errno == errno.ENETDOWN:
        return DeviceError(
            "The CAN interface {channel} is down; bring it up first.", channel=channel
        )
    if isinstance(error, can.CanInterfaceNotImplementedError | ImportError | NameError):
        return DeviceError(
            "The interface {interface} needs its maker's driver on this computer ({error}).",
            interface=interface,
            error=error,
        )
    if isinstance(error, ValueError | KeyError | TypeError):
        return AddressError(
            "{interface} cannot be opened as '{channel}' ({error}).",
            interface=interface,
            channel=channel,
            error=error,
        )
    return DeviceError(
        "{interface} {channel} cannot be opened ({error}).",
        interface=interface,
        channel=channel,
        error=error,
    )


def lost(interface: str, channel: str) -> DeviceLost:
    """The error for a bus that went away while it was read."""
    return DeviceLost(
        "{interface} {channel} went away: was its cable pulled?",
        interface=interface,
        channel=channel,
    )
