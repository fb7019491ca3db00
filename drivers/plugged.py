"""What is plugged in: serial ports and CAN channels, what each sounds like, and its address.

Ports are only listened to, never written; all of them at once, for about a second each,
and longer only where something speaks at a rate that has yet to be found.
"""

from __future__ import annotations

import logging
import re
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from serial.tools import list_ports

from drivers.catalogue import full_address
from drivers.contract import AddressError, Clock, InputError, Note
from drivers.counter.driver import BAUD
from drivers.counter.protocol import Hello, Malformed, NewerProtocol, decode
from drivers.framing import CobsFrames, GnssFrames, TextLines
from drivers.serial_port import SerialPort

LISTEN_BAUDS = (BAUD, 9600, 38400, 4800, 57600, 230400, 460800, 19200)
DWELL_S = 1.2
"""Whatever is known here says something at least once a second."""

GARBAGE_BYTES = 400
_SLICE_S = 0.02
_NUMBER = r"[+-]?\d+(?:\.\d+)?"
_NUMBER_LINE = re.compile(rf"[^\d{{}}]{{0,20}}{_NUMBER}[^\d{{}}]{{0,20}}")
_SLCAN_LINE = re.compile(r"(?:t[0-9A-F]{3}|T[0-9A-F]{8})[0-8](?:[0-9A-F]{2}){0,8}(?:[0-9A-F]{4})?")


@dataclass(frozen=True, slots=True)
class Found:
    """One port or channel. `address` is '' where it cannot be told, `problem` '' where none."""

    name: str
    what: str
    looks_like: str = ""
    address: str = ""
    problem: str = ""


def serial_ports() -> list[Found]:
    """The serial ports of this computer with their USB names, not yet listened to."""
    ports = []
    for port in sorted(list_ports.comports(), key=lambda port: str(port.device)):
        # Built-in ports of the mainboard are named whether or not they exist.
        if port.vid is None and port.hwid == "n/a":
            continue
        what = port.product or port.description or "serial port"
        maker = f", {port.manufacturer}" if port.manufacturer else ""
        ids = f" (USB {port.vid:04x}:{port.pid:04x})" if port.vid is not None else ""
        ports.append(Found(port.device, f"{what}{maker}{ids}"))
    return ports


def hear_ports(ports: Sequence[Found], clock: Clock = time.monotonic) -> list[Found]:
    """The ports with what they sound like, in the order given."""
    ears = [_Ear(port, clock) for port in ports]
    try:
        while any(not ear.done for ear in ears):
            for ear in ears:
                ear.listen()
    finally:
        for ear in ears:
            ear.close()
    return [ear.found for ear in ears]


