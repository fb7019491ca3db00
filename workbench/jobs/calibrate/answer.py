"""What `evenpace calibrate` answers, and what it may say."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum, auto
from typing import Literal

from workbench.base.statements import Statement
from workbench.calibration.readout.true_speed import Part
from workbench.calibration.statistics.budget import Distribution
from workbench.calibration.statistics.decision import Verdict


class CalibrateSays(StrEnum):
    """What a readout shows, how it was found, and doubts about what it was found from."""

    READS_RIGHT = auto()
    SHOWS_TOO_MUCH = auto()
    SHOWS_TOO_LITTLE = auto()
    BY_STEADY_RUNS = auto()
    BY_STEADY_RUNS_RECORDED = auto()
    BY_CHANGE_OVERS_PRESSED = auto()
    BY_CHANGE_OVERS_RECORDED = auto()
    LAPS_BY_HAND = auto()
    LAPS_BY_LAP_PICKUP = auto()
    LAPS_BY_MARK_RECORDED = auto()
    BY_INSTRUMENT = auto()
    PULSES_COUNTED = auto()
    PULSES_TIMED = auto()
    OTHER_MACHINE_RECORDED = auto()
    OTHER_TEETH_RECORDED = auto()
    AS_LEFT_NOT_AS_EXPECTED = auto()


@dataclass(frozen=True, slots=True)
class CalibrateOptions:
    """All that an answer and its certificate hang on besides the source and the machine.

    `shown`, `flips` and `as_left` are the texts of tables, '' where there is none; `channel`
    and `lap_channel` name the pulses of belt and lap mark, None those that say they are;
    `recorded_machine` is the machine a stored recording was made of. The rest is for the
    certificate.
    """

    channel: str | None = None
    lap_channel: str | None = None
    table_name: str = ""
    shown: str = ""
    shown_name: str = ""
    flips: str = ""
    flips_name: str = ""
    as_left: str = ""
    as_left_name: str = ""
    recorded_machine: str = ""
    by: str = ""
    remarks: str = ""
    environment: str = ""
    references: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FittedLine:
    """shown = offset + slope · true; the probability is that of the lack-of-fit test."""

    slope: float
    u_slope: float
    offset_mps: float
    u_offset_mps: float
    through_origin: bool
    lack_of_fit_probability: float


@dataclass(frozen=True, slots=True)
class EndError:
    """The error at one end of the working speeds."""

    speed_mps: float
    error: float
    u_error: float


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One input of the budget; `group` names those that are shown together."""

    quantity: Statement
    estimate: float
    unit: str
    u: float
    distribution: Distribution
    sensitivity: float
    contribution: float
    dof: float
    source: Statement
    group: Part


@dataclass(frozen=True, slots=True)
class BudgetAnswer:
    """The uncertainty budget of the error; `groups` what each group of lines gives to `u`,
    `correlation` (line, line, coefficient) of those that hang together."""

    quantity: Statement
    value: float
    u: float
    U: float
    k: float
    dof: float
    coverage: float
    method: Statement
    note: Statement | None
    groups: dict[Part, float]
    lines: tuple[BudgetLine, ...]
    correlation: tuple[tuple[int, int, float], ...]


@dataclass(frozen=True, slots=True)
class RunAnswer:
    """One run and what came of it; `shown` in the readout's unit. `note` says why it was left
    out, `line` is that of the run table."""

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


@dataclass(frozen=True, slots=True)
class ChangeOver:
    """The display changed to `shown`; `threshold` is the indication then, both in the readout's
    unit, `true_mps` the belt's speed with the lag taken out."""

    time_s: float
    shown: float
    direction: Literal["up", "down"]
    threshold: float
    true_mps: float
    error: float


@dataclass(frozen=True, slots=True)
class ChangeOversAnswer:
    """A ramped run: the lag of display and hand, and every change-over that was used."""

    lag_s: float
    u_lag_s: float
    hysteresis_mps: float
    u_hysteresis_mps: float
    points: tuple[ChangeOver, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadoutAnswer:
    """The readout in one state, as found or as left: its error at the middle of the working
    speeds (shown ÷ true − 1), the verdict, the setting that would be right.

    `readout_error_limit` is the error allowed. `metres_per_pulse` is what was used; `_runs`
    that of laps and pulses together, `_geometry` that of the drive line.
    """

    machine: str
    source: str
    sentence: Statement
    error_at_work: float
    u_error_at_work: float
    U_error_at_work: float
    k: float
    dof: float
    coverage: float
    speed_at_work_mps: float
    readout_error_limit: float
    verdict: Verdict
    conformance_probability: float
    reason: Statement
    advice: Statement | None
    unit: str
    step: float
    setting_unit: str
    reads: str
    setting_now: float
    setting_exact: float
    u_setting_exact: float
    U_setting_exact: float
    setting_new: float
    setting_by_pulses: float
    residual_error: float
    verdict_expected: Verdict
    metres_per_pulse: float
    u_metres_per_pulse: float
    U_metres_per_pulse: float
    metres_per_pulse_runs: float
    u_metres_per_pulse_runs: float
    metres_per_pulse_geometry: float
    u_metres_per_pulse_geometry: float
    drive_line_difference: float
    u_drive_line_difference: float
    drive_line_causes: tuple[Statement, ...]
    fit: FittedLine
    error_at_ends: tuple[EndError, ...]
    budget: BudgetAnswer
    runs: tuple[RunAnswer, ...]
    warnings: tuple[Statement, ...]
    change_overs: ChangeOversAnswer | None = None

    @property
    def has_new_setting(self) -> bool:
        """Whether a number is proposed for the readout."""
        return math.isfinite(self.setting_new)


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrateAnswer(ReadoutAnswer):
    """The readout as found, and as left where runs were made with the new setting."""

    simulated: bool
    method: Statement
    source_sha256: str
    as_left: ReadoutAnswer | None = None

    @property
    def latest(self) -> ReadoutAnswer:
        """The readout as it is now."""
        return self.as_left or self

    @property
    def to_be_proved(self) -> bool:
        """Whether there is a new setting that no run has been made with yet."""
        return self.has_new_setting and self.as_left is None

    @property
    def sends_to_the_belt(self) -> bool:
        """Whether it asks for runs, with the belt moving: to settle the verdict, or to prove
        the new setting."""
        return self.advice is not None or self.to_be_proved
