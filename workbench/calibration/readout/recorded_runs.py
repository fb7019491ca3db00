"""Steady runs cut from a recording's pulses and lap marks.

Within a window the pulse rate comes from a fit over every edge, and laps from the first
to the last passing of the mark on the belt, so that neither a hand nor a count of ±1 is
in the way.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum, auto

import numpy as np
from numpy.typing import NDArray

from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
from workbench.base.statements import Statement, statement
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.calibration.pulses.edges import CleanEdges, clean
from workbench.calibration.pulses.speed import SpeedSeries, fit_period, speed_series
from workbench.calibration.pulses.target_wheel import teeth_seen
from workbench.calibration.readout.change_overs import Flip, flips_of
from workbench.calibration.readout.run_case import AVERAGES_S
from workbench.calibration.readout.runs import Run
from workbench.calibration.typed_rows import RowSays

Floats = NDArray[np.float64]

U_MARK_M = 0.003
"""How well the mark on the belt repeats its place as it passes the pickup; chosen."""

SMALLEST_U_S = 1e-6
"""A counter's tick."""

STEADY_REL = 0.01
"""Largest change of speed, end to end, within a stretch that counts as steady. Chosen."""

LEAST_WANDER = 12
"""Speeds, four a turn, that tell how a belt wanders: three turns. Chosen."""

DRIFTED_REL = 0.02
"""Change of speed over a run from which it is left out. Chosen."""

SHOWN_COLUMNS = ("from_s", "to_s", "shown")
FLIP_COLUMNS = ("time_s", "shown", "direction")
"""Of the tables that tell what the readout showed where the recording does not."""

LEAST_STRETCH_S = 10.0

STEADY_SHARE = 0.5
"""Share of a recording in steady stretches from which it counts as steady runs, not a ramp."""

SETTLE_S = 3.0
"""Left out at the start of a stretch found by itself: the display still averages. Chosen."""


class WindowSays(StrEnum):
    """What is odd about a stretch of a recording."""

    TURNS_TOO_FEW = auto()
    SPEED_CHANGED_LEFT_OUT = auto()
    SPEED_CHANGED_KEPT = auto()
    MARKS_NOT_ONCE_A_LAP = auto()
    PULSES_BETWEEN_MARKS_LOST = auto()
    FROM_TO = auto()
    OTHER_TEETH_RECORDED = auto()
    STEADY_STRETCHES = auto()
    NO_STEADY_STRETCH = auto()


@dataclass(frozen=True, slots=True)
class Window:
    """A steady stretch of a recording and what the readout showed in it: at some moment, or
    where `shown_is_mean` on the average. `written_in` a table, at its `line`, or the recording
    itself."""

    from_s: float
    to_s: float
    shown: float
    written_in: str
    line: int = 0
    shown_is_mean: bool = False

    @property
    def says(self) -> Statement:
        """'3 to 58 s'."""
        return statement(WindowSays.FROM_TO, from_s=self.from_s, to_s=self.to_s)

    @property
    def place(self) -> Statement | str:
        """Where it was written."""
        if not self.line:
            return self.written_in
        return statement(RowSays.IN_TABLE, table=self.written_in, line=self.line)


@dataclass(frozen=True, slots=True, eq=False)
class Pulses:
    """A recording's pulses: `edges` of the pickup, `lap_s` (m,) passings of the mark on the
    belt (empty where there is none), `series` the pulse rate against time (in Hz);
    `metre_per_pulse_m` by geometry, for what needs it only roughly; `u_clock_rel` of the clock
    behind all of them."""

    edges: CleanEdges
    lap_s: Floats
    series: SpeedSeries
    teeth: int
    metre_per_pulse_m: float
    u_clock_rel: float


def u_marks_s(speed_mps: float) -> float:
    """Standard uncertainty of the time between two passings that a pickup saw."""
    return math.sqrt(2) * U_MARK_M / speed_mps


def pulses_of(edge_s: Floats, lap_s: Floats, machine: Machine, u_clock_rel: float = 0.0) -> Pulses:
    """Raises ValueError where the edges are not ascending times."""
    edges, teeth = clean(edge_s), machine.drive.target_teeth
    series = speed_series(edges, teeth, 1.0)
    metre_per_pulse_m = metres_per_pulse(machine).value_m
    return Pulses(edges, lap_s, series, teeth, metre_per_pulse_m, u_clock_rel)


def other_teeth(pulses: Pulses) -> list[Statement]:
    """That the signal repeats after another number of teeth than the machine's."""
    seen, typed = teeth_seen(pulses.edges), pulses.teeth
    if not (seen.teeth and seen.contradicts(typed)):
        return []
    return [statement(WindowSays.OTHER_TEETH_RECORDED, seen=seen.teeth, typed=typed)]


