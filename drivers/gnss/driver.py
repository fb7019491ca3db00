"""`gnss:PORT`: a GNSS receiver on a serial port, NMEA 0183 or UBX; it is only listened to.

Without `?baud=` the rate is found by listening at each of the usual ones until a frame
with a right checksum comes. The same search begins again where nothing but garbage comes.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from contextlib import suppress

from drivers.catalogue import check_options, full_address
from drivers.contract import AddressError, BaseDriver, Clock, DeviceLost, Item, Lost, Note
from drivers.framing import GnssFrames
from drivers.gnss.sentences import GnssDecoder
from drivers.serial_port import PATIENCE_S, SerialPort, baud_option

SEARCH_BAUDS = (9600, 38400, 115200, 4800, 57600, 230400, 460800, 19200)
"""In the order in which receivers are met, common practice, no source."""

DWELL_S = 1.3
"""A receiver speaks at least once a second."""

GARBAGE_BYTES = 250
"""So much without one right frame is a wrong rate; a whole sentence is 82 bytes at most."""

_DAMAGED = ("bad checksum", "cut off", "no checksum", "too long")


class BaudSearch:
    """Which rate a receiver speaks at, told from bytes; knows nothing of ports.

    `baud` is the rate to listen at now, `found` whether it is the right one.
    """

    def __init__(self, bauds: Sequence[int], now_s: float) -> None:
        self._bauds = list(bauds)
        self.found = False
        self._begin(now_s)

    @property
    def baud(self) -> int:
        return self._bauds[0]

    def feed(self, data: bytes, now_s: float) -> bytes:
        """Bytes that are known to be right, b"" while searching; `baud` may have changed."""
        if self.found:
            return data
        self._heard += data
        if self._frames.feed(data):
            self.found = True
            return bytes(self._heard)
        if len(self._heard) > GARBAGE_BYTES or now_s - self._since_s > DWELL_S:
            self._bauds.append(self._bauds.pop(0))
            self._begin(now_s)
        return b""

    def _begin(self, now_s: float) -> None:
        self._frames = GnssFrames()
        self._heard = bytearray()
        self._since_s = now_s


class GnssDriver(BaseDriver):
    """`gnss:PORT?baud=RATE`; blocks are those of `drivers.gnss.sentences.GnssDecoder`."""

    def __init__(self, rest: str, options: dict[str, str], clock: Clock = time.monotonic) -> None:
        super().__init__(full_address("gnss", rest, options), clock)
        check_options(self.address, options, ("baud",))
        self._fixed = "baud" in options
        self._port = SerialPort(rest, baud_option(self.address, options, SEARCH_BAUDS[0]))
        self._decoder = GnssDecoder(self.notes)
        self._search = self._new_search()
        self._opened_s = self._heard_s = self._right_s = clock()
        self.notes.kind = "GNSS receiver"

    def _open(self) -> None:
        self._port.open()
        self._decoder.reset()
        self._opened_s = self._heard_s = self._right_s = self.clock()
        self._search = self._new_search()

    def _read_some(self, timeout_s: float) -> Sequence[Item]:
        try:
            data = self._port.read(min(timeout_s, DWELL_S / 4))
            now_s = self.clock()
            if data and not self.notes.messages and now_s - self._opened_s > 4 * PATIENCE_S:
                self._port.complain(self.notes, "a sentence or frame of a GNSS receiver")
            data = self._listen(data, now_s)
        except DeviceLost:
            self.close()
            raise
        return self._decode(data, now_s) if data else []

    def _new_search(self) -> BaudSearch:
        # What was right last time is tried first.
        others = [baud for baud in SEARCH_BAUDS if baud != self._port.baud]
        search = BaudSearch([self._port.baud, *others], self.clock())
        search.found = self._fixed
        return search

    def _listen(self, data: bytes, now_s: float) -> bytes:
        was_found = self._search.found
        data = self._search.feed(data, now_s)
        if self._search.baud != self._port.baud:
            with suppress(AddressError):  # a rate this port cannot do is passed over
                self._port.set_baud(self._search.baud)
        if self._search.found and not was_found:
            self.notes.kind = Note("GNSS receiver at {baud} baud", baud=self._port.baud)
            self._heard_s = self._right_s = now_s
        return data

    def _decode(self, data: bytes, now_s: float) -> list[Item]:
        right, wrong = self._tally()
        items = self._decoder.feed(data, now_s)
        now_right, now_wrong = self._tally()
        if now_wrong > wrong:
            count = now_wrong - wrong
            items.append(Lost("", count, self._heard_s, now_s, "damaged sentences"))
        self._heard_s = now_s
        if now_right > right:
            self._right_s = now_s
        elif not self._fixed and now_s - self._right_s > 3 * DWELL_S:
            self._decoder.reset()
            self._search = self._new_search()
        return items

    def _tally(self) -> tuple[int, int]:
        """Frames understood and frames damaged so far."""
        rejects = self.notes.rejects
        wrong = sum(rejects.get(name, 0) for name in _DAMAGED)
        return sum(self.notes.messages.values()), wrong

    def _close(self) -> None:
        self._port.close()
