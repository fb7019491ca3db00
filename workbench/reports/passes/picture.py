"""The picture of a pass's way over the field."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from workbench.base.units import UnitSystem
from workbench.jobs.passes.answer import PassAnswer
from workbench.reports.document import BELT, GROUND, IN_BAND, INK, NO_DATA
from workbench.reports.drawing import new_figure, to_svg
from workbench.words.language import _

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_ROUND = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000)


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
