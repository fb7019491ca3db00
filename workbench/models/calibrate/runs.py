"""The runs of a calibration as they are taken: plain values, and the table they make."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from workbench.base.errors import WrongInput
from workbench.base.files import write_file
from workbench.calibration.readout.run_table import KNOWN_COLUMNS, SIMULATED_MARK
from workbench.calibration.readout.runs import HAND_INTERVAL_U_S


class Reference(StrEnum):
    """What the belt's true speed is taken from."""

    LAPS = "laps of the belt"
    FLIPS = "digit flips on a slow ramp"
    READING = "another instrument"


Flip = tuple[float, float, bool]
"""(seconds on the recording's time line, what is shown since, whether it rose)."""


@dataclass(frozen=True, slots=True)
class TakenRun:
    """One run as it goes into the run table; NaN for a pair it does not have.

    `by_pickup`: a lap pickup timed the laps, else a hand did. `u_wander_rel`: how the belt
    wandered meanwhile by its pulses, NaN where they do not tell. A `dropped` run is kept, but
    counts for nothing.
    """

    shown: float
    laps: int = 0
    laps_time_s: float = math.nan
    pulses: int = 0
    reference_mps: float = math.nan
    u_reference_mps: float = math.nan
    u_laps_time_s: float = HAND_INTERVAL_U_S
    by_pickup: bool = False
    u_wander_rel: float = math.nan
    simulated: bool = False
    dropped: bool = False


@dataclass(frozen=True, slots=True)
class State:
    """All that a calibration is at one moment; steps are undone by going back to an older one.

    `marks_s` are the passings of the belt's mark in the run under way, on the bench's clock;
    `counting` says that the lap pickup makes them, `closed` that no more are taken: the belt
    has gone on since. `ramp` is the number of the recording that `flips` belong to, once it
    is over. `new_setting` is NaN until it was entered in the readout, in place of
    `found_setting`; runs after that are `left_runs`. `result` is the number of the stored
    result, None where runs have changed since.
    """

    reference: Reference = Reference.LAPS
    runs: tuple[TakenRun, ...] = ()
    left_runs: tuple[TakenRun, ...] = ()
    marks_s: tuple[float, ...] = ()
    counting: bool = False
    closed: bool = False
    flips: tuple[Flip, ...] = ()
    ramp: int | None = None
    new_setting: float = math.nan
    found_setting: float = math.nan
    result: int | None = None

    @property
    def setting_used(self) -> bool:
        return not math.isnan(self.new_setting)

    @property
    def data(self) -> tuple[object, ...]:
        """What the answer is computed from."""
        flips = self.flips if self.ramp is not None else ()
        return self.runs, self.left_runs, self.ramp, flips


def run_table(runs: Sequence[TakenRun]) -> str:
    """The runs as a run table, those dropped as remarks; '' where none counts."""
    if all(run.dropped for run in runs):
        return ""
    lines = [SIMULATED_MARK] if any(run.simulated for run in runs) else []
    lines.append(",".join(KNOWN_COLUMNS))
    for number, run in enumerate(runs, 1):
        lines.append(("# dropped: " if run.dropped else "") + _line(number, run))
    return "\n".join(lines) + "\n"


def _line(number: int, run: TakenRun) -> str:
    laps = [f"{run.laps}", f"{run.laps_time_s:.6f}"] if run.laps else ["", ""]
    # The same interval in both pairs: what started and stopped one did so with the other.
    pulses = [f"{run.pulses}", f"{run.laps_time_s:.6f}"] if run.pulses else ["", ""]
    known = math.isfinite(run.reference_mps)
    reference = [f"{run.reference_mps:.9g}", f"{run.u_reference_mps:.9g}"] if known else ["", ""]
    timing = f"{run.u_laps_time_s:.6g}" if run.laps and run.by_pickup else ""
    wander = f"{run.u_wander_rel:.3g}" if math.isfinite(run.u_wander_rel) else ""
    cells = (*laps, *pulses, *reference, timing, "", wander)
    return ",".join([str(number), f"{run.shown:.10g}", *cells])


def flips_table(flips: Sequence[Flip]) -> str:
    """Flips as the table a recording of a ramp is judged with."""
    rows = [f"{at_s:.6f},{shown:.10g},{'up' if up else 'down'}" for at_s, shown, up in flips]
    return "\n".join(["time_s,shown,direction", *rows]) + "\n"


def save_runs(text: str, path: Path) -> Path:
    """Write a run table as it can be read again. Raises WrongInput, StoreError."""
    if path.suffix.lower() != ".csv":
        raise WrongInput("{name}: a table of runs ends in .csv.", name=path.name)
    return write_file(path, text)
