"""The pictures of a gap report: the wheel as one sees it from the pickup's side, and beside it
what it shows, unrolled; many pickups, and a shop's repeat measurements."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from workbench.base.machine import Pickup
from workbench.calibration.gap.answer import FeelerAnswer, PickupAnswer, WheelAnswer, suspect_teeth
from workbench.calibration.gap.repeats import RepeatChart
from workbench.reports.document import ATTENTION, IN_BAND, INK, NO_DATA
from workbench.reports.drawing import (
    QUIET,
    SUSPECT,
    WIDTH_MM,
    draw_picture,
    new_figure,
    picture_svg,
    to_svg,
)
from workbench.words.gap import AT_ANGLE
from workbench.words.language import _
from workbench.words.pictures import gap
from workbench.words.pictures.picture import Floats, Picture
from workbench.words.pictures.wheel import GapWheel, ToothWheel, feeler_wheel, tooth_wheel
from workbench.words.words import Words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

BODY, RIM, STEEL = "#E4E2DC", "#B9B6AE", "#6E747A"
DASHES: Any = (0, (4, 3))
ROOM, BELOW = 1.42, 1.64
"""Half the width of the box in which the wheel is drawn, and its lower half, with room for
words."""
INNER, OUTER = 0.52, 1.1
"""The rim of a gap's wheel and the outer edge."""
HEIGHT_MM, FOOT_LETTERS = 78.0, 58


def gap_picture(found: FeelerAnswer, limits: Pickup, words: Words) -> str:
    """Feeler readings round the wheel, and unrolled beside it, as SVG."""
    wheel = feeler_wheel(found, limits)
    U_m = 0.5 * (found.U_widest_m + found.U_closest_m)
    return _beside(_GapWheel(wheel, words), gap.unrolled_gap_picture(wheel, U_m), words)


def teeth_picture(found: WheelAnswer, limits: Pickup, words: Words) -> str:
    """The teeth as the pulses show them, and their lateness unrolled beside it, as SVG."""
    picture = gap.teeth_picture(
        np.array(found.spacing_rel),
        np.array(found.u_spacing_rel),
        suspect_teeth(found),
        gap_m=found.gap_by_tooth_m or (),
        limits_m=(limits.gap_best_m, limits.gap_max_m),
        voltage_rel=found.voltage_rel or (),
    )
    return _beside(_ToothWheel(tooth_wheel(found)), picture, words)


def _beside(wheel: _Wheel, picture: Picture, words: Words) -> str:
    """A wheel, and the panels of a picture on its right."""
    made: Any = new_figure(
        height_mm=HEIGHT_MM,
        nrows=len(picture.panels),
        ncols=2,
        squeeze=False,
        width_ratios=[1.0, 1.1],
    )
    figure, axes = made
    grid = axes[0, 0].get_gridspec()
    for one in axes[:, 0]:
        one.remove()
    wheel.draw(figure.add_subplot(grid[:, 0]))
    for one in axes[:-1, 1]:
        one.sharex(axes[-1, 1])
        one.tick_params(labelbottom=False)
    draw_picture(list(axes[:, 1]), picture, words.units, HEIGHT_MM, 0.6 * WIDTH_MM)
    return to_svg(figure)


def _xy(angle_deg: Floats | float, radius: Floats | float) -> tuple[Any, Any]:
    """Clockwise from the top."""
    theta = np.radians(angle_deg)
    return radius * np.sin(theta), radius * np.cos(theta)


