"""What wears and what wants grease: when it was done last, and whether it is due."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum, auto

from workbench.base.machine import Machine
from workbench.base.preparation import Service
from workbench.base.statements import Statement, statement
from workbench.calibration.prepare.measures import ReadingKind
from workbench.calibration.prepare.table import PreparedReading


class UsualPart(StrEnum):
    """The list to start from, until the manual's own takes its place."""

    BELT_BOLTS = "belt bolts"
    BELT = "belt and rods"
    DRIVE_CHAINS = "drive chains"
    BEARINGS = "bearings"
    DRIVESHAFT = "driveshaft"
    GEARBOX = "gearbox oil"
    BLADES = "blade edges"
    HOSES = "hydraulic hoses"
    PICKUP_WIRING = "pickup and wiring"


class PartSays(StrEnum):
    """How to tell that a part is worn."""

    BOLTS_WORN = auto()
    BELT_WORN = auto()
    CHAINS_WORN = auto()
    BEARINGS_WORN = auto()
    DRIVESHAFT_WORN = auto()
    GEARBOX_LOW = auto()
    BLADES_WORN = auto()
    HOSES_WORN = auto()
    WIRING_WORN = auto()
    SIGN_OF_MACHINE = auto()


USUAL: dict[UsualPart, tuple[PartSays, float, float]] = {
    UsualPart.BELT_BOLTS: (PartSays.BOLTS_WORN, 365, math.nan),
    UsualPart.BELT: (PartSays.BELT_WORN, math.nan, 50),
    UsualPart.DRIVE_CHAINS: (PartSays.CHAINS_WORN, math.nan, 50),
    UsualPart.BEARINGS: (PartSays.BEARINGS_WORN, math.nan, 10),
    UsualPart.DRIVESHAFT: (PartSays.DRIVESHAFT_WORN, math.nan, 10),
    UsualPart.GEARBOX: (PartSays.GEARBOX_LOW, 365, 100),
    UsualPart.BLADES: (PartSays.BLADES_WORN, math.nan, 10),
    UsualPart.HOSES: (PartSays.HOSES_WORN, 180, math.nan),
    UsualPart.PICKUP_WIRING: (PartSays.WIRING_WORN, 180, math.nan),
}
"""Part -> its sign of wear, and after how many days and hours of work it is looked after. The
yearly change of a belt's bolts is common practice, no source; the rest is chosen."""


class ServiceStanding(StrEnum):
    """Whether a part is due, and why nobody can tell where nobody can."""

    DUE = "due"
    NOT_YET = "not yet"
    NEVER_NOTED = "never noted"
    HOURS_UNKNOWN = "hours unknown"


@dataclass(frozen=True, slots=True)
class Done:
    """A part that was looked after: on which day, at how many hours, NaN where nobody noted."""

    part: str
    on: str
    hours: float = math.nan
    by: str = ""


@dataclass(frozen=True, slots=True)
class ServiceLine:
    """A part of the list; `due_on` the day and `due_at_hours` the hours at which it is due next,
    '' and NaN where its interval does not tell or nobody knows when it was done last."""

    part: str
    place: str
    sign: Statement | None
    standing: ServiceStanding
    last_on: str = ""
    last_hours: float = math.nan
    last_by: str = ""
    due_on: str = ""
    due_at_hours: float = math.nan
    usual: bool = False
    """Whether it is of the list to start from, and not of the machine's own."""

    @property
    def is_due(self) -> bool:
        return self.standing in (ServiceStanding.DUE, ServiceStanding.NEVER_NOTED)


def done_in(readings: Iterable[PreparedReading], by: str) -> tuple[Done, ...]:
    """What was done by the readings of a table, with the hours that stand in it."""
    readings = list(readings)
    hours = [one.value for one in readings if one.measure is ReadingKind.HOURS]
    at_hours = max(hours, default=math.nan)
    return tuple(
        Done(one.place, date.fromordinal(int(one.value)).isoformat(), at_hours, one.by or by)
        for one in readings
        if one.measure is ReadingKind.DONE
    )


def services(
    machine: Machine | None, done: Sequence[Done], today: str, hours: float
) -> tuple[ServiceLine, ...]:
    """The machine's own list, or the one to start from, on a day at so many hours of work."""
    own = machine.lists.services if machine else ()
    if own:
        found = [
            (one, statement(PartSays.SIGN_OF_MACHINE, text=one.sign) if one.sign else None)
            for one in own
        ]
    else:
        found = [
            (Service(part, every_days=days, every_hours=every_hours), statement(sign))
            for part, (sign, days, every_hours) in USUAL.items()
        ]
    return tuple(_line(one, sign, done, today, hours, usual=not own) for one, sign in found)


def _line(
    one: Service,
    sign: Statement | None,
    done: Sequence[Done],
    today: str,
    hours: float,
    *,
    usual: bool,
) -> ServiceLine:
    noted = [Done(one.part, one.last_on, one.last_hours)] if one.last_on else []
    noted += [two for two in done if two.part.lower() == one.part.lower()]
    last = max(noted, key=lambda two: two.on, default=None)
    if last is None:
        standing = ServiceStanding.NEVER_NOTED
        return ServiceLine(one.part, one.place, sign, standing, usual=usual)
    due_on, due_at = "", last.hours + one.every_hours
    if math.isfinite(one.every_days):
        due = date.fromisoformat(last.on) + timedelta(days=one.every_days)
        due_on = due.isoformat()
    standing = ServiceStanding.NOT_YET
    if math.isfinite(one.every_hours) and not due_on and math.isnan(due_at - hours):
        standing = ServiceStanding.HOURS_UNKNOWN
    if (due_on and today >= due_on) or hours >= due_at:
        standing = ServiceStanding.DUE
    return ServiceLine(
        one.part, one.place, sign, standing, last.on, last.hours, last.by, due_on, due_at, usual
    )
