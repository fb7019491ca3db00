"""GNSS receivers: bytes of NMEA 0183 and UBX → ground speed, course and position.

What the fields mean is pynmeagps's and pyubx2's business; what counts as a value is ours:
RMC with status A, VTG while the RMC (or GGA) before it had a fix, NAV-PVT with its fix
flagged right. Speed is the receiver's own, never a difference of positions.
"""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Iterator
from typing import Any

import numpy as np
from pynmeagps import NMEAReader
from pyubx2 import UBXReader

from drivers.contract import FileRefused, Item, Note, Notes, SpeedBlock, ValueBlock
from drivers.framing import GnssFrames
from drivers.gnss.plain_sentences import plain_sentence
from drivers.source_file import SourceFile
from drivers.timeline import Timeline

KNOT_MPS = 1852 / 3600
"""Exact: the international nautical mile is 1852 m."""
_KMH_MPS = 1 / 3.6
_FIX_MODES = ("", "A", "D", "F", "P", "R")
"""NMEA 0183 mode letters of a fix by satellites: autonomous, differential, float RTK,
precise, RTK; '' where the sentence is older than the letter (from memory)."""
_FIX_QUALITIES = (1, 2, 3, 4, 5, 9)
"""The same in GGA: all but 0 none, 6 estimated, 7 typed by hand, 8 simulated (from memory)."""
_FIX_TYPES = (2, 3, 4)
"""NAV-PVT: two-dimensional, three-dimensional, combined with dead reckoning."""
_MOST_S_ACC_MPS = 10.0
"""A receiver with no idea of its speed claims tens of m/s (chosen)."""
_GPS_AHEAD_S = 18
"""GPS time minus UTC since 2017 (from memory); NAV-PVT's own UTC corrects it."""
_DAY_S = 86_400
_NAV_PVT = b"\x01\x07"
_COMMENTS = re.compile(rb"\A(?:#[^\n]*\n)+")
"""What people write above a log."""


