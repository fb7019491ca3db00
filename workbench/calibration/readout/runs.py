"""A steady run: what the readout showed and what the belt did meanwhile."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum, auto

from workbench.base.statements import Statement, statement

HAND_INTERVAL_U_S = 0.10
"""Standard uncertainty of an interval started and stopped by one hand: N(0, (0.10 s)²)
from 4 304 measurements, Am. J. Phys. 87(2), 2019, p. 110."""

COUNT_U = 1 / math.sqrt(6)
"""Of a pulse count between two moments that the pulses know nothing of: the error is the
difference of two uniform fractions, triangular on ±1."""


USUAL_WANDER_REL = 0.002
"""How far a belt's speed at the moment of a reading is from its mean over the run, as a
standard uncertainty, where no pulses tell and the runs agree; where it is more, they scatter.
Chosen; common practice, no source."""


class RunSays(StrEnum):
    """What a run is called."""

    RUN_NAMED = auto()
    RUN_AT_LINE = auto()
    WHOLE_RECORDING = auto()


@dataclass(frozen=True, slots=True)
class Run:
    """One steady run. An absent pair is NaN; `line` is 0 where there is no table.

    `u_laps_time_s` and `u_pulses_time_s` belong to the whole interval, `u_pulses` to the whole
    count. `shown` is NaN only where the run serves the metres per pulse alone. `u_wander_rel`
    is that of the belt's speed at the reading against its mean over the run, as pulses told it;
    `USUAL_WANDER_REL` stands for it where none did. Of a recording:
    `change_rel` is how much the speed changed over the run, 0 where `shown` is a mean over it
    too; `rate_rel_per_s` how fast.
    """

    label: str
    line: int
    shown: float
    laps: float = math.nan
    laps_time_s: float = math.nan
    pulses: float = math.nan
    pulses_time_s: float = math.nan
    reference_mps: float = math.nan
    u_reference_mps: float = math.nan
    u_laps_time_s: float = HAND_INTERVAL_U_S
    u_pulses: float = COUNT_U
    u_pulses_time_s: float = HAND_INTERVAL_U_S
    u_wander_rel: float = math.nan
    change_rel: float = 0.0
    rate_rel_per_s: float = 0.0

    @property
    def has_laps(self) -> bool:
        return math.isfinite(self.laps)

    @property
    def has_pulses(self) -> bool:
        return math.isfinite(self.pulses)

    @property
    def has_reference(self) -> bool:
        return math.isfinite(self.reference_mps)

    @property
    def wander_told(self) -> bool:
        """Whether pulses told how the belt wandered in it."""
        return math.isfinite(self.u_wander_rel)

    @property
    def wander_rel(self) -> float:
        """What its belt wandered, or may have."""
        return self.u_wander_rel if self.wander_told else USUAL_WANDER_REL

    @property
    def by_hand(self) -> bool:
        """Whether a hand timed its laps."""
        return self.has_laps and self.u_laps_time_s == HAND_INTERVAL_U_S

    @property
    def one_interval(self) -> bool:
        """Laps and pulses were counted between the same two presses of one watch."""
        return self.has_laps and self.has_pulses and self.laps_time_s == self.pulses_time_s

    @property
    def name(self) -> Statement:
        """How a budget calls this run."""
        if math.isnan(self.shown):
            return statement(RunSays.WHOLE_RECORDING)
        return statement(RunSays.RUN_NAMED, run=self.label)

    @property
    def place(self) -> Statement:
        """How a sentence calls this run."""
        if self.line:
            return statement(RunSays.RUN_AT_LINE, line=self.line, run=self.label)
        return self.name

    def without_laps(self) -> Run:
        return replace(self, laps=math.nan, laps_time_s=math.nan)

    def without_pulses(self) -> Run:
        return replace(self, pulses=math.nan, pulses_time_s=math.nan)


@dataclass(frozen=True, slots=True)
class RunResult:
    """One run and what came of it, `shown` in the readout's unit; what it lacks is NaN.

    `line` is that of the run table, `note` says why it was left out of the fit.
    """

    run: str
    line: int | None
    shown: float
    shown_mps: float
    laps: float
    laps_time_s: float
    pulses: float
    pulses_time_s: float
    reference_mps: float
    true_mps: float
    u_true_mps: float
    error: float
    u_error: float
    used: bool
    note: Statement | None
