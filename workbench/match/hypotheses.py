"""The causes that compete, each as a small model of what a pass would then look like.

A cause says four things, and leaves the rest as on a sound machine (`USUAL`):

- `levels`: where the ratio's logarithm lies, as (weight, mean, standard deviation) of a
  mixture; `None` as mean stands for the middle of the limits, and a name for a measure with
  the sign turned: a wheel that reads 15 % high makes the belt seem 15 % slow.
- `shapes`: what the belt's speed does in time, a shape from `SHAPES` with the size it has,
  as a mixture again. Shapes have a span of 1, or are the logarithm of what moves the belt.
- `measures`, `flags`: what single measures and yes-or-no findings are then like.
- `needs`: what must have been recorded for the cause to show at all; a cause that cannot
  show is not in the running, and the answer says so.

All sizes are chosen, wide enough for what the trade meets; none is fitted to a scenario.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

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
    "other pickup": (0.0, 0.003),
    "shown": (0.0, 0.008),
    "setting": (0.0, 0.006),
    "lap": (0.0, 0.003),
    "wheel": (0.0, 0.025),
    "fixes": (math.log(0.01), 0.7),
    "gnss noise": (math.log(0.03), 0.45),
}
"""Mean and standard deviation of each measure on a sound machine:

unfollowed: ln of the scatter of ground speed that the belt does not share; engine: ln of the
scatter of engine speed; oil: degrees the oil warmed by; missed, extra: ln of the share of
pulses missed, and of those too many; other pickup: ln(pulses of a second pickup ÷ the
belt's); shown, setting: ln(shown ÷ belt by pulses), read off and by the number set; lap:
ln(belt travel by laps ÷ by pulses); wheel: ln(wheel ÷ ground speed); fixes: ln of the share
of receiver messages without a fix; gnss noise: ln of one satellite speed's relative scatter."""

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


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One cause; `cause` is its name in every answer, `title` what a person reads."""

    cause: str
    title: str
    check_next: str
    levels: Levels = IN_LIMITS
    shapes: Mapping[str, Mixture] = field(default_factory=dict)
    measures: Mapping[str, Mixture] = field(default_factory=dict)
    flags: Mapping[str, float] = field(default_factory=dict)
    needs: tuple[str, ...] = ()
    drive: str = ""
    restless: float = 1.0


OIL_SLOWS: Mixture = ((1.0, -0.05, 0.025),)

HYPOTHESES: tuple[Hypothesis, ...] = (
    Hypothesis(
        "none",
        "Belt and ground keep pace, and nothing stands out",
        "Nothing; take another pass when something is changed.",
    ),
    Hypothesis(
        "valve-off",
        "Flow control set off by a constant factor",
        "Move the flow control by a known step (a click, a turn) and drive the pass again.",
        levels=OFF,
    ),
    Hypothesis(
        "oil-warming",
        "Oil warming: it thins, the motor leaks more, the belt slows",
        "Warm the oil up, set the flow control again, and drive the pass again; write down the "
        "oil temperature at its start and end.",
        levels=MAYBE_OFF,
        shapes={"oil": OIL_SLOWS},
        measures={"oil": ((1.0, 28.0, 14.0),)},
    ),
    Hypothesis(
        "engine-droop",
        "Engine droops under load, and the belt with it",
        "Watch engine speed in heavy ground: more throttle, a lower gear, or a flow control "
        "that does not follow the engine.",
        levels=MAYBE_OFF,
        shapes={"engine": ((1.0, 1.0, 0.25),)},
        measures={"engine": ((1.0, math.log(0.04), 0.6),)},
        needs=("engine",),
    ),
    Hypothesis(
        "belt-slip",
        "Belt slips on its drive roll",
        "With the engine off: belt tension, a wet or worn roll, a belt that drags.",
        measures={"lap": ((1.0, -0.07, 0.04),)},
        needs=("lap",),
        drive="roll",
    ),
    Hypothesis(
        "roll-build-up",
        "Something built up on the drive roll: each turn moves more belt",
        "With the engine off: look at the roll, clean it, and measure its diameter.",
        measures={"lap": ((1.0, 0.035, 0.018),)},
        needs=("lap",),
        drive="roll",
    ),
    Hypothesis(
        "valve-moved",
        "Flow control bumped or stuck at a moment",
        "See whether the flow control's lever or knob is held where it was set.",
        levels=MAYBE_OFF,
        shapes={"step": both_ways(0.10, 0.05)},
    ),
    Hypothesis(
        "belt-not-following",
        "Ground speed varies, and the belt follows nothing",
        "Hold the ground speed: one gear, one throttle; or a belt drive that follows the ground.",
        levels=WANDERS,
        measures={"unfollowed": ((1.0, math.log(0.08), 0.45),)},
    ),
    Hypothesis(
        "wheel-slip",
        "The wheels slip, so wheel speed reads high",
        "Take the ground speed from radar or satellite, or drive a taped course.",
        levels=((0.9, "wheel", 0.02), (0.1, None, 0.06)),
        measures={"wheel": ((1.0, 0.14, 0.07),)},
        needs=("wheel",),
    ),
    Hypothesis(
        "wrong-setting",
        "Wrong number set in the readout",
        "Calibrate the readout: time ten laps of the belt and compare.",
        levels=((0.75, "shown", 0.025), (0.25, None, 0.0)),
        measures={"shown": both_ways(0.07, 0.04), "setting": both_ways(0.07, 0.04)},
        needs=("shown or setting",),
    ),
    Hypothesis(
        "wrong-setting",
        "Wrong number of teeth in the machine file",
        "Count the target wheel's teeth with the engine off, and mend the machine file.",
        levels=((0.75, "shown", 0.025), (0.25, None, 0.0)),
        measures={
            "shown": both_ways(0.07, 0.05),
            "setting": both_ways(0.07, 0.05),
            "lap": both_ways(0.07, 0.05),
        },
        flags={"teeth": 0.9},
        needs=("shown or setting",),
    ),
    Hypothesis(
        "losing-pulses",
        "Pulses get lost, the more the slower the belt",
        "With the engine off: the pickup's gap, its plug, its cable (`evenpace gap`).",
        levels=MAYBE_OFF,
        measures={
            "missed": ((1.0, math.log(0.03), 1.2),),
            "extra": ((0.75, math.log(5e-4), 0.5), (0.25, math.log(0.005), 1.0)),
            "other pickup": ((0.7, 0.3, 0.2), (0.3, 0.01, 0.03)),
            "lap": ((0.7, 0.0, 0.003), (0.3, 0.3, 0.25)),
            "shown": ((0.5, 0.0, 0.008), (0.5, -0.08, 0.08)),
        },
        flags={"lost": 0.85, "tooth": 0.5, "noise": 0.1, "breaks": 0.4},
        needs=("missed",),
    ),
    Hypothesis(
        "extra-pulses",
        "Pulses that no tooth made",
        "With the engine off: the pickup's cable, its shield and plug, the ignition leads near it.",
        measures={
            "missed": ((1.0, math.log(0.0015), 1.0),),
            "extra": ((1.0, math.log(0.015), 1.0),),
            "other pickup": ((0.8, -0.015, 0.015), (0.2, 0.0, 0.003)),
            "shown": ((0.5, 0.0, 0.008), (0.5, 0.03, 0.03)),
        },
        flags={"noise": 0.9, "lost": 0.1, "tooth": 0.05, "breaks": 0.4},
        needs=("missed",),
    ),
    Hypothesis(
        "damaged-wheel",
        "A bent, worn or missing tooth on the target wheel",
        "With the engine off: look at the tooth that is named (`evenpace gap`).",
        measures={
            "missed": ((0.5, math.log(0.03), 1.0), (0.5, math.log(5e-4), 0.5)),
            "other pickup": ((0.5, 0.035, 0.02), (0.5, 0.0, 0.003)),
        },
        flags={"tooth": 0.95, "lost": 0.05, "noise": 0.03, "breaks": 0.03},
        needs=("missed",),
    ),
    Hypothesis(
        "gnss-unusable",
        "Satellite speed drops out or is too noisy",
        "Mount the antenna with a free view of the sky, or use radar or wheel speed here.",
        measures={
            "fixes": ((0.6, math.log(0.35), 0.7), (0.4, math.log(0.01), 0.7)),
            "gnss noise": ((0.75, math.log(0.25), 0.7), (0.25, math.log(0.03), 0.45)),
        },
        needs=("fixes",),
    ),
    Hypothesis(
        "not-clear",
        "Something else, or several things at once",
        "Drive a longer pass at one gear and throttle, with engine speed and oil temperature "
        "recorded.",
        levels=((1.0, None, 0.15),),
        restless=8.0,
    ),
)