class GnssDecoder:
    """Bytes in any pieces to blocks of 'rmc', 'vtg', 'gga' and 'nav-pvt', on one clock.

    That clock is UTC in seconds, running on over midnight. `notes` gets the messages and
    rejects; `speeds` counts the messages that have a place for a speed. A file is read with
    a `timeline` and no host times: its own times are all there is, so values before the
    first one are left out.
    """

    def __init__(self, notes: Notes, timeline: Timeline | None = None) -> None:
        self.notes = notes
        self.speeds = 0
        self._timeline = timeline
        self._frames = GnssFrames()
        self._frames.rejects = notes.rejects
        self._utc_s: float | None = None
        self._dated: tuple[float, float] | None = None
        self._time_s: float | None = None
        self._fix = True
        self._fix_by_rmc = False
        self._gps_ahead_s = _GPS_AHEAD_S
        self._batch: dict[tuple[str, str], list[tuple[float, float, float]]] = {}

    def feed(self, data: bytes, host_s: float | None = None) -> list[Item]:
        """Blocks of what `data`, come at `host_s`, completes."""
        return self._items(self._frames.feed(data), host_s)

    def finish(self) -> list[Item]:
        """Blocks of what is left at a file's end."""
        return self._items(self._frames.finish(), None)

    def reset(self) -> None:
        """Forget half a frame, as after the cable was pulled."""
        self._frames.reset()

    def _items(self, frames: list[bytes], host_s: float | None) -> list[Item]:
        self._batch = {}
        for frame in frames:
            if self._time_s is None or self._utc_s is None:
                self._time_s = host_s
            if frame.startswith(b"\xb5"):
                self._ubx(frame)
            else:
                self._nmea(frame)
        return [_block(*key, rows, host_s) for key, rows in self._batch.items()]

    def _nmea(self, frame: bytes) -> None:
        text = frame.decode("ascii")
        name = text[1 : text.index(",")]
        _count(self.notes.messages, name)
        take = {"RMC": self._rmc, "GGA": self._gga, "VTG": self._vtg}.get(name[-3:])
        if take is None or name.startswith("P"):
            return
        try:
            take(_message(name, text, frame), text.partition("*")[0].split(","))
        except Exception:  # the library's own errors, and what well-summed nonsense lacks
            _count(self.notes.rejects, "sentence not understood")

    def _rmc(self, message: Any, fields: list[str]) -> None:
        self._at_time(message.time, message.date)
        self._fix = message.status == "A" and _mode(message) in _FIX_MODES
        self._fix_by_rmc = True
        speed_mps = _number(message.spd) * KNOT_MPS if self._fix else math.nan
        self._speed("rmc", speed_mps, _step(fields, 7) * KNOT_MPS)
        self._course_and_position("rmc", message, "cog", self._fix)

    def _gga(self, message: Any, fields: list[str]) -> None:
        self._at_time(message.time)
        fix = message.quality in _FIX_QUALITIES
        if not self._fix_by_rmc:
            self._fix = fix
        self._course_and_position("gga", message, "", fix)

    def _vtg(self, message: Any, fields: list[str]) -> None:
        by_knots = _number(message.sogn) * KNOT_MPS, _step(fields, 5) * KNOT_MPS
        by_kmh = _number(message.sogk) * _KMH_MPS, _step(fields, 7) * _KMH_MPS
        speed_mps, step_mps = by_knots if by_knots[1] < by_kmh[1] else by_kmh
        if math.isnan(speed_mps):
            speed_mps, step_mps = by_knots
        fix = self._fix and _mode(message) in _FIX_MODES
        self._speed("vtg", speed_mps if fix else math.nan, step_mps)
        self._value("vtg", "course_deg", _number(message.cogt) if fix else math.nan)

    def _ubx(self, frame: bytes) -> None:
        if frame[2:4] != _NAV_PVT:
            return _count(self.notes.messages, f"UBX {frame[2]:02X}-{frame[3]:02X}")
        _count(self.notes.messages, "NAV-PVT")
        try:
            self._nav_pvt(UBXReader.parse(frame))
        except Exception:  # as in `_nmea`
            _count(self.notes.rejects, "frame not understood")
        return None

    def _nav_pvt(self, message: Any) -> None:
        gps_s = message.iTOW / 1000
        if message.validTime and message.fullyResolved:
            utc_s = message.hour * 3600 + message.min * 60 + message.second
            self._gps_ahead_s = round(gps_s - utc_s - message.nano * 1e-9) % _DAY_S
        self._at((gps_s - self._gps_ahead_s) % _DAY_S)
        s_acc_mps = message.sAcc / 1000
        fix = bool(message.fixType in _FIX_TYPES and message.gnssFixOk)
        sure = fix and message.gSpeed >= 0 and 0 < s_acc_mps <= _MOST_S_ACC_MPS
        self._speed("nav-pvt", message.gSpeed / 1000 if sure else math.nan, 0.001, s_acc_mps)
        self._course_and_position("nav-pvt", message, "headMot", fix)

    def _at_time(self, time: datetime.time | str, date: datetime.date | str = "") -> None:
        """The time of a sentence; both are '' where it has none."""
        if isinstance(time, datetime.time):
            second = time.hour * 3600 + time.minute * 60 + time.second + time.microsecond * 1e-6
            day_s = date.toordinal() * _DAY_S if isinstance(date, datetime.date) else None
            self._at(second, day_s)

    def _at(self, second_of_day: float, day_s: float | None = None) -> None:
        """The time, UTC, from which the following values are; the nearest day where none is
        said, so that a clock set back to its first fix is told from a night gone by."""
        if self._utc_s is None:
            self._utc_s = second_of_day
        if day_s is not None and self._dated is not None:
            dated_s, utc_s = self._dated
            self._utc_s = utc_s + day_s + second_of_day - dated_s
        else:
            ahead_s = second_of_day - self._utc_s
            self._utc_s += (ahead_s + _DAY_S / 2) % _DAY_S - _DAY_S / 2
        if day_s is not None:
            self._dated = (day_s + second_of_day, self._utc_s)
        self._time_s = self._utc_s
        if self._timeline is not None:
            self._time_s = self._timeline.place_one(self._utc_s)

    def _speed(self, source: str, speed_mps: float, step_mps: float, u_mps: float = 0.0) -> None:
        self.speeds += 1
        u_mps = math.hypot(step_mps / math.sqrt(12), u_mps)
        self._add(source, "speed_mps", speed_mps, math.nan if math.isnan(speed_mps) else u_mps)

    def _value(self, source: str, quantity: str, value: float) -> None:
        self._add(source, quantity, value, math.nan)

    def _course_and_position(self, source: str, message: Any, course: str, fix: bool) -> None:
        names = {"latitude_deg": "lat", "longitude_deg": "lon"}
        if course:
            names["course_deg"] = course
        for quantity, name in names.items():
            self._value(source, quantity, _number(getattr(message, name)) if fix else math.nan)

    def _add(self, source: str, quantity: str, value: float, u: float) -> None:
        if self._time_s is None:
            _count(self.notes.rejects, "value before the first time")
        else:
            self._batch.setdefault((source, quantity), []).append((self._time_s, value, u))


