"""Logs of a CAN bus → items: one time line, a tally of what was met, what to tell the person.

A line that does not fit its format is a reject, counted and not fatal.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from drivers.can.text_logs import TextLog
from drivers.can.tractor_messages import Frames, decode
from drivers.contract import FileRefused, Floats, Item, Note, Notes
from drivers.source_file import SourceFile, shown
from drivers.timeline import Timeline

_TELLING = 10
"""Frames from which on stamps that go back are a habit and no accident."""
_MOST_DELTA_S = 3600.0


class BusLog:
    """Frames of one log, batch after batch, to items; it keeps the time line and the tally."""

    def __init__(self, notes: Notes, kind: str) -> None:
        self.notes = notes
        notes.kind, notes.origin_s = kind, 0.0
        self.frames = 0
        self._stamps = _DeltaStamps()
        self._timeline = Timeline()
        self._others: Counter[int] = Counter()
        self._speeds = False

    def items(
        self,
        pgn: NDArray[np.int32],
        sender: NDArray[np.uint8],
        data: NDArray[np.uint8],
        stamp_s: Floats | None,
    ) -> list[Item]:
        """What these frames say, on the recording's time line."""
        if stamp_s is None:
            self.notes.timed = False
            time_s = np.arange(self.frames, self.frames + pgn.size, dtype=np.float64)
        else:
            time_s = self._timeline.place(self._stamps.absolute(stamp_s))
        self.frames += pgn.size
        numbers, counts = np.unique(pgn, return_counts=True)
        self._others.update(dict(zip(numbers.tolist(), counts.tolist(), strict=True)))
        items = decode(Frames(pgn, sender, data, time_s, time_s), self.notes)
        self._speeds |= any(hasattr(item, "speed_mps") for item in items)
        return items

    def finish(self) -> None:
        """Say what the person should know of the whole log."""
        self.notes.warnings += self._stamps.warnings() + self._timeline.warnings()
        if not self.notes.timed:
            self.notes.warnings.append(
                "This log has no time stamps: its values stand in their order, and nothing "
                "can be said of times, rates or lags."
            )
        if not self._speeds:
            seen = ", ".join(str(pgn) for pgn, _ in self._others.most_common(5) if pgn >= 0)
            self.notes.warnings.append(
                Note(
                    "None of the {frames} frames is a speed message that is known here; "
                    "the PGNs seen most are {seen}.",
                    frames=self.frames,
                    seen=seen or "none of J1939 at all",
                )
            )


def read_text_log(text_log: TextLog, file: SourceFile, notes: Notes) -> Iterator[list[Item]]:
    """Blocks of a text log. Raises FileRefused where not one line could be read."""
    bus = BusLog(notes, text_log.kind)
    wrong, first_wrong = 0, ""
    for number, chunk in file.lines():
        columns = text_log.columns(text_log.line.findall(chunk))
        right = columns.right
        lines = sum(1 for line in chunk.splitlines() if line and not line.isspace())
        others = len(text_log.other.findall(chunk))
        found_wrong = lines - others - int(np.count_nonzero(right))
        if found_wrong and not wrong:
            first_wrong = _first_wrong(text_log, number, chunk)
        wrong += found_wrong
        stamp_s = None if columns.stamp_s is None else columns.stamp_s[right]
        yield bus.items(columns.pgn[right], columns.sender[right], columns.data[right], stamp_s)
    if not bus.frames:
        expected = f"a readable {text_log.kind}"
        raise FileRefused(
            file.path,
            Note("no line could be read; {first_wrong}", first_wrong=first_wrong),
            expected,
        )
    if wrong:
        notes.rejects["lines not understood"] = wrong
        notes.warnings.append(
            Note(
                "{wrong} of the lines were not understood; {first_wrong}.",
                wrong=wrong,
                first_wrong=first_wrong,
            )
        )
    bus.finish()


class _DeltaStamps:
    """Tells stamps that count from the frame before by their going back at every other
    frame, and adds them up."""

    def __init__(self) -> None:
        self._are_deltas: bool | None = None
        self._sum_s = 0.0

    def absolute(self, stamp_s: Floats) -> Floats:
        if self._are_deltas is None and stamp_s.size:
            goes_back = stamp_s.size >= _TELLING and np.mean(np.diff(stamp_s) < 0) > 0.2
            self._are_deltas = bool(goes_back and stamp_s.max() < _MOST_DELTA_S)
        if not self._are_deltas:
            return stamp_s
        summed_s = self._sum_s + np.cumsum(stamp_s)
        self._sum_s = float(summed_s[-1]) if summed_s.size else self._sum_s
        return summed_s

    def warnings(self) -> list[str]:
        if not self._are_deltas:
            return []
        return ["The time stamps were taken as times since the frame before, and added up."]


def _first_wrong(text_log: TextLog, number: int, chunk: bytes) -> str:
    for at, line in enumerate(chunk.splitlines(), number):
        if line and not line.isspace() and not text_log.other.findall(line):
            groups = text_log.line.findall(line)
            if not (groups and text_log.columns(groups).right.all()):
                return Note("the first is line {at}, '{line}'", at=at, line=shown(line))
    return "the first lies on a line cut in two"