class _Wheel:
    """What every wheel has: the turning direction, and a word on its scale below."""

    axes: Axes

    def draw(self, axes: Axes) -> None:
        """All of it, in a square of its own."""
        self.axes = axes
        axes.set_aspect("equal")
        axes.set_xlim(-ROOM, ROOM)
        axes.set_ylim(-BELOW, ROOM)
        axes.set_axis_off()
        self.inside()
        self.axes.plot(*_xy(np.linspace(-28, 22, 30), 0.34), color=INK, lw=1.0)
        head: Any = {"arrowstyle": "-|>", "color": INK, "lw": 1.0, "mutation_scale": 8}
        axes.annotate("", _xy(32.0, 0.34), _xy(20.0, 0.34), arrowprops=head)

    def inside(self) -> None:
        raise NotImplementedError

    def _ring(self, radius: float, colour: str, style: Any = "-") -> None:
        self.axes.plot(*_xy(np.linspace(0, 360, 361), radius), color=colour, lw=1.0, ls=style)

    def _disc(self, inner: float, outer: float, colour: str, alpha: float = 1.0) -> None:
        angle = np.linspace(0, 360, 361)
        parts = _xy(angle, outer), _xy(angle[::-1], inner)
        x, y = (np.concatenate(pair) for pair in zip(*parts, strict=True))
        self.axes.fill(x, y, color=colour, alpha=alpha, lw=0)

    def _say(self, x: float, y: float, text: str, colour: str = QUIET, **style: Any) -> None:
        self.axes.text(x, y, text, ha="center", va="center", color=colour, **style)

    def _foot(self, text: str) -> None:
        words = textwrap.fill(text, FOOT_LETTERS)
        self.axes.text(0, -BELOW, words, ha="center", va="bottom", fontsize=6.5, color=QUIET)


class _GapWheel(_Wheel):
    """Gaps as points between two rings."""

    def __init__(self, wheel: GapWheel, words: Words) -> None:
        self._wheel, self._words = wheel, words
        self._scale = (OUTER - INNER) / wheel.top_m

    def inside(self) -> None:
        wheel = self._wheel
        self._disc(self._radius(wheel.most_m), OUTER, ATTENTION, 0.3)
        self._disc(0.0, INNER, BODY)
        self._ring(INNER, RIM)
        self._ring(self._radius(wheel.best_m), IN_BAND, DASHES)
        self._ring(self._radius(wheel.most_m), ATTENTION)
        if wheel.swing_m is not None:
            angle = np.linspace(0.0, 360.0, 361)
            swing = INNER + self._scale * wheel.swing_at(angle)
            self.axes.plot(*_xy(angle, swing), color=INK, lw=1.2)
        for angle_deg, gap_m, odd in zip(wheel.angle_deg, wheel.gap_m, wheel.odd, strict=True):
            foot, head = _xy(angle_deg, INNER), _xy(angle_deg, self._radius(gap_m))
            stem, colour = (ATTENTION, SUSPECT) if odd else (NO_DATA, INK)
            self.axes.plot(*zip(foot, head, strict=True), color=stem, lw=0.7)
            self.axes.plot(*head, "D" if odd else "o", ms=4, color=colour)
        for at_deg in (0.0, 90.0, 180.0, 270.0):
            text = _("mark 0°") if at_deg == 0 else f"{at_deg:.0f}°"
            self._say(*_xy(at_deg, 1.22), text, fontsize=7)
        self.axes.fill([-0.05, 0.05, 0.0], [1.16, 1.16, 1.09], color=INK, lw=0)
        extremes = (_("widest"), wheel.widest), (_("closest"), wheel.closest)
        for row, (name, found) in enumerate(extremes):
            if found is not None:
                self._extreme(row, name, *found)
        self._foot(wheel.scale_words(self._words.units))

    def _radius(self, gap_m: float) -> float:
        return INNER + self._scale * gap_m

    def _extreme(self, row: int, name: str, gap_m: float, angle_deg: float) -> None:
        """A tick on the wheel, and words in its middle."""
        ends = [_xy(angle_deg, self._radius(gap_m) + part) for part in (-0.05, 0.05)]
        self.axes.plot(*zip(*ends, strict=True), color=INK, lw=2.4, solid_capstyle="butt")
        said = self._words.fill(AT_ANGLE, {"gap_m": gap_m, "at_deg": angle_deg})
        self._say(0, 0.10 - 0.27 * row, f"{name}\n{said}", INK, fontsize=6.5)


