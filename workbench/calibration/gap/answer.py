"""What a gap check finds at one pickup, by the names it has in the answer.

A gap is stated all the way round the wheel with `k` from standard to expanded uncertainty;
tuples by tooth run from tooth 1 at the mark in the turning direction.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal, TypedDict, TypeVar

from workbench.base.statements import Statement
from workbench.calibration.gap.faults import FaultKind, WheelFault
from workbench.calibration.gap.judgement import GapFound
from workbench.calibration.gap.margin import DropOutShown
from workbench.calibration.gap.same_wheel import WheelMatch
from workbench.calibration.statistics.decision import Verdict

SEPARATOR = " / "


@dataclass(frozen=True, slots=True, kw_only=True)
class Headline:
    """What stands on top of every answer: of the one pickup, or of the worst of several."""

    pickup: str
    verdict: Verdict
    reason: Statement
    advice: Statement | None
    warnings: tuple[Statement, ...] = ()
    gap_m: float = math.nan
    runout_m: float = math.nan
    teeth: int | None
    missed: int | None
    extra: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PickupAnswer(Headline):
    """One pickup; lengths are NaN where the readings, or the pulses' height, do not tell."""

    machine_name: str
    side: str
    pickup_kind: str
    line: Statement | None = None
    k: float = math.nan
    conformance_probability: float = math.nan
    u_gap_m: float = math.nan
    U_gap_m: float = math.nan
    u_runout_m: float = math.nan
    U_runout_m: float = math.nan
    closest_m: float = math.nan
    u_closest_m: float = math.nan
    U_closest_m: float = math.nan
    closest_angle_deg: float = math.nan
    widest_m: float = math.nan
    u_widest_m: float = math.nan
    U_widest_m: float = math.nan
    widest_angle_deg: float = math.nan
    faults: tuple[WheelFault, ...] = ()


@dataclass(frozen=True, slots=True)
class Place:
    """The mean of the readings at one angle from the mark."""

    angle_deg: float
    gap_m: float
    readings: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FeelerAnswer(PickupAnswer):
    """One pickup by its feeler readings; `swing_m` (g₀, a, b) None where it was not fitted."""

    method: Literal["feeler"] = "feeler"
    repeatability_m: float
    form_error_m: float = math.nan
    swing_m: tuple[float, float, float] | None = None
    places: tuple[Place, ...]
    odd_angles_deg: tuple[float, ...] = ()
    readings: int


@dataclass(frozen=True, slots=True)
class BaselineReading:
    """This recording as a reading at a known gap: ln(V·s) of one kind of pickup and wheel."""

    gap_m: float
    u_gap_m: float
    log_volt_seconds: float
    pickup_kind: str
    teeth: int


@dataclass(frozen=True, slots=True)
class LawAnswer:
    """How the voltage falls with the gap, by the shop's own baseline."""

    log_k: float
    u_log_k: float
    decay_m: float
    u_decay_m: float
    readings: int
    lowest_gap_m: float
    highest_gap_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelAnswer(PickupAnswer):
    """One pickup by its pulses; shares of a pitch, or of the wheel's radius, end in `_rel`."""

    method: Literal["pulses"] = "pulses"
    eccentricity_rel: float = math.nan
    u_eccentricity_rel: float = math.nan
    U_eccentricity_rel: float = math.nan
    late_angle_deg: float = math.nan
    first_tooth_s: float = math.nan
    marked: bool = False
    turns: float = math.nan
    tooth_rate_hz: float = math.nan
    breaks: int = 0
    play_rel: float = math.nan
    play_least_rel: float = math.nan
    spacing_rel: tuple[float, ...] = ()
    u_spacing_rel: tuple[float, ...] = ()
    missed_share: tuple[float, ...] = ()
    voltage_rel: tuple[float, ...] | None = None
    duty: tuple[float, ...] | None = None
    duty_mean: float = math.nan
    log_volt_seconds: float = math.nan
    baseline_reading: BaselineReading | None = None
    amplitude_law: LawAnswer | None = None
    gap_by_tooth_m: tuple[float, ...] | None = None
    drop_out: DropOutShown | None = None
    before: WheelMatch | None = None


One = TypeVar("One", bound=PickupAnswer)


def with_gap(answer: One, gap: GapFound) -> One:
    """The answer with a gap all the way round."""
    mean, runout, closest, widest = gap.mean, gap.runout, gap.closest, gap.widest
    return replace(
        answer,
        gap_m=mean.value,
        u_gap_m=mean.u,
        U_gap_m=gap.half_width_m(mean),
        runout_m=runout.value,
        u_runout_m=runout.u,
        U_runout_m=gap.half_width_m(runout),
        closest_m=closest.value,
        u_closest_m=closest.u,
        U_closest_m=gap.half_width_m(closest),
        closest_angle_deg=closest.angle_deg,
        widest_m=widest.value,
        u_widest_m=widest.u,
        U_widest_m=gap.half_width_m(widest),
        widest_angle_deg=widest.angle_deg,
        k=gap.k,
    )


def parts_of(name: str) -> tuple[str, str, str]:
    """(machine, side, kind) of a pickup's name, 'Digger 4 / left / hall'; '' where not named."""
    machine, _, rest = name.partition(SEPARATOR)
    side, _, kind = rest.partition(SEPARATOR)
    return machine.strip(), side.strip(), kind.strip()


class Identity(TypedDict):
    """Which pickup an answer is of."""

    pickup: str
    machine_name: str
    side: str
    pickup_kind: str


def identity(name: str) -> Identity:
    """By the pickup's name."""
    machine_name, side, kind = parts_of(name)
    return Identity(pickup=name, machine_name=machine_name, side=side, pickup_kind=kind)


def suspect_teeth(pickup: PickupAnswer) -> dict[int, FaultKind]:
    """Suspect teeth, from 1 at the mark, with their fault."""
    return {fault.tooth: fault.kind for fault in pickup.faults if fault.tooth}
