"""What `evenpace gap` answers, and what it may say.

A gap is stated all the way round the wheel with `k` from standard to expanded uncertainty;
tuples by tooth run from tooth 1 at the mark in the turning direction.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from enum import StrEnum, auto
from typing import Literal, TypeVar

from workbench.base.machine import Pickup
from workbench.base.statements import PlusMinus, Statement, statement
from workbench.calibration.gap.faults import Fault, FaultKind
from workbench.calibration.gap.judgement import Estimate
from workbench.calibration.gap.margin import DropOutShown
from workbench.calibration.gap.places import BLADE_STEP_M
from workbench.calibration.gap.repeats import RepeatChart
from workbench.calibration.gap.same_wheel import WheelMatch
from workbench.calibration.gap.wheel_faults import WheelSays
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.codec import FLAT_IF_ALONE

SEPARATOR = " / "


class PickupSays(StrEnum):
    """What is said of pickups beside what calibration finds."""

    OF_PICKUP = auto()
    SEE_TO_FIRST = auto()
    FAULT_OF_TOOTH = auto()
    LIMITS_OF_PRACTICE = auto()
    TEETH_BY_SIGNAL = auto()
    TEETH_DIFFER = auto()
    TEETH_TWICE = auto()
    OUTSIDE_BASELINE = auto()
    HISTORY_UNREAD = auto()
    BASELINE_UNREAD = auto()
    TEETH_COUNT_FROM = auto()
    FROM_MARK = auto()
    FROM_FIRST_EDGE = auto()
    GAP_ROUND_WHEEL = auto()
    GAP_AT_ONE_PLACE = auto()
    GAP_SO_FAR = auto()
    FAULTS_FROM_MARK = auto()
    FAULTS_FROM_FIRST_SEEN = auto()
    PICKUP_LINE = auto()


@dataclass(frozen=True, slots=True)
class GapOptions:
    """What was asked for; NaN and None where nothing was.

    `baseline` are the shop's readings at known gaps (gap and its standard uncertainty in m,
    ln V·s), `before` each tooth's lateness at the pickups of result `before_result`,
    `control_history` earlier repeat measurements (m): what the store told when the answer
    was made, so that it can be made again.
    """

    table_name: str = ""
    simulated: bool = False
    channel: str | None = None
    mark: str | None = None
    blade_step_m: float = BLADE_STEP_M
    pitch_radius_m: float = math.nan
    at_gap_m: float = math.nan
    drop_out: bool = False
    baseline: tuple[tuple[float, float, float], ...] = ()
    before: dict[str, tuple[float, ...]] = field(default_factory=dict)
    before_result: int | None = None
    control: str | None = None
    control_target_m: float = math.nan
    control_history: tuple[float, ...] = ()


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
    faults: tuple[Fault, ...] = ()


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
    form_error_m: float
    swing_m: tuple[float, float, float] | None
    places: tuple[Place, ...]
    odd_angles_deg: tuple[float, ...]
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


@dataclass(frozen=True, slots=True, kw_only=True)
class GapAnswer(Headline):
    """All pickups of one table or recording. `limits_of` None: the limits are common practice.

    In JSON a single pickup's own keys stand on top, beside these; of several the worst one's
    headlines do, and `pickups` is a list.
    """

    pickups: tuple[FeelerAnswer | WheelAnswer, ...] = field(metadata=FLAT_IF_ALONE)
    source: str
    kind: str
    simulated: bool
    limits_of: str | None = None
    gap_best_m: float
    gap_max_m: float
    blade_step_m: float
    summary: dict[str, int] | None = None
    counted_from: Statement | None = None
    control: RepeatChart | None = None

    @property
    def limits(self) -> Pickup:
        """The limits each pickup was judged by."""
        return Pickup(gap_best_m=self.gap_best_m, gap_max_m=self.gap_max_m)


One = TypeVar("One", bound=PickupAnswer)


def with_gap(
    answer: One, mean: Estimate, runout: Estimate, closest: Estimate, widest: Estimate, k: float
) -> One:
    """The answer with a gap all the way round, its expanded uncertainties with the factor `k`."""
    return replace(
        answer,
        gap_m=mean.value,
        u_gap_m=mean.u,
        U_gap_m=k * mean.u,
        runout_m=runout.value,
        u_runout_m=runout.u,
        U_runout_m=k * runout.u,
        closest_m=closest.value,
        u_closest_m=closest.u,
        U_closest_m=k * closest.u,
        closest_angle_deg=closest.angle_deg,
        widest_m=widest.value,
        u_widest_m=widest.u,
        U_widest_m=k * widest.u,
        widest_angle_deg=widest.angle_deg,
        k=k,
    )


def parts_of(name: str) -> tuple[str, str, str]:
    """(machine, side, kind) of a pickup's name, 'Digger 4 / left / hall'; '' where not named."""
    machine, _, rest = name.partition(SEPARATOR)
    side, _, kind = rest.partition(SEPARATOR)
    return machine.strip(), side.strip(), kind.strip()


def suspect_teeth(pickup: PickupAnswer) -> dict[int, FaultKind]:
    """Suspect teeth, from 1 at the mark, with their fault."""
    return {fault.tooth: fault.kind for fault in pickup.faults if fault.tooth}


def faults_named(faults: Iterable[Fault]) -> tuple[Statement, ...]:
    """Each fault by its name, with its tooth's number where it is a tooth's."""
    return tuple(
        statement(PickupSays.FAULT_OF_TOOTH, fault=statement(fault.kind), tooth=fault.tooth)
        if fault.tooth
        else statement(fault.kind)
        for fault in faults
    )


def gap_says(one: PickupAnswer) -> Statement:
    """Mean, run-out and widest point of one pickup."""
    known = math.isfinite(one.runout_m)
    return statement(
        PickupSays.GAP_ROUND_WHEEL if known else PickupSays.GAP_AT_ONE_PLACE,
        gap_m=PlusMinus(one.gap_m, one.U_gap_m),
        runout_m=one.runout_m,
        widest_m=one.widest_m,
        at_deg=one.widest_angle_deg,
    )


def headline(one: FeelerAnswer | WheelAnswer) -> Statement:
    """What a pickup's answer comes to."""
    if one.faults:
        says: StrEnum = WheelSays.HAS_FAULTS
        if suspect_teeth(one):
            marked = isinstance(one, WheelAnswer) and one.marked
            says = PickupSays.FAULTS_FROM_MARK if marked else PickupSays.FAULTS_FROM_FIRST_SEEN
        return statement(says, faults=faults_named(one.faults))
    if isinstance(one, WheelAnswer) and one.drop_out is not None:
        return one.drop_out.sentence
    if not math.isfinite(one.gap_m):
        return one.reason
    if isinstance(one, FeelerAnswer) and one.swing_m is None and not one.verdict.is_fail:
        return statement(PickupSays.GAP_SO_FAR, gap=gap_says(one), missing=one.reason)
    return gap_says(one)