def read_gnss(file: SourceFile, notes: Notes) -> Iterator[list[Item]]:
    """Blocks of an NMEA 0183 or UBX log. Raises FileRefused where no frame was right."""
    notes.origin_s = 0.0
    timeline = Timeline()
    decoder = GnssDecoder(notes, timeline)
    in_header = True
    for chunk in file.chunks():
        yield decoder.feed(_COMMENTS.sub(b"", chunk) if in_header else chunk)
        in_header = False
    yield decoder.finish()
    if not notes.messages:
        found = "no sentence or frame has a right checksum"
        raise FileRefused(file.path, found, "an NMEA 0183 or UBX log")
    ubx = [name == "NAV-PVT" or name.startswith("UBX") for name in notes.messages]
    formats = [name for name, there in (("NMEA 0183", not all(ubx)), ("UBX", any(ubx))) if there]
    notes.kind = Note("{formats} log of a GNSS receiver", formats=" and ".join(formats))
    notes.warnings += timeline.warnings()
    if not decoder.speeds:
        notes.warnings.append("None of its messages carries a speed; RMC, VTG or NAV-PVT would.")


def _block(
    source: str, quantity: str, rows: list[tuple[float, float, float]], host_s: float | None
) -> Item:
    time_s, value, u = np.array(rows, np.float64).T.copy()
    at_s = time_s if host_s is None else np.full(time_s.size, host_s)
    if quantity == "speed_mps":
        return SpeedBlock(source, value, time_s, at_s, u)
    return ValueBlock(source, quantity, value, time_s, at_s)


def _message(name: str, text: str, frame: bytes) -> Any:
    """A sentence's fields by their names. Raises what pynmeagps raises where it is none."""
    fields = text[len(name) + 2 : text.index("*")]
    plain = plain_sentence(name[2:], fields) if len(name) == 5 else None
    return plain or NMEAReader.parse(frame + b"\r\n")


def _mode(message: Any) -> str:
    return str(getattr(message, "posMode", ""))


def _number(value: Any) -> float:
    """A field as a number; NaN where it is empty or not finite."""
    return float(value) if isinstance(value, int | float) and math.isfinite(value) else math.nan


def _step(fields: list[str], place: int) -> float:
    """The last digit's worth of a field as written: 0.1 for '12.3'; NaN where it is empty."""
    text = fields[place] if place < len(fields) else ""
    return 10.0 ** -len(text.partition(".")[2]) if text else math.nan


def _count(counts: dict[str, int], name: str) -> None:
    counts[name] = counts.get(name, 0) + 1
