"""What `evenpace calibrate` is asked with and answers, and what it may say."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum, auto

from workbench.calibration.readout.calibrate import Calibration
from workbench.jobs.prepare.answer import Prepared


class CalibrateSays(StrEnum):
    """How a calibration was made, and doubts about what it was made from."""

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
    AS_LEFT_NOT_AS_EXPECTED = auto()


@dataclass(frozen=True, slots=True)
class CalibrateOptions:
    """All that an answer and its certificate hang on besides the source and the machine.

    `shown`, `flips` and `as_left` are the texts of tables, '' where there is none; `channel`
    and `lap_channel` name the pulses of belt and lap mark, None those that say they are;
    `recorded_machine` is the machine a stored recording was made of, `prepared` what was prepared
    of the machine, None where nobody looked; `remarks` is what the
    program has to say of how the runs were taken.
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
    prepared: Prepared | None = None
    remarks: str = ""


CalibrateAnswer = Calibration
"""The answer, by the name that goes with those of the other jobs."""