def steady_stretches(series: SpeedSeries, name: str) -> list[Window]:
    """Stretches in which the speed stays within `STEADY_REL`, as windows without a shown value;
    `name` is the recording's.

    Seconds are joined while the mean over a second stays that near to the stretch's median.
    """
    if series.time_s.size == 0:
        return []
    second = np.floor(series.time_s).astype(np.int64)
    seconds, first = np.unique(second, return_index=True)
    mean = np.add.reduceat(series.speed_mps, first) / np.diff(np.append(first, second.size))
    windows, start = [], 0
    for at in range(1, seconds.size + 1):
        part = mean[start:at]
        if at < seconds.size and seconds[at] == seconds[at - 1] + 1:
            middle = float(np.median(part))
            if abs(mean[at] - middle) <= STEADY_REL / 2 * middle and _level(part):
                continue
        if seconds[at - 1] + 1 - seconds[start] >= LEAST_STRETCH_S + SETTLE_S:
            begin, end = float(seconds[start]) + SETTLE_S, float(seconds[at - 1]) + 1.0
            windows.append(Window(begin, end, math.nan, name))
        start = at
    return windows


def _level(mean: Floats) -> bool:
    """Whether the ends of a stretch agree: a slow ramp is no steady run."""
    if mean.size < 6:
        return True
    third = mean.size // 3
    return bool(abs(mean[-third:].mean() / mean[:third].mean() - 1) <= STEADY_REL / 2)


def shown_by_readout(
    name: str, time_s: Floats, shown: Floats, pulses: Pulses, step: float
) -> tuple[list[Window], list[Flip]]:
    """What a readout in the recording `name` showed, (n,) `shown` at `time_s`: steady stretches,
    or where it rather ramped the flips of a display that counts by `step`.

    Raises WrongInput where it did neither, or showed nothing.
    """
    windows = steady_stretches(pulses.series, name)
    if not shown.size:
        stretches = tuple(window.says for window in windows)
        held = WindowSays.STEADY_STRETCHES if windows else WindowSays.NO_STEADY_STRETCH
        raise WrongInput(
            "{recording} does not say what the readout showed: give --shown FILE (a table "
            "{shown}) for steady runs, or --flips FILE (a table {flips}) for a slow ramp. {held}",
            recording=name,
            shown=",".join(SHOWN_COLUMNS),
            flips=",".join(FLIP_COLUMNS),
            held=statement(held, stretches=stretches),
        )
    span_s = float(np.ptp(pulses.series.time_s)) if pulses.series.time_s.size else 0.0
    steady_s = sum(window.to_s - window.from_s for window in windows)
    flips = flips_of(time_s, shown, step)
    ramped = len({flip.shown for flip in flips}) > 2
    if ramped and steady_s < STEADY_SHARE * span_s:
        return [], flips
    filled = []
    for window in windows:
        inside = (time_s >= window.from_s) & (time_s <= window.to_s)
        if inside.any():
            mean = float(shown[inside].mean())
            filled.append(replace(window, shown=mean, shown_is_mean=True))
    if not filled:
        raise WrongInput(
            "{recording} holds neither a stretch of 10 s in which the belt ran steadily to 1 % "
            "nor a slow ramp over several digits of the display.",
            recording=name,
        )
    return filled, []


def runs_in(windows: Sequence[Window], pulses: Pulses, warnings: list[Statement]) -> list[Run]:
    """The runs of all windows; what is odd about one goes to `warnings`.

    Raises WrongInput where no run is left.
    """
    found = [
        run_in_window(pulses, window, str(count), warnings)
        for count, window in enumerate(windows, 1)
    ]
    runs = [run for run in found if run is not None]
    if not runs:
        why = tuple(warnings[-3:])
        raise WrongInput("No run of the recording can be used. {why:then}", why=why)
    return runs


def run_in_window(
    pulses: Pulses, window: Window, label: str, warnings: list[Statement]
) -> Run | None:
    """The run of one window; None, with a statement, where it holds none that is steady."""
    inside = (pulses.edges.time_s >= window.from_s) & (pulses.edges.time_s <= window.to_s)
    edge_s = pulses.edges.time_s[inside]
    if edge_s.size < 3 * pulses.teeth:
        warnings.append(
            statement(WindowSays.TURNS_TOO_FEW, place=window.place, stretch=window.says)
        )
        return None
    change_rel, u_wander_rel = _change(pulses.series, window)
    drifted = abs(change_rel) > DRIFTED_REL
    if abs(change_rel) > STEADY_REL:
        says = WindowSays.SPEED_CHANGED_LEFT_OUT if drifted else WindowSays.SPEED_CHANGED_KEPT
        warnings.append(
            statement(says, place=window.place, change_rel=change_rel, stretch=window.says)
        )
    if drifted:
        return None
    fit = fit_period(clean(edge_s), pulses.teeth)
    for_s = window.to_s - window.from_s
    # Of a mean over the run, only what the display still shows of before it and after is off.
    seen = min(1.0, 2 * AVERAGES_S / for_s) if window.shown_is_mean else 1.0
    run = Run(
        label,
        window.line,
        window.shown,
        pulses=float(fit.teeth_passed),
        pulses_time_s=fit.teeth_passed * fit.period_s,
        u_pulses=max(fit.u_period_s / fit.period_s, 1e-9) * fit.teeth_passed,
        u_pulses_time_s=0.0,
        u_wander_rel=u_wander_rel * seen,
        change_rel=0.0 if window.shown_is_mean else change_rel,
        rate_rel_per_s=change_rel / for_s,
    )
    return _with_laps(run, pulses, window, warnings)