class _ToothWheel(_Wheel):
    """Each tooth at its place, its nominal place in grey behind it; suspects numbered."""

    def __init__(self, wheel: ToothWheel) -> None:
        self._wheel = wheel

    def inside(self) -> None:
        wheel = self._wheel
        self._disc(0.0, 0.8, BODY)
        self._ring(0.8, RIM)
        for tooth in range(1, wheel.teeth + 1):
            suspect, drawn_deg = tooth in wheel.faults, wheel.drawn_deg(tooth)
            self._tooth(wheel.place_deg(tooth), facecolor="none", edgecolor=RIM, lw=0.5)
            if math.isfinite(drawn_deg):
                colour = ATTENTION if suspect else STEEL
                self._tooth(drawn_deg, facecolor=colour, alpha=1.0 if suspect else 0.75, lw=0)
            elif suspect:
                style = {"facecolor": "none", "edgecolor": SUSPECT}
                self._tooth(wheel.place_deg(tooth), **style, lw=1.2, ls="--")
            if suspect or tooth == 1:
                self._number(tooth, suspect=suspect)
        self.axes.fill([-0.045, 0.045, 0.0], [0.66, 0.66, 0.75], color=INK, lw=0)
        self._say(0, 0.58, _("mark") if wheel.marked else _("first seen"), INK, fontsize=6.5)
        self._foot(wheel.scale_words)

    def _number(self, tooth: int, *, suspect: bool) -> None:
        box = {"boxstyle": "round,pad=0.25", "fc": ATTENTION, "ec": "none"} if suspect else None
        style: Any = {"weight": "bold" if suspect else "normal", "bbox": box}
        self._say(*_xy(self._wheel.place_deg(tooth), 1.15), str(tooth), INK, **style)

    def _tooth(self, angle_deg: float, **style: Any) -> None:
        points = [_xy(*corner) for corner in self._wheel.corners(angle_deg)]
        self.axes.fill(*zip(*points, strict=True), **style)


def batch_picture(
    pickups: Sequence[tuple[str, PickupAnswer]], best_m: float, most_m: float, words: Words
) -> str:
    """Closest, mean and widest gap of each pickup, by its name, against the limits, as SVG."""
    per_m = 1 / words.units.gap_m
    figure, axes = new_figure(height_mm=16 + 6.0 * len(pickups))
    top = 1.1 * max(per_m * most_m * 1.1, *(per_m * one.widest_m for _name, one in pickups))
    axes.axvspan(per_m * most_m, top, color=ATTENTION, alpha=0.3, lw=0)
    axes.axvline(per_m * best_m, color=IN_BAND, lw=0.9, ls=DASHES)
    for row, (_name, one) in enumerate(pickups):
        low, mean, high = (per_m * gap_m for gap_m in (one.closest_m, one.gap_m, one.widest_m))
        ends = (low - per_m * one.U_closest_m, high + per_m * one.U_widest_m)
        axes.plot(ends, (row, row), color=INK, lw=0.6)
        axes.plot((low, high), (row, row), color=INK, lw=3.2, solid_capstyle="butt", alpha=0.55)
        axes.plot(mean, row, "o", ms=4, color=INK)
    names = [_fitting(name) for name, _one in pickups]
    axes.set(xlim=(0, top), ylim=(len(pickups) - 0.4, -0.6), yticks=range(len(pickups)))
    axes.set_yticklabels(names)
    axes.grid(visible=False, axis="y")
    told = _("gap, {unit}: bar from the closest to the widest tooth, dot the mean, line with U")
    axes.set_xlabel(told.format(unit=words.units.gap))
    return to_svg(figure)


def _fitting(name: str) -> str:
    return name if len(name) <= 34 else name[:33] + "…"


def control_picture(control: RepeatChart, words: Words) -> str:
    """The shop's repeat measurements with their EWMA and its limits, as SVG."""
    limits_m = control.ewma_low_m, control.ewma_high_m
    picture = gap.control_picture(np.array(control.gap_m), np.array(control.ewma_m), limits_m)
    return picture_svg(picture, words.units, 58)
