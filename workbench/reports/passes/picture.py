"""The pictures of a pass: the drift plot on one line of time, and the way over the field."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from workbench.base.units import SPEED_UNITS_MPS, UnitSystem
from workbench.jobs.passes.answer import Change, PassAnswer
from workbench.reports.document import ATTENTION, BELT, GROUND, IN_BAND, INK, NO_DATA
from workbench.reports.drawing import new_figure, to_svg
from workbench.words.language import _
from workbench.words.words import Words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_ROUND = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000)


def drift_picture(answer: PassAnswer, units: UnitSystem) -> str:
    """Both speeds with the area between, the ratio in its band, the separation, as SVG."""
    series = answer.series
    time_s, steady = series.time_s, series.steady > 0
    panels: Any = new_figure(
        height_mm=112, nrows=3, sharex=True, gridspec_kw={"height_ratios": [3, 2, 1.6]}
    )
    figure, (speeds, ratio, separation) = panels
    scale = SPEED_UNITS_MPS[units.speed]
    _speeds(speeds, time_s, series.belt_mps / scale, series.ground_mps / scale, steady)
    speeds.set_ylabel(_("speed, {unit}").format(unit=units.speed))
    with np.errstate(divide="ignore", invalid="ignore"):
        paced = np.where(steady, series.belt_mps / series.ground_mps, np.nan)
    _ratio(ratio, time_s, paced, answer)
    away = np.where(steady, series.separation_m / units.length_m, np.nan)
    separation.fill_between(time_s, 0, away, color=ATTENTION, alpha=0.35, linewidth=0)
    separation.plot(time_s, away, color=INK, linewidth=1)
    separation.set_ylabel(_("belt − ground,\n{unit}").format(unit=units.length))
    separation.set_xlabel(_("time, s"))
    for axis in (speeds, ratio, separation):
        _left_out(axis, time_s, steady)
        _changes(axis, answer.change_points, named=axis is ratio)
    figure.align_ylabels()
    return to_svg(figure)


def _speeds(axis: Axes, time_s: Any, belt: Any, ground: Any, steady: Any) -> None:
    axis.fill_between(time_s, belt, ground, where=steady, color=ATTENTION, alpha=0.25, linewidth=0)
    axis.plot(time_s, belt, color=BELT)
    axis.plot(time_s, ground, color=GROUND)
    axis.set_ylim(bottom=0)
    ends = sorted(
        (
            (_last(values), word, colour)
            for values, word, colour in ((belt, _("belt"), BELT), (ground, _("ground"), GROUND))
        ),
    )
    room = 0.09 * float(np.diff(axis.get_ylim())[0])
    low = ends[0][0]
    for number, (value, word, colour) in enumerate(ends):
        at = low if number == 0 else max(value, low + room)
        axis.annotate(
            word,
            (time_s[-1], at),
            xytext=(4, 0),
            textcoords="offset points",
            color=colour,
            va="center",
            annotation_clip=False,
        )


def _ratio(axis: Axes, time_s: Any, ratio: Any, answer: PassAnswer) -> None:
    low, high = answer.ratio_low, answer.ratio_high
    axis.axhspan(low, high, color=IN_BAND, alpha=0.15, linewidth=0)
    axis.axhline(1, color=IN_BAND, linewidth=0.8)
    axis.plot(time_s, ratio, color=INK, linewidth=1)
    mean, U = answer.ratio, answer.U_ratio
    axis.axhspan(mean - U, mean + U, color=BELT, alpha=0.18, linewidth=0)
    axis.set_ylabel(_("ratio\nbelt ÷ ground"))
    known = ratio[np.isfinite(ratio)]
    if known.size:
        bottom, top = np.quantile(known, [0.01, 0.99])
        room = 0.3 * (high - low)
        axis.set_ylim(min(bottom, low) - room, max(top, high) + room)
    axis.annotate(
        _("in band"),
        (time_s[-1], 0.5 * (low + high)),
        xytext=(4, 6),
        textcoords="offset points",
        color=IN_BAND,
        va="center",
        annotation_clip=False,
    )


def _left_out(axis: Axes, time_s: Any, steady: Any) -> None:
    """Grey where approach, headland and stops are left out."""
    change = np.flatnonzero(np.diff(np.concatenate(([0], (~steady).astype(int), [0]))))
    for first, end in change.reshape(-1, 2).tolist():
        axis.axvspan(
            time_s[first], time_s[min(end, time_s.size - 1)], color=NO_DATA, alpha=0.14, linewidth=0
        )


def _changes(axis: Axes, points: Sequence[Change], *, named: bool) -> None:
    for row, point in enumerate(points):
        axis.axvline(point.time_s, color=INK, linewidth=0.7, linestyle=(0, (4, 3)))
        if named:
            axis.annotate(
                Words().number("percent1", point.change, signed=True),
                (point.time_s, 1.0),
                xycoords=("data", "axes fraction"),
                # Two close together would hide each other on one line.
                xytext=(3, -8 - 9 * (row % 2)),
                textcoords="offset points",
            )


def track_picture(answer: PassAnswer, units: UnitSystem) -> str:
    """The way, coloured and marked by ratio, with a scale and north, as SVG."""
    track = answer.track
    assert track is not None
    ratio = track.ratio
    east, north = track.east_m - track.east_m.min(), track.north_m - track.north_m.min()
    figure, axes = new_figure(height_mm=64)
    axes.plot(east, north, color=NO_DATA, linewidth=0.8, zorder=1)
    low, high = answer.ratio_low, answer.ratio_high
    for keep, colour, mark, word in (
        (ratio < low, BELT, "v", _("belt slow, below {low:g}").format(low=low)),
        (ratio > high, GROUND, "^", _("belt fast, above {high:g}").format(high=high)),
        ((ratio >= low) & (ratio <= high), IN_BAND, "o", _("in band")),
        (np.isnan(ratio), NO_DATA, ".", _("left out")),
    ):
        if keep.any():
            x, y = east[keep], north[keep]
            axes.scatter(x, y, s=9, color=colour, marker=mark, label=word, zorder=2)
    axes.set_aspect("equal", adjustable="datalim")
    axes.grid(visible=False)
    axes.set_xticks([])
    axes.set_yticks([])
    axes.spines["bottom"].set_visible(False)
    axes.legend(frameon=False, loc="center left", bbox_to_anchor=(1.01, 0.6))
    _scale_and_north(axes, max(float(np.ptp(east)), float(np.ptp(north)), 1.0), units)
    return to_svg(figure)


def _scale_and_north(axes: Axes, size_m: float, units: UnitSystem) -> None:
    bar = max(size for size in _ROUND if size <= max(size_m / units.length_m / 3, 1))
    bar_m = bar * units.length_m
    axes.annotate(
        "N",
        (1.06, 0.76),
        (1.06, 0.92),
        xycoords="axes fraction",
        ha="center",
        va="bottom",
        arrowprops={"arrowstyle": "<-", "color": INK},
        annotation_clip=False,
    )
    left, bottom = axes.get_xlim()[0], axes.get_ylim()[0]
    axes.plot([left, left + bar_m], [bottom, bottom], color=INK, linewidth=2, clip_on=False)
    axes.annotate(
        f"{bar} {units.length}",
        (left + bar_m / 2, bottom),
        xytext=(0, 4),
        textcoords="offset points",
        ha="center",
    )


def _last(values: Any) -> float:
    known = values[np.isfinite(values)]
    return float(known[-1]) if known.size else 0.0
