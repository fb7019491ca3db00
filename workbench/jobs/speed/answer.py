"""What `evenpace speed` answers, and what it may say."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum, auto

from drivers.contract import Lost
from workbench.base.statements import Statement


class SpeedSays(StrEnum):
    """Doubts about a belt speed and what the laps say of it."""

    NO_SPEED = auto()
    NO_MACHINE = auto()
    OTHER_TEETH = auto()
    SAME_TEETH_MISSING = auto()
    PULSES_MISSED = auto()
    PULSES_EXTRA = auto()
    INTERRUPTED = auto()
    FEW_TURNS = auto()
    SPEED_BUT_FOR_WEAR = auto()
    LAPS_DIFFER = auto()


@dataclass(frozen=True, slots=True)
class SpeedOptions:
    """`channel` names the pulse channel, None the first that is a belt pickup's."""

    channel: str | None = None


@dataclass(frozen=True, slots=True)
class SourceSpeed:
    """The mean of one speed source over the recording; NaN where it never gave a value."""

    source: str
    label: str
    values: int
    no_value: int
    speed_mps: float = math.nan
    u_speed_mps: float = math.nan
    U_speed_mps: float = math.nan
    k: float = math.nan
    lowest_mps: float = math.nan
    highest_mps: float = math.nan


@dataclass(frozen=True, slots=True)
class SpeedAnswer:
    """Belt speed of one pulse channel, and the speeds of every source there is.

    What hangs on pulses is None or NaN where the recording has none, what is in metres where
    no machine is known, what laps say where none were marked. `u_parts_rel` holds the relative
    standard uncertainty of each contribution to the belt's speed.
    """

    source: str
    kind: str
    simulated: bool
    warnings: tuple[Statement, ...]
    channel: str | None = None
    edges: int | None = None
    missed: int | None = None
    extra: int | None = None
    breaks: int | None = None
    target_teeth_seen: int | None = None
    target_teeth_confidence: float = math.nan
    belt_speed_mps: float = math.nan
    u_belt_speed_mps: float = math.nan
    U_belt_speed_mps: float = math.nan
    k: float = math.nan
    u_parts_rel: dict[str, float] | None = None
    lowest_mps: float = math.nan
    highest_mps: float = math.nan
    duration_s: float = math.nan
    turns: float = math.nan
    pulse_rate_hz: float = math.nan
    u_pulse_rate_hz: float = math.nan
    jitter_s: float = math.nan
    method: str | None = None
    metres_per_pulse: float = math.nan
    u_metres_per_pulse: float = math.nan
    laps: int | None = None
    lap_speed_mps: float = math.nan
    u_lap_speed_mps: float = math.nan
    metres_per_pulse_by_laps: float = math.nan
    u_metres_per_pulse_by_laps: float = math.nan
    speeds: tuple[SourceSpeed, ...] = ()
    messages: dict[str, int] = field(default_factory=dict)
    rejects: dict[str, int] = field(default_factory=dict)
    lost: tuple[Lost, ...] = ()
