"""The wheel: gap or spacing round the target wheel as one sees it from the pickup's side.

Angle 0, the mark, is at the top; angles run clockwise, the turning direction. Gap and
spacing are drawn to a scale that the picture states.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from workbench.base.machine import Pickup
from workbench.calibration.gap.faults import FaultKind
from workbench.calibration.gap.wheel_faults import USUAL_OFFSET
from workbench.jobs.gap.answer import (
    Control,
    FeelerAnswer,
    PickupAnswer,
    WheelAnswer,
    suspect_teeth,
)
from workbench.reports.document import ATTENTION, IN_BAND, INK, NO_DATA
from workbench.reports.drawing import new_figure, to_svg
from workbench.words.gap import AT_ANGLE
from workbench.words.language import N_, _
from workbench.words.words import Words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]

BODY, RIM, QUIET, STEEL = "#E4E2DC", "#B9B6AE", "#5C6268", "#6E747A"
TOO_WIDE = "#F6C9A8"
SUSPECT = "#B35C00"
_ROOM = 1.42
"""Half the side of the square the wheel is drawn in, with room for labels."""
_INNER = 0.52
_OUTER = 1.10
_EXAGGERATIONS = (20, 10, 5, 2, 1)


def gap_picture(one: FeelerAnswer, limits: Pickup, words: Words) -> str:
    """Feeler readings round the wheel, and unrolled beside it, as SVG."""
    figure, wheel, (unrolled,) = _panels(76, 1)
    _gap_wheel(wheel, one, limits, words)
    _gap_unrolled(unrolled, one, limits, words)
    return to_svg(figure)


def teeth_picture(one: WheelAnswer, limits: Pickup, words: Words) -> str:
    """The teeth as the pulses show them, and their lateness unrolled beside it, as SVG."""
    with_level = bool(one.gap_by_tooth_m or one.voltage_rel)
    figure, wheel, panels = _panels(78, 2 if with_level else 1)
    _teeth_wheel(wheel, one)
    _lateness(panels[0], one)
    if with_level:
        _level(panels[1], one, limits, words)
    panels[-1].set_xlabel(_("tooth, counted from the mark in the turning direction"))
    return to_svg(figure)


def _panels(height_mm: float, rows: int) -> tuple[Figure, Axes, list[Axes]]:
    """A figure with one square axes on the left and `rows` axes on the right."""
    made: Any = new_figure(
        170, height_mm, nrows=rows, ncols=2, squeeze=False, width_ratios=[1.0, 1.1]
    )
    figure, axes = made
    grid = axes[0, 0].get_gridspec()
    for one in axes[:, 0]:
        one.remove()
    return figure, figure.add_subplot(grid[:, 0]), list(axes[:, 1])


def _xy(angle_deg: Floats | float, radius: Floats | float) -> tuple[Any, Any]:
    """Clockwise from the top."""
    theta = np.radians(angle_deg)
    return radius * np.sin(theta), radius * np.cos(theta)


def _stage(axes: Axes) -> None:
    """An empty square with the mark at the top and the turning direction."""
    axes.set_aspect("equal")
    axes.set_xlim(-_ROOM, _ROOM)
    axes.set_ylim(-_ROOM, _ROOM)
    axes.set_axis_off()
    axes.plot(*_xy(np.linspace(-28, 22, 30), 0.34), color=INK, lw=1.0)
    tip, tail = _xy(32.0, 0.34), _xy(20.0, 0.34)
    axes.annotate(
        "",
        tip,
        tail,
        arrowprops={"arrowstyle": "-|>", "color": INK, "lw": 1.0, "mutation_scale": 8},
    )


def _ring(axes: Axes, radius: float, **style: Any) -> None:
    axes.plot(*_xy(np.linspace(0, 360, 361), radius), **style)


def _disc(axes: Axes, inner: float, outer: float, colour: str, alpha: float = 1.0) -> None:
    angle = np.linspace(0, 360, 361)
    x_out, y_out = _xy(angle, outer)
    x_in, y_in = _xy(angle[::-1], inner)
    axes.fill(
        np.concatenate([x_out, x_in]),
        np.concatenate([y_out, y_in]),
        color=colour,
        alpha=alpha,
        lw=0,
    )


def _gap_wheel(axes: Axes, one: FeelerAnswer, limits: Pickup, words: Words) -> None:
    _stage(axes)
    most_m = limits.gap_max_m
    top_m = 1.06 * max(most_m * 1.12, *(place.gap_m for place in one.places), one.widest_m)
    scale = (_OUTER - _INNER) / top_m
    _disc(axes, _INNER + scale * most_m, _OUTER, TOO_WIDE, 0.7)
    _disc(axes, 0.0, _INNER, BODY)
    _ring(axes, _INNER, color=RIM, lw=1.2)
    _ring(axes, _INNER + scale * limits.gap_best_m, color=IN_BAND, lw=0.9, ls=(0, (4, 3)))
    _ring(axes, _INNER + scale * most_m, color=ATTENTION, lw=1.0)
    if one.swing_m is not None:
        angle = np.linspace(0.0, 360.0, 361)
        radius = _INNER + scale * _swing(one.swing_m, angle)
        axes.plot(*_xy(angle, radius), color=INK, lw=1.2)
    for place in one.places:
        odd, at_deg = _is_odd(place.angle_deg, one), place.angle_deg
        foot, head = _xy(at_deg, _INNER), _xy(at_deg, _INNER + scale * place.gap_m)
        axes.plot(*zip(foot, head, strict=True), color=ATTENTION if odd else NO_DATA, lw=0.7)
        axes.plot(*head, "D" if odd else "o", ms=4, color=SUSPECT if odd else INK)
    for at_deg in (0.0, 90.0, 180.0, 270.0):
        label = _("mark 0°") if at_deg == 0 else f"{at_deg:.0f}°"
        axes.text(*_xy(at_deg, 1.25), label, ha="center", va="center", fontsize=7, color=QUIET)
    _triangle(axes)
    _extremes(axes, one, scale, words)
    text = words.fill(N_("gap drawn so that the outer edge is {top_m:gap}"), {"top_m": top_m})
    axes.text(0, -_ROOM, text, ha="center", va="bottom", fontsize=6.5, color=QUIET)


def _extremes(axes: Axes, one: FeelerAnswer, scale: float, words: Words) -> None:
    """The widest and the closest point as ticks on the wheel, in words in its middle."""
    for row, (name, gap_m, angle_deg) in enumerate(
        (
            (_("widest"), one.widest_m, one.widest_angle_deg),
            (_("closest"), one.closest_m, one.closest_angle_deg),
        )
    ):
        radius = _INNER + scale * gap_m
        ends = [_xy(angle_deg, radius + part) for part in (-0.05, 0.05)]
        axes.plot(*zip(*ends, strict=True), color=INK, lw=2.4, solid_capstyle="butt")
        text = f"{name}\n{words.fill(AT_ANGLE, {'gap_m': gap_m, 'at_deg': angle_deg})}"
        axes.text(0, 0.10 - 0.27 * row, text, ha="center", va="center", fontsize=6.5, color=INK)


def _triangle(axes: Axes) -> None:
    axes.fill([-0.05, 0.05, 0.0], [1.19, 1.19, 1.11], color=INK, lw=0)


def _swing(swing_m: Sequence[float], angle_deg: Floats) -> Floats:
    theta = np.radians(angle_deg)
    return np.asarray(swing_m[0] + swing_m[1] * np.cos(theta) + swing_m[2] * np.sin(theta))


def _is_odd(angle_deg: float, one: FeelerAnswer) -> bool:
    return any(abs(angle_deg - odd) < 1e-6 for odd in one.odd_angles_deg)


def _gap_unrolled(axes: Axes, one: FeelerAnswer, limits: Pickup, words: Words) -> None:
    per_m = 1 / words.units.gap_m
    most, best = limits.gap_max_m * per_m, limits.gap_best_m * per_m
    top = 1.08 * max(
        most * 1.1, one.widest_m * per_m, *(place.gap_m * per_m for place in one.places)
    )
    axes.axhspan(most, top, color=TOO_WIDE, alpha=0.7, lw=0)
    axes.axhline(best, color=IN_BAND, lw=0.9, ls=(0, (4, 3)))
    if one.swing_m is not None:
        angle = np.linspace(0, 360, 181)
        curve = per_m * _swing(one.swing_m, angle)
        half = 0.5 * per_m * (one.U_widest_m + one.U_closest_m)
        axes.fill_between(angle, curve - half, curve + half, color=INK, alpha=0.13, lw=0)
        axes.plot(angle, curve, color=INK)
    for place in one.places:
        odd = _is_odd(place.angle_deg, one)
        colour, shape = (SUSPECT, "D") if odd else (INK, "o")
        axes.plot(place.angle_deg, place.gap_m * per_m, shape, ms=4, color=colour)
    for level, word, colour in ((most, _("most"), "#8A4B00"), (best, _("best"), "#00664B")):
        axes.text(370, level, word, ha="left", va="center", fontsize=7, color=colour)
    axes.set(xlim=(-6, 366), ylim=(0, top), xticks=range(0, 361, 90))
    axes.set_xlabel(_("angle from the mark, degrees"))
    axes.set_ylabel(_("gap, {unit}").format(unit=words.units.gap))


def _teeth_wheel(axes: Axes, one: WheelAnswer) -> None:
    """Each tooth at its place, the nominal place in grey behind it; suspects numbered."""
    _stage(axes)
    teeth = len(one.spacing_rel)
    late = np.nan_to_num(np.array(one.spacing_rel))
    largest = max(float(np.max(np.abs(late))), 1e-6)
    times = next((t for t in _EXAGGERATIONS if t * largest <= 0.5), 1)
    faults = suspect_teeth(one)
    _disc(axes, 0.0, 0.84, BODY)
    _ring(axes, 0.84, color=RIM, lw=0.8)
    for tooth in range(1, teeth + 1):
        nominal = (tooth - 1) * 360.0 / teeth
        _tooth(axes, nominal, teeth, facecolor="none", edgecolor=RIM, lw=0.5)
        kind = faults.get(tooth)
        if kind is FaultKind.MISSING:
            _tooth(axes, nominal, teeth, facecolor="none", edgecolor=SUSPECT, lw=1.2, ls="--")
        else:
            at = nominal + times * float(late[tooth - 1]) * 360.0 / teeth
            colour = ATTENTION if kind else STEEL
            _tooth(axes, at, teeth, facecolor=colour, edgecolor="none", alpha=1.0 if kind else 0.75)
        if kind or tooth == 1:
            _number(axes, nominal, tooth, kind is not None)
    axes.fill([-0.045, 0.045, 0.0], [0.70, 0.70, 0.79], color=INK, lw=0)
    axes.text(0, 0.62, _("mark"), ha="center", va="center", fontsize=6.5, color=INK)
    text = _("displacement to scale")
    if times > 1:
        text = _("displacement drawn {times} times too large").format(times=times)
    axes.text(0, -_ROOM, text, ha="center", va="bottom", fontsize=6.5, color=QUIET)


def _number(axes: Axes, angle_deg: float, tooth: int, suspect: bool) -> None:
    x, y = _xy(angle_deg, 1.21)
    box = {"boxstyle": "round,pad=0.25", "fc": ATTENTION, "ec": "none"} if suspect else None
    weight = "bold" if suspect else "normal"
    axes.text(x, y, str(tooth), ha="center", va="center", fontsize=7.5, weight=weight, bbox=box)


def _tooth(axes: Axes, angle_deg: float, teeth: int, **style: Any) -> None:
    half = 90.0 / teeth
    corners = [(-1.25, 0.84), (-0.85, 1.08), (0.85, 1.08), (1.25, 0.84)]
    points = [_xy(angle_deg + half * part, radius) for part, radius in corners]
    axes.fill(*zip(*points, strict=True), **style)


def _lateness(axes: Axes, one: WheelAnswer) -> None:
    late, u = 100 * np.array(one.spacing_rel), 100 * np.array(one.u_spacing_rel)
    tooth, named = np.arange(1, late.size + 1), set(suspect_teeth(one))
    colours = [ATTENTION if at in named else STEEL for at in tooth]
    least = 100 * USUAL_OFFSET.least
    axes.axhspan(-least, least, color=IN_BAND, alpha=0.10, lw=0)
    axes.bar(tooth, late, width=0.7, color=colours, yerr=2 * u, error_kw={"lw": 0.6, "ecolor": INK})
    reach = 1.25 * max(least, float(np.nanmax(np.abs(late) + 2 * u)))
    axes.set(xlim=(0.2, late.size + 0.8), ylim=(-reach, reach))
    axes.set_ylabel(_("late, % of a pitch"))
    _label_named(axes, tooth, late, named)


def _level(axes: Axes, one: WheelAnswer, limits: Pickup, words: Words) -> None:
    """Gap by tooth where a baseline tells it, else voltage against the mean."""
    if one.gap_by_tooth_m:
        per_m = 1 / words.units.gap_m
        value, top = per_m * np.array(one.gap_by_tooth_m), per_m * limits.gap_max_m
        axes.axhline(top, color=ATTENTION, lw=1.0)
        axes.axhline(per_m * limits.gap_best_m, color=IN_BAND, lw=0.9, ls=(0, (4, 3)))
        axes.set_ylabel(_("gap by voltage, {unit}").format(unit=words.units.gap))
    else:
        value, top = 100 * np.array(one.voltage_rel), 100.0
        axes.axhline(top, color=INK, lw=0.6)
        axes.set_ylabel(_("voltage, % of mean"))
    tooth, named = np.arange(1, value.size + 1), set(suspect_teeth(one))
    colours = [ATTENTION if at in named else STEEL for at in tooth]
    axes.bar(tooth, value, width=0.7, color=colours)
    axes.set(xlim=(0.2, value.size + 0.8), ylim=(0, 1.2 * max(top, float(np.nanmax(value)))))
    _label_named(axes, tooth, value, named)


def _label_named(axes: Axes, tooth: NDArray[np.int64], value: Floats, named: set[int]) -> None:
    for one in named:
        at = float(value[one - 1])
        if math.isfinite(at):
            axes.annotate(
                str(tooth[one - 1]),
                (one, at),
                xytext=(0, 3 if at >= 0 else -3),
                textcoords="offset points",
                ha="center",
                va="bottom" if at >= 0 else "top",
                fontsize=7.5,
                weight="bold",
            )


def batch_picture(
    pickups: Sequence[tuple[str, PickupAnswer]], best_m: float, most_m: float, words: Words
) -> str:
    """Closest, mean and widest gap of each pickup, by its name, against the limits, as SVG."""
    per_m = 1 / words.units.gap_m
    height_mm = 16 + 6.0 * len(pickups)
    figure, axes = new_figure(170, height_mm)
    top = 1.1 * max(per_m * most_m * 1.1, *(per_m * one.widest_m for _name, one in pickups))
    axes.axvspan(per_m * most_m, top, color=TOO_WIDE, alpha=0.7, lw=0)
    axes.axvline(per_m * best_m, color=IN_BAND, lw=0.9, ls=(0, (4, 3)))
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


def control_picture(control: Control, words: Words) -> str:
    """The shop's repeat measurements with their EWMA and its limits, as SVG."""
    per_m = 1 / words.units.gap_m
    figure, axes = new_figure(170, 58)
    number = np.arange(1, len(control.gap_m) + 1)
    low, high = per_m * control.ewma_low_m, per_m * control.ewma_high_m
    axes.axhspan(low, high, color=IN_BAND, alpha=0.12, lw=0)
    axes.plot(number, per_m * np.array(control.gap_m), "o", ms=3, color=NO_DATA)
    mean = per_m * np.array(control.ewma_m)
    axes.plot(number, mean, color=INK)
    out = (mean < low) | (mean > high)
    axes.plot(number[out], mean[out], "D", ms=4.5, color=SUSPECT)
    axes.set_xlim(0.5, number.size + 0.5)
    axes.set_xlabel(_("repeat measurement"))
    axes.set_ylabel(_("gap, {unit}").format(unit=words.units.gap))
    return to_svg(figure)
