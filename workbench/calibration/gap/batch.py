"""A shop's list of pickups, one after the other, read by keyboard or from a gap table.

A plain model without a screen: a view asks it and tells it, and never decides.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from workbench.base.machine import Pickup
from workbench.base.statements import as_written
from workbench.base.typed import parse_length_m
from workbench.calibration.gap.feeler import FeelerGap, feeler_gap
from workbench.calibration.gap.judgement import worst
from workbench.calibration.gap.places import BLADE_STEP_M
from workbench.calibration.gap.table import (
    GapReadings,
    check_angle_deg,
    check_gap_m,
    write_gap_table,
)
from workbench.calibration.statistics.decision import Decision, Verdict

SEPARATOR = " / "


@dataclass(frozen=True, slots=True)
class PickupId:
    """Which pickup: its machine, its side and its kind; side and kind may be ''."""

    machine: str
    side: str = ""
    kind: str = ""

    @property
    def name(self) -> str:
        """As it stands in a gap table: 'Digger 4 / left / hall'."""
        return SEPARATOR.join(part for part in (self.machine, self.side, self.kind) if part)

    @classmethod
    def parse(cls, name: str) -> PickupId:
        """From a gap table's name; what follows a second slash is the kind."""
        machine, _, rest = name.partition(SEPARATOR)
        side, _, kind = rest.partition(SEPARATOR)
        return cls(machine.strip(), side.strip(), kind.strip())


@dataclass(slots=True)
class Entry:
    """One pickup of the list with the readings taken so far and its limits."""

    pickup: PickupId
    limits: Pickup = field(default_factory=Pickup)
    angle_deg: list[float] = field(default_factory=list)
    gap_m: list[float] = field(default_factory=list)
    line: list[int] = field(default_factory=list)

    def readings(self) -> GapReadings:
        """The readings as arrays. Raises ValueError where there are none yet."""
        if not self.gap_m:
            raise ValueError(f"{self.pickup.name} has no readings yet")
        return GapReadings(
            self.pickup.name,
            np.array(self.angle_deg),
            np.array(self.gap_m),
            np.array(self.line, dtype=np.int64),
        )


class PickupList:
    """The pickups in the order they are worked through, and the one at hand.

    Raises nothing on moving past an end: the one at hand stays.
    """

    def __init__(self, entries: Iterable[Entry] = (), blade_step_m: float = BLADE_STEP_M) -> None:
        self.entries = list(entries)
        self.blade_step_m = blade_step_m
        self.at = 0

    @classmethod
    def from_table(cls, pickups: Iterable[GapReadings], limits: Pickup) -> PickupList:
        """A list from a gap table's readings, all with the same limits."""
        return cls(
            Entry(
                PickupId.parse(one.pickup),
                limits,
                one.angle_deg.tolist(),
                one.gap_m.tolist(),
                one.line.tolist(),
            )
            for one in pickups
        )

    def add(self, pickup: PickupId, limits: Pickup) -> Entry:
        """Put another pickup at the end; raises ValueError where its name is taken."""
        if any(entry.pickup.name == pickup.name for entry in self.entries):
            raise ValueError(f"{pickup.name} is in the list already")
        self.entries.append(Entry(pickup, limits))
        return self.entries[-1]

    @property
    def current(self) -> Entry | None:
        """The pickup at hand; None where the list is empty."""
        return self.entries[self.at] if self.entries else None

    def next(self) -> Entry | None:
        """Go on to the next pickup."""
        self.at = max(0, min(self.at + 1, len(self.entries) - 1))
        return self.current

    def previous(self) -> Entry | None:
        """Go back to the one before."""
        self.at = max(0, self.at - 1)
        return self.current

    def read(self, angle_deg: float, typed: str, unit: str = "mm") -> float:
        """Take a reading of the pickup at hand as typed ('1/16', '1.6'); its gap in metres.

        `unit` is that of a bare number. Raises WrongInput with what would be right.
        """
        entry = self._at_hand()
        where = f"{entry.pickup.name}, reading {len(entry.gap_m) + 1}"
        gap_m = check_gap_m(parse_length_m(typed, unit), where)
        entry.angle_deg.append(check_angle_deg(angle_deg, where))
        entry.gap_m.append(gap_m)
        entry.line.append(0)
        return gap_m

    def undo(self) -> None:
        """Take back the last reading of the pickup at hand; nothing where there is none."""
        entry = self._at_hand()
        for column in (entry.angle_deg, entry.gap_m, entry.line):
            del column[-1:]

    def judge(self, entry: Entry) -> FeelerGap | None:
        """The answer for one pickup; None where it has no readings yet."""
        if not entry.gap_m:
            return None
        return feeler_gap(entry.readings(), entry.limits, blade_step_m=self.blade_step_m)

    def decision(self) -> Decision:
        """The worst of all; 'cannot tell' while a pickup has no readings."""
        judged = [self.judge(entry) for entry in self.entries]
        if not judged or any(one is None for one in judged):
            return Decision(
                Verdict.CANNOT_TELL, float("nan"), as_written("not every pickup has been read")
            )
        return worst(one.decision for one in judged if one is not None)

    def lines(self) -> list[str]:
        """One line of verdict a pickup."""
        return [
            verdict_line(judged)
            if (judged := self.judge(entry))
            else f"{entry.pickup.name}: no readings yet"
            for entry in self.entries
        ]

    def table_text(self) -> str:
        """All readings as a gap table, to be kept or handed to `evenpace gap`."""
        return write_gap_table([entry.readings() for entry in self.entries if entry.gap_m])

    def _at_hand(self) -> Entry:
        if self.current is None:
            raise ValueError("the list of pickups is empty")
        return self.current


def verdict_line(gap: FeelerGap) -> str:
    """'Digger 4 / left: pass; 1.62 ± 0.05 mm, run-out 0.20 mm, widest 1.72 mm at 140°'."""
    mean, widest = gap.mean, gap.widest
    runout = f", run-out {gap.runout.value * 1000:.2f} mm" if gap.runout.u > 0 else ""
    return (
        f"{gap.pickup}: {gap.verdict}; {mean.value * 1000:.2f} ± {gap.k * mean.u * 1000:.2f} mm"
        f"{runout}, widest {widest.value * 1000:.2f} mm at {widest.angle_deg:.0f}°"
    )