class _Ear:
    """Listens to one port at one rate after another until it knows what speaks there."""

    def __init__(self, port: Found, clock: Clock) -> None:
        self.found = port
        self.done = False
        self._clock = clock
        self._bauds = list(LISTEN_BAUDS)
        self._port = SerialPort(port.name, self._bauds[0])
        try:
            self._port.open()
        except InputError as error:
            self._end(problem=str(error))
        self._begin()

    def close(self) -> None:
        self._port.close()

    def listen(self) -> None:
        """A fiftieth of a second."""
        if self.done:
            return
        try:
            data = self._port.read(_SLICE_S)
            if data:
                self._hear(data)
            if not self.done:
                self._judge()
        except InputError as error:
            self._end(problem=str(error))

    def _begin(self) -> None:
        self._heard = 0
        self._since_s = self._clock()
        self._cobs, self._gnss, self._text = CobsFrames(), GnssFrames(), TextLines()
        self._lines: list[str] = []

    def _hear(self, data: bytes) -> None:
        self._heard += len(data)
        self._lines += self._text.feed(data)
        for payload in self._cobs.feed(data):
            self._counter(payload)
        for frame in self._gnss.feed(data):
            kind = "UBX" if frame[:1] == b"\xb5" else "NMEA"
            looks = Note("looks like {kind} at {baud} baud", kind=kind, baud=self._port.baud)
            self._end(looks, f"gnss:{self._port.name}?baud={self._port.baud}")

    def _counter(self, payload: bytes) -> None:
        try:
            message = decode(payload)
        except Malformed:
            return
        except NewerProtocol as error:
            self._end("counter", problem=f"{self._port.name}: {error}.")
            return
        if isinstance(message, Hello):
            n = len(message.channels)
            names = ", ".join(f"{c.name} ({c.kind.replace('_', ' ')})" for c in message.channels)
            looks = f"counter '{message.board}', {n} channel{'s' * (n != 1)}: {names}"
            self._end(looks, f"counter:{self._port.name}{self._baud_option()}")

    def _judge(self) -> None:
        """Come to an end, or to the next rate, once enough was heard at this one."""
        waited = self._clock() - self._since_s > DWELL_S
        # Garbage is neither text nor the frames of a counter that has yet to say hello.
        garbage = self._heard > GARBAGE_BYTES and self._text.rejects and self._cobs.rejects
        if not (waited or garbage):
            return
        if not self._heard and self._port.baud == LISTEN_BAUDS[0]:
            self._end("silent")
        elif self._all_lines(_SLCAN_LINE):
            self._end("looks like an slcan CAN adapter", f"can:slcan:{self._port.name}")
        elif self._all_lines(_NUMBER_LINE):
            line = self._lines[-1].strip()
            looks = Note(
                "prints numbers at {baud} baud, such as '{line}'; if they are no "
                "pulse rate, put count or period_us in the place of hz",
                baud=self._port.baud,
                line=line,
            )
            pattern = "hz" if re.fullmatch(_NUMBER, line) else re.sub(_NUMBER, "{hz}", line)
            options = {"lines": pattern, "baud": str(self._port.baud)}
            self._end(looks, full_address("counter", self._port.name, options))
        else:
            self._next_baud()

    def _all_lines(self, pattern: re.Pattern[str]) -> bool:
        return len(self._lines) >= 2 and all(pattern.fullmatch(line) for line in self._lines)

    def _next_baud(self) -> None:
        self._bauds.pop(0)
        if not self._bauds:
            self._end("speaks, and nothing that is known here")
            return
        with suppress(AddressError):  # a rate that this port cannot do
            self._port.set_baud(self._bauds[0])
        self._begin()

    def _baud_option(self) -> str:
        return "" if self._port.baud == BAUD else f"?baud={self._port.baud}"

    def _end(self, looks_like: str = "", address: str = "", problem: str = "") -> None:
        if not self.done:
            self.done = True
            self.found = replace(
                self.found, looks_like=looks_like, address=address, problem=problem
            )
            self._port.close()


def can_channels() -> list[Found]:
    """The CAN channels that python-can detects, apart from serial ports and virtual ones."""
    import can

    from drivers.can.listen_only import VIRTUAL

    no_detection = ("serial", "slcan", "robotell", "seeedstudio", "udp_multicast", VIRTUAL)
    interfaces = sorted(set(can.VALID_INTERFACES) - set(no_detection))
    # Interfaces whose maker's driver is not installed say so at length.
    logger = logging.getLogger("can")
    level = logger.level
    logger.setLevel(logging.CRITICAL + 1)
    try:
        configs = can.detect_available_configs(interfaces, timeout=2.0)
    except Exception as error:  # a maker's driver may fail in any way; the ports still count
        return [Found("CAN", "channels could not be looked for", problem=str(error))]
    finally:
        logger.setLevel(level)
    return [
        Found(f"{config['interface']}:{config['channel']}", "CAN channel") for config in configs
    ]


def hear_can(channels: Sequence[Found], clock: Clock = time.monotonic) -> list[Found]:
    """The channels with what they sound like at the rate of tractor buses."""
    return [_hear_channel(channel, clock) for channel in channels]


def _hear_channel(channel: Found, clock: Clock) -> Found:
    from drivers.can.bus import CanDriver

    address = f"can:{channel.name}"
    try:
        driver = CanDriver(channel.name, {}, clock)
        with driver:
            end_s = clock() + DWELL_S
            while clock() < end_s:
                driver.read(_SLICE_S)
    except InputError as error:
        return replace(channel, address=address, problem=str(error))
    frames = driver.notes.messages.pop("frames", 0)
    known = ", ".join(name for name in driver.notes.messages)
    looks = f"{frames} frames, {known or 'none of them known here'}" if frames else "silent"
    return replace(channel, looks_like=looks, address=address)
