"""The plot of a certificate: error of the readout against belt speed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from workbench.base.units import from_mps
from workbench.calibration.readout.change_overs import FlipResult
from workbench.calibration.readout.runs import RunResult
from workbench.jobs.calibrate.answer import CalibrateAnswer
from workbench.reports.document import ATTENTION, BELT, IN_BAND, INK, NO_DATA
from workbench.reports.drawing import new_figure, to_svg
from workbench.words.language import _

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def error_picture(answer: CalibrateAnswer, unit: str) -> str:
    """SVG: tolerance band, runs or change-overs with k = 2 bars, the fitted line; as left too."""
    figure, axes = new_figure(170, 74)
    limit = 100 * answer.readout_error_limit
    axes.axhspan(-limit, limit, color=IN_BAND, alpha=0.12, linewidth=0)
    axes.axhline(0, color="#B9BCBF", linewidth=0.8)
    allowed = _("+{limit:.3g} % allowed").format(limit=limit)
    labels = [(limit, allowed, "#00735A"), (-limit, f"−{limit:.3g} %", "#00735A")]
    labels += _line(axes, answer, unit, BELT, _("as found"))
    _runs(axes, answer.runs, unit, BELT, filled=True)
    if answer.change_overs is not None:
        _points(axes, answer.change_overs.points, unit)
    if answer.as_left is not None:
        labels += _line(axes, answer.as_left, unit, INK, _("as left"))
        _runs(axes, answer.as_left.runs, unit, INK, filled=False)
    low, high = axes.get_ylim()
    axes.set_ylim(min(low, -1.35 * limit), max(high, 1.35 * limit))
    _labels(axes, labels)
    axes.set_xlabel(_("true belt speed, {unit}").format(unit=unit))
    axes.set_ylabel(_("shown ÷ true − 1, %"))
    return to_svg(figure)


def _line(
    axes: Axes, answer: CalibrateAnswer, unit: str, colour: str, name: str
) -> list[tuple[float, str, str]]:
    """The fitted error over the working speeds with its ribbon (k); its label: y, text, colour."""
    ends = answer.error_at_ends
    if len(ends) != 2:
        return []
    x = [from_mps(end.speed_mps, unit) for end in ends]
    y = [100 * end.error for end in ends]
    U = [100 * answer.k * end.u_error for end in ends]
    low = [value - spread for value, spread in zip(y, U, strict=True)]
    high = [value + spread for value, spread in zip(y, U, strict=True)]
    axes.plot(x, y, color=colour, linewidth=1.4)
    axes.fill_between(x, low, high, color=colour, alpha=0.14, linewidth=0)
    return [(y[1], name, colour)]


def _labels(axes: Axes, labels: Sequence[tuple[float, str, str]]) -> None:
    """Labels at the right edge beside what they name, moved apart where they would touch."""
    low, high = axes.get_ylim()
    room, last = 0.07 * (high - low), -float("inf")
    for y, text, colour in sorted(labels):
        last = max(y, last + room)
        axes.text(
            1.01,
            last,
            text,
            transform=axes.get_yaxis_transform(),
            va="center",
            color=colour,
            fontsize=7.5,
        )


def _runs(axes: Axes, runs: Sequence[RunResult], unit: str, colour: str, *, filled: bool) -> None:
    for used, shade in ((True, colour), (False, NO_DATA)):
        part = [run for run in runs if run.used is used]
        if not part:
            continue
        axes.errorbar(
            [from_mps(run.true_mps, unit) for run in part],
            [100 * run.error for run in part],
            xerr=[2 * from_mps(run.u_true_mps, unit) for run in part],
            yerr=[200 * run.u_error for run in part],
            fmt="o" if used else "x",
            color=shade,
            markerfacecolor=shade if filled else "white",
            markersize=5,
            elinewidth=1.1,
        )
        for run in part:
            axes.annotate(
                run.run,
                (from_mps(run.true_mps, unit), 100 * run.error),
                xytext=(5, 4),
                textcoords="offset points",
                fontsize=6.5,
                color="#5C6268",
            )


def _points(axes: Axes, points: Sequence[FlipResult], unit: str) -> None:
    """Change-overs, up and down apart by shape."""
    for way, shape, colour in (("up", "^", BELT), ("down", "v", ATTENTION)):
        part = [point for point in points if point.direction == way]
        axes.plot(
            [from_mps(point.true_mps, unit) for point in part],
            [100 * point.error for point in part],
            shape,
            color=colour,
            markersize=4,
            linestyle="none",
        )