def _change(series: SpeedSeries, window: Window) -> tuple[float, float]:
    """Relative change of the speed over the window by a line through it, and the standard
    deviation about the line."""
    inside = (series.time_s >= window.from_s) & (series.time_s <= window.to_s)
    if inside.sum() < 3:
        return 0.0, math.nan
    time_s, rate = series.time_s[inside], series.speed_mps[inside]
    line = np.polyfit(time_s - time_s.mean(), rate, 1)
    about = rate - np.polyval(line, time_s - time_s.mean())
    mean = float(rate.mean())
    return float(line[0]) * (window.to_s - window.from_s) / mean, float(about.std()) / mean


def wander_rel(edges: CleanEdges, teeth: int) -> float:
    """Standard deviation of the belt's speed about its mean, turn by turn of the target wheel;
    NaN where fewer than three turns tell."""
    speed = speed_series(edges, teeth, 1.0).speed_mps
    return float(speed.std() / speed.mean()) if speed.size > LEAST_WANDER else math.nan


def _with_laps(run: Run, pulses: Pulses, window: Window, warnings: list[Statement]) -> Run:
    """The run with the laps between the first and the last mark in its window."""
    marks = pulses.lap_s[(pulses.lap_s >= window.from_s) & (pulses.lap_s <= window.to_s)]
    if marks.size < 2:
        return run
    laps = _laps(pulses, marks)
    if laps is None:
        warnings.append(statement(WindowSays.MARKS_NOT_ONCE_A_LAP, place=window.place))
        return run
    speed_mps = pulses.metre_per_pulse_m * run.pulses / run.pulses_time_s
    return replace(
        run,
        laps=laps,
        laps_time_s=float(marks[-1] - marks[0]),
        u_laps_time_s=u_marks_s(speed_mps),
    )


def _laps(pulses: Pulses, marks: Floats) -> float | None:
    """Laps from the first to the last of `marks`; None where they do not make whole laps.

    A mark that was missed shows by the pulses of its lap, twice as many as in others.
    """
    per_lap = np.diff(np.interp(pulses.lap_s, pulses.edges.time_s, pulses.edges.tooth))
    here = np.diff(np.interp(marks, pulses.edges.time_s, pulses.edges.tooth))
    counts = here / float(np.median(per_lap))
    laps = np.rint(counts)
    if (laps < 1).any() or np.abs(counts - laps).max() > 0.2:
        return None
    return float(laps.sum())


def whole_run(pulses: Pulses, warnings: list[Statement]) -> Run:
    """The whole recording as one run that serves the metres a pulse, steady or not.

    Raises WrongInput where there are fewer than three turns of the target wheel.
    """
    edges = pulses.edges
    passed = float(edges.tooth[-1] - edges.tooth[0]) if edges.tooth.size else 0.0
    if passed < 3 * pulses.teeth:
        raise WrongInput(
            "The change-overs give no answer: the recording holds fewer than three turns of the "
            "target wheel."
        )
    marks = pulses.lap_s[(pulses.lap_s >= edges.time_s[0]) & (pulses.lap_s <= edges.time_s[-1])]
    time_s = float(edges.time_s[-1] - edges.time_s[0])
    plain = Run("", 0, math.nan, pulses=passed, pulses_time_s=time_s, u_pulses_time_s=0.0)
    if marks.size < 2:
        return plain
    if edges.starts.size > 1 or (laps := _laps(pulses, marks)) is None:
        warnings.append(statement(WindowSays.PULSES_BETWEEN_MARKS_LOST))
        return plain
    tooth = np.interp(marks[[0, -1]], edges.time_s, edges.tooth)
    time_s = float(marks[-1] - marks[0])
    # Both over one interval: the place of the mark is then an error in pulses, and no other.
    return replace(
        plain,
        laps=laps,
        laps_time_s=time_s,
        u_laps_time_s=SMALLEST_U_S,
        pulses=float(tooth[1] - tooth[0]),
        pulses_time_s=time_s,
        u_pulses=math.sqrt(2) * U_MARK_M / pulses.metre_per_pulse_m,
    )
