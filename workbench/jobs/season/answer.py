"""What a machine's season answers, and what it may say."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum, auto

from workbench.base.statements import Statement
from workbench.match.season import Visit


class SeasonQuantity(StrEnum):
    """What is followed from visit to visit; worded as it is called within a sentence."""

    RATIO = auto()
    ERROR_AT_WORK = auto()
    SETTING = auto()
    GAP_M = auto()
    METRES_PER_PULSE = auto()
    BELT_SAG_M = auto()
    CHAIN_SLACK_REL = auto()
    CHAIN_ELONGATION_REL = auto()
    OIL_FLOW_M3_PER_S = auto()
    TRUE_OVER_SHOWN = auto()


class SeasonSays(StrEnum):
    """What a row of visits says, and, `VALUE_…`, how a value of each quantity is told."""

    STEPPED = auto()
    OUTSIDE_USUAL = auto()
    CREEPS = auto()
    FEW_VISITS = auto()
    KEPT_USUAL = auto()
    VALUE_RATIO = auto()
    VALUE_ERROR = auto()
    VALUE_SETTING = auto()
    VALUE_GAP = auto()
    VALUE_FLOW = auto()


@dataclass(frozen=True, slots=True)
class SeasonOptions:
    """The store's address, None for the usual one, and the machine's name."""

    store: str | None
    machine: str


@dataclass(frozen=True, slots=True)
class QuantitySeason:
    """One quantity over the season, the visits in order of time.

    `pickup` tells the gaps of several pickups apart, '' for what has none. `low` and `high`
    bound what is usual for this machine, NaN where there are too few visits; `allowed_low`
    and `allowed_high` are the limits of the newest result, NaN where it has none. `results`
    are the numbers of the results the visits come from. `outside`, `drifting` and `steps`
    are indices of visits, see `match.season.Chart`.
    """

    quantity: SeasonQuantity
    pickup: str
    visits: tuple[Visit, ...]
    results: tuple[int, ...]
    changes: tuple[Statement, ...]
    """What the row of visits says, the most telling first."""
    mean: float = math.nan
    low: float = math.nan
    high: float = math.nan
    allowed_low: float = math.nan
    allowed_high: float = math.nan
    outside: tuple[int, ...] = ()
    drifting: tuple[int, ...] = ()
    steps: tuple[int, ...] = ()
    simulated: bool = False
    """Whether any of the visits was simulated."""


@dataclass(frozen=True, slots=True)
class SeasonAnswer:
    """Every quantity that was measured of one machine, in the order of `SeasonQuantity`, by its
    name, or as 'gap_m/left' by its name and pickup."""

    machine: str
    quantities: dict[str, QuantitySeason]
