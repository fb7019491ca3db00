"""What `evenpace gap` answers, and what it may say."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum, auto

from workbench.base.machine import Pickup
from workbench.base.statements import PlusMinus, Statement, statement
from workbench.calibration.gap.answer import (
    FeelerAnswer,
    Headline,
    PickupAnswer,
    WheelAnswer,
    suspect_teeth,
)
from workbench.calibration.gap.faults import WheelFault
from workbench.calibration.gap.feeler import FeelerSays
from workbench.calibration.gap.places import BLADE_STEP_M
from workbench.calibration.gap.repeats import RepeatChart
from workbench.calibration.gap.wheel_faults import WheelSays
from workbench.jobs.codec import FLAT_IF_ALONE


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
    GAP_JUMPS = auto()
    GAP_AT_ONE_PLACE = auto()
    GAP_SO_FAR = auto()
    FAULTS_FROM_MARK = auto()
    FAULTS_FROM_FIRST_SEEN = auto()
    PICKUP_LINE = auto()


@dataclass(frozen=True, slots=True)
class GapOptions:
    """What was asked for; NaN and None where nothing was.

    `as_left` is the text of the table read after pickups were adjusted, '' where there is none.
    `baseline` are the shop's readings at known gaps (gap and its standard uncertainty in m,
    ln V·s), `before` each tooth's lateness at the pickups of result `before_result`,
    `control_history` earlier repeat measurements (m): what the store told when the answer
    was made, so that it can be made again.
    """

    table_name: str = ""
    as_left: str = ""
    as_left_name: str = ""
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
class GapAnswer(Headline):
    """All pickups of one table or recording. `limits_of` None: the limits are common practice.

    `as_left` tells of the same pickups after those `checked_again` were adjusted and read once
    more; the others stand in it as they were found.
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
    checked_again: tuple[str, ...] | None = None
    as_left: GapAnswer | None = None

    @property
    def latest(self) -> GapAnswer:
        """What was left, or what was found where nothing was adjusted."""
        return self.as_left or self

    @property
    def limits(self) -> Pickup:
        """The limits each pickup was judged by."""
        return Pickup(gap_best_m=self.gap_best_m, gap_max_m=self.gap_max_m)


def faults_named(faults: Iterable[WheelFault]) -> tuple[Statement, ...]:
    """Each fault by its name, with its tooth's number where it is a tooth's."""
    return tuple(
        statement(PickupSays.FAULT_OF_TOOTH, fault=statement(fault.kind), tooth=fault.tooth)
        if fault.tooth
        else statement(fault.kind)
        for fault in faults
    )


def gap_says(one: PickupAnswer) -> Statement:
    """Mean, run-out and widest point of one pickup; where no swing makes its readings, those."""
    if isinstance(one, FeelerAnswer) and one.reason.what == FeelerSays.NO_SWING:
        least = min(one.places, key=lambda place: place.gap_m)
        most = max(one.places, key=lambda place: place.gap_m)
        return statement(
            PickupSays.GAP_JUMPS,
            gap_m=PlusMinus(one.gap_m, one.U_gap_m),
            least_m=least.gap_m,
            least_deg=least.angle_deg,
            most_m=most.gap_m,
            most_deg=most.angle_deg,
        )
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
