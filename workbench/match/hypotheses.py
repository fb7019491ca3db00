"""The causes that compete, each as a small model of what a pass would then look like.

A cause says four things, and leaves the rest as on a sound machine (`USUAL`):

- `levels`: where the ratio's logarithm lies, as (weight, mean, standard deviation) of a
  mixture; `None` as mean stands for the middle of the limits, and a name for a measure with
  the sign turned: a wheel that reads 15 % high makes the belt seem 15 % slow.
- `shapes`: what the belt's speed does in time, a shape from `SHAPES` with the size it has,
  as a mixture again. Shapes have a span of 1, or are the logarithm of what moves the belt.
- `measures`, `flags`: what single measures and yes-or-no findings are then like.
- `needs`: what must have been recorded for the cause to show at all, one of each group; a
  cause that cannot show is not in the running, and the answer says so.

All sizes are chosen, wide enough for what the trade meets; none is fitted to a scenario.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum, auto

Mixture = tuple[tuple[float, float, float], ...]
"""(weight, mean, standard deviation) of each part."""

Levels = tuple[tuple[float, float | str | None, float], ...]

TOLERANCE = 0.4
"""Standard deviation of a sound machine's ratio, as a share of half the limits' room."""

IN_LIMITS: Levels = ((1.0, None, 0.0),)
"""The middle of the limits, within `TOLERANCE`."""

MAYBE_OFF: Levels = ((0.85, None, 0.0), (0.15, None, 0.08))
"""Mostly in the middle, but a second thing may be amiss."""


def both_ways(size: float, spread: float) -> Mixture:
    """A change of this size, up or down."""
    return ((0.5, size, spread), (0.5, -size, spread))


OFF: Levels = ((0.4, 0.09, 0.045), (0.4, -0.09, 0.045), (0.2, 0.0, 0.2))
"""A ratio that is clearly off: 4 to 15 % for the most part."""

WANDERS: Levels = ((0.5, None, 0.0), (0.5, None, 0.08))
"""The mean over a minute or two wanders as far as the speed does."""

USUAL: Mapping[str, tuple[float, float]] = {
    "unfollowed": (math.log(0.015), 0.5),
    "engine": (math.log(0.003), 0.7),
    "oil": (0.0, 12.0),
    "missed": (math.log(5e-4), 0.5),
    "extra": (math.log(5e-4), 0.5),
    "other_pickup": (0.0, 0.003),
    "shown": (0.0, 0.008),
    "setting": (0.0, 0.006),
    "lap": (0.0, 0.003),
    "wheel": (0.0, 0.025),
    "fixes": (math.log(0.01), 0.7),
    "gnss_noise": (math.log(0.03), 0.45),
}
"""Mean and standard deviation of each measure on a sound machine:

unfollowed: ln of the scatter of ground speed that the belt does not share; engine: ln of the
scatter of engine speed; oil: degrees the oil warmed by; missed, extra: ln of the share of
pulses missed, and of those too many; other_pickup: ln(pulses of a second pickup ÷ the
belt's); shown, setting: ln(shown ÷ belt by pulses), read off and by the number set; lap:
ln(belt travel by laps ÷ by pulses); wheel: ln(wheel ÷ ground speed); fixes: ln of the share
of receiver messages without a fix; gnss_noise: ln of one satellite speed's relative scatter."""

USUAL_FLAGS: Mapping[str, float] = {
    "teeth": 0.003,
    "tooth": 0.01,
    "noise": 0.01,
    "lost": 0.01,
    "breaks": 0.01,
}
"""How often each finding is made on a sound machine: the pattern of the pulses contradicts
the typed number of teeth; a tooth stands out; false edges; pulses lost; the signal breaks
off."""


class Cause(StrEnum):
    """What may keep belt and ground from keeping pace; the value is its name in every answer."""

    NONE = "none"
    VALVE_OFF = "valve-off"
    OIL_WARMING = "oil-warming"
    ENGINE_DROOP = "engine-droop"
    BELT_SLIP = "belt-slip"
    ROLL_BUILD_UP = "roll-build-up"
    VALVE_MOVED = "valve-moved"
    BELT_NOT_FOLLOWING = "belt-not-following"
    WHEEL_SLIP = "wheel-slip"
    WRONG_SETTING = "wrong-setting"
    LOSING_PULSES = "losing-pulses"
    EXTRA_PULSES = "extra-pulses"
    DAMAGED_WHEEL = "damaged-wheel"
    GNSS_UNUSABLE = "gnss-unusable"
    NOT_CLEAR = "not-clear"


class CauseSays(StrEnum):
    """The title of a model where it is not its cause's."""

    WRONG_TEETH_TYPED = auto()


class CheckSays(StrEnum):
    """What to check next, so that a cause is told from the others."""

    CHECK_NOTHING = auto()
    STEP_THE_FLOW_CONTROL = auto()
    WARM_THE_OIL = auto()
    WATCH_THE_ENGINE = auto()
    LOOK_FOR_BELT_SLIP = auto()
    CLEAN_THE_ROLL = auto()
    SEE_WHETHER_THE_FLOW_CONTROL_HOLDS = auto()
    HOLD_THE_GROUND_SPEED = auto()
    TAKE_ANOTHER_GROUND = auto()
    CALIBRATE_THE_READOUT = auto()
    COUNT_THE_TEETH = auto()
    LOOK_AT_PICKUP_AND_PLUG = auto()
    LOOK_AT_CABLE_AND_SHIELD = auto()
    LOOK_AT_THE_TOOTH = auto()
    GIVE_THE_ANTENNA_SKY = auto()
    DRIVE_A_LONGER_PASS = auto()


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One cause as a model; two of them may be of one cause."""

    cause: Cause
    check_next: CheckSays
    levels: Levels = IN_LIMITS
    shapes: Mapping[str, Mixture] = field(default_factory=dict)
    measures: Mapping[str, Mixture] = field(default_factory=dict)
    flags: Mapping[str, float] = field(default_factory=dict)
    needs: tuple[tuple[str, ...], ...] = ()
    drive: str = ""
    restless: float = 1.0
    titled: CauseSays | None = None

    @property
    def title(self) -> Cause | CauseSays:
        return self.titled or self.cause


OIL_SLOWS: Mixture = ((1.0, -0.05, 0.025),)

HYPOTHESES: tuple[Hypothesis, ...] = (
    Hypothesis(
        Cause.NONE,
        CheckSays.CHECK_NOTHING,
    ),
    Hypothesis(
        Cause.VALVE_OFF,
        CheckSays.STEP_THE_FLOW_CONTROL,
        levels=OFF,
    ),
    Hypothesis(
        Cause.OIL_WARMING,
        CheckSays.WARM_THE_OIL,
        levels=MAYBE_OFF,
        shapes={"oil": OIL_SLOWS},
        measures={"oil": ((1.0, 28.0, 14.0),)},
    ),
    Hypothesis(
        Cause.ENGINE_DROOP,
        CheckSays.WATCH_THE_ENGINE,
        levels=MAYBE_OFF,
        shapes={"engine": ((1.0, 1.0, 0.25),)},
        measures={"engine": ((1.0, math.log(0.04), 0.6),)},
        needs=(("engine",),),
    ),
    Hypothesis(
        Cause.BELT_SLIP,
        CheckSays.LOOK_FOR_BELT_SLIP,
        measures={"lap": ((1.0, -0.07, 0.04),)},
        needs=(("lap",),),
        drive="roll",
    ),
    Hypothesis(
        Cause.ROLL_BUILD_UP,
        CheckSays.CLEAN_THE_ROLL,
        measures={"lap": ((1.0, 0.035, 0.018),)},
        needs=(("lap",),),
        drive="roll",
    ),
    Hypothesis(
        Cause.VALVE_MOVED,
        CheckSays.SEE_WHETHER_THE_FLOW_CONTROL_HOLDS,
        levels=MAYBE_OFF,
        shapes={"step": both_ways(0.10, 0.05)},
    ),
    Hypothesis(
        Cause.BELT_NOT_FOLLOWING,
        CheckSays.HOLD_THE_GROUND_SPEED,
        levels=WANDERS,
        measures={"unfollowed": ((1.0, math.log(0.08), 0.45),)},
    ),
    Hypothesis(
        Cause.WHEEL_SLIP,
        CheckSays.TAKE_ANOTHER_GROUND,
        levels=((0.9, "wheel", 0.02), (0.1, None, 0.06)),
        measures={"wheel": ((1.0, 0.14, 0.07),)},
        needs=(("wheel",),),
    ),
    Hypothesis(
        Cause.WRONG_SETTING,
        CheckSays.CALIBRATE_THE_READOUT,
        levels=((0.75, "shown", 0.025), (0.25, None, 0.0)),
        measures={"shown": both_ways(0.07, 0.04), "setting": both_ways(0.07, 0.04)},
        needs=(("shown", "setting"),),
    ),
    Hypothesis(
        Cause.WRONG_SETTING,
        CheckSays.COUNT_THE_TEETH,
        titled=CauseSays.WRONG_TEETH_TYPED,
        levels=((0.75, "shown", 0.025), (0.25, None, 0.0)),
        measures={
            "shown": both_ways(0.07, 0.05),
            "setting": both_ways(0.07, 0.05),
            "lap": both_ways(0.07, 0.05),
        },
        flags={"teeth": 0.9},
        needs=(("shown", "setting"),),
    ),
    Hypothesis(
        Cause.LOSING_PULSES,
        CheckSays.LOOK_AT_PICKUP_AND_PLUG,
        levels=MAYBE_OFF,
        measures={
            "missed": ((1.0, math.log(0.03), 1.2),),
            "extra": ((0.75, math.log(5e-4), 0.5), (0.25, math.log(0.005), 1.0)),
            "other_pickup": ((0.7, 0.3, 0.2), (0.3, 0.01, 0.03)),
            "lap": ((0.7, 0.0, 0.003), (0.3, 0.3, 0.25)),
            "shown": ((0.5, 0.0, 0.008), (0.5, -0.08, 0.08)),
        },
        flags={"lost": 0.85, "tooth": 0.5, "noise": 0.1, "breaks": 0.4},
        needs=(("missed",),),
    ),
    Hypothesis(
        Cause.EXTRA_PULSES,
        CheckSays.LOOK_AT_CABLE_AND_SHIELD,
        measures={
            "missed": ((1.0, math.log(0.0015), 1.0),),
            "extra": ((1.0, math.log(0.015), 1.0),),
            "other_pickup": ((0.8, -0.015, 0.015), (0.2, 0.0, 0.003)),
            "shown": ((0.5, 0.0, 0.008), (0.5, 0.03, 0.03)),
        },
        flags={"noise": 0.9, "lost": 0.1, "tooth": 0.05, "breaks": 0.4},
        needs=(("missed",),),
    ),
    Hypothesis(
        Cause.DAMAGED_WHEEL,
        CheckSays.LOOK_AT_THE_TOOTH,
        measures={
            "missed": ((0.5, math.log(0.03), 1.0), (0.5, math.log(5e-4), 0.5)),
            "other_pickup": ((0.5, 0.035, 0.02), (0.5, 0.0, 0.003)),
        },
        flags={"tooth": 0.95, "lost": 0.05, "noise": 0.03, "breaks": 0.03},
        needs=(("missed",),),
    ),
    Hypothesis(
        Cause.GNSS_UNUSABLE,
        CheckSays.GIVE_THE_ANTENNA_SKY,
        measures={
            "fixes": ((0.6, math.log(0.35), 0.7), (0.4, math.log(0.01), 0.7)),
            "gnss_noise": ((0.75, math.log(0.25), 0.7), (0.25, math.log(0.03), 0.45)),
        },
        needs=(("fixes",),),
    ),
    Hypothesis(
        Cause.NOT_CLEAR,
        CheckSays.DRIVE_A_LONGER_PASS,
        levels=((1.0, None, 0.15),),
        restless=8.0,
    ),
)
