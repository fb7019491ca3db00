"""The wheel: gap or spacing round the target wheel as one sees it from the pickup's side.

Angle 0, the mark, is at the top; angles run clockwise, the turning direction. Gap and
spacing are drawn to a scale that the picture states.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from workbench.base.units import METRIC, UnitSystem
from workbench.calibration.gap.wheel_faults import USUAL_OFFSET
from workbench.reports.document import ATTENTION, IN_BAND, INK, NO_DATA
from workbench.reports.drawing import new_figure, to_svg
from workbench.words.gap_lengths import gap_text

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


def gap_picture(answer: Mapping[str, Any], units: UnitSystem = METRIC) -> str:
    """Feeler readings round the wheel, and unrolled beside it, as SVG."""
    figure, wheel, (unrolled,) = _panels(76, 1)
    _gap_wheel(wheel, answer, units)
    _gap_unrolled(unrolled, answer, units)
    return to_svg(figure)


def teeth_picture(answer: Mapping[str, Any], units: UnitSystem = METRIC) -> str:
    """The teeth as the pulses show them, and their lateness unrolled beside it, as SVG."""
    level = answer.get("gap_by_tooth_m") or answer["voltage_rel"]
    figure, wheel, panels = _panels(78, 2 if level else 1)
    _teeth_wheel(wheel, answer)
    _lateness(panels[0], answer)
    if level:
        _level(panels[1], answer, level, units)
    panels[-1].set_xlabel("tooth, counted from the mark in the turning direction")
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


def _gap_wheel(axes: Axes, answer: Mapping[str, Any], units: UnitSystem) -> None:
    _stage(axes)
    most_m = answer["gap_max_m"]
    places = answer["places"]
    top_m = 1.06 * max(most_m * 1.12, *(place["gap_m"] for place in places), answer["widest_m"])
    scale = (_OUTER - _INNER) / top_m
    _disc(axes, _INNER + scale * most_m, _OUTER, TOO_WIDE, 0.7)
    _disc(axes, 0.0, _INNER, BODY)
    _ring(axes, _INNER, color=RIM, lw=1.2)
    _ring(axes, _INNER + scale * answer["gap_best_m"], color=IN_BAND, lw=0.9, ls=(0, (4, 3)))
    _ring(axes, _INNER + scale * most_m, color=ATTENTION, lw=1.0)
    if answer["swing_m"] is not None:
        angle = np.linspace(0.0, 360.0, 361)
        radius = _INNER + scale * _swing(answer["swing_m"], angle)
        axes.plot(*_xy(angle, radius), color=INK, lw=1.2)
    for place in places:
        odd = _is_odd(place["angle_deg"], answer)
        at_deg = float(place["angle_deg"])
        foot, head = _xy(at_deg, _INNER), _xy(at_deg, _INNER + scale * place["gap_m"])
        axes.plot(*zip(foot, head, strict=True), color=ATTENTION if odd else NO_DATA, lw=0.7)
        axes.plot(*head, "D" if odd else "o", ms=4, color=SUSPECT if odd else INK)
    for at_deg in (0.0, 90.0, 180.0, 270.0):
        label = "mark 0°" if at_deg == 0 else f"{at_deg:.0f}°"
        axes.text(*_xy(at_deg, 1.25), label, ha="center", va="center", fontsize=7, color=QUIET)
    _triangle(axes)
    _extremes(axes, answer, scale, units)
    text = f"gap drawn so that the outer edge is {gap_text(top_m, units)}"
    axes.text(0, -_ROOM, text, ha="center", va="bottom", fontsize=6.5, color=QUIET)


def _extremes(axes: Axes, answer: Mapping[str, Any], scale: float, units: UnitSystem) -> None:
    """The widest and the closest point as ticks on the wheel, in words in its middle."""
    for row, name in enumerate(("widest", "closest")):
        gap_m, angle_deg = answer[f"{name}_m"], answer[f"{name}_angle_deg"]
        radius = _INNER + scale * gap_m
        ends = [_xy(angle_deg, radius + part) for part in (-0.05, 0.05)]
        axes.plot(*zip(*ends, strict=True), color=INK, lw=2.4, solid_capstyle="butt")
        text = f"{name} {gap_text(gap_m, units)}\nat {angle_deg:.0f}°"
        axes.text(0, 0.10 - 0.27 * row, text, ha="center", va="center", fontsize=6.5, color=INK)


def _triangle(axes: Axes) -> None:
    axes.fill([-0.05, 0.05, 0.0], [1.19, 1.19, 1.11], color=INK, lw=0)


def _swing(swing_m: Sequence[float], angle_deg: Floats) -> Floats:
    theta = np.radians(angle_deg)
    return np.asarray(swing_m[0] + swing_m[1] * np.cos(theta) + swing_m[2] * np.sin(theta))


def _is_odd(angle_deg: float, answer: Mapping[str, Any]) -> bool:
    return any(abs(angle_deg - odd) < 1e-6 for odd in answer["odd_angles_deg"])


def _gap_unrolled(axes: Axes, answer: Mapping[str, Any], units: UnitSystem) -> None:
    places = answer["places"]
    per_m = 1 / units.gap_m
    most, best = answer["gap_max_m"] * per_m, answer["gap_best_m"] * per_m
    top = 1.08 * max(most * 1.1, answer["widest_m"] * per_m, *(p["gap_m"] * per_m for p in places))
    axes.axhspan(most, top, color=TOO_WIDE, alpha=0.7, lw=0)
    axes.axhline(best, color=IN_BAND, lw=0.9, ls=(0, (4, 3)))
    if answer["swing_m"] is not None:
        angle = np.linspace(0, 360, 181)
        curve = per_m * _swing(answer["swing_m"], angle)
        half = 0.5 * per_m * (answer["U_widest_m"] + answer["U_closest_m"])
        axes.fill_between(angle, curve - half, curve + half, color=INK, alpha=0.13, lw=0)
        axes.plot(angle, curve, color=INK)
    for place in places:
        odd = _is_odd(place["angle_deg"], answer)
        colour, shape = (SUSPECT, "D") if odd else (INK, "o")
        axes.plot(place["angle_deg"], place["gap_m"] * per_m, shape, ms=4, color=colour)
    for level, word, colour in ((most, "most", "#8A4B00"), (best, "best", "#00664B")):
        axes.text(370, level, word, ha="left", va="center", fontsize=7, color=colour)
    axes.set(xlim=(-6, 366), ylim=(0, top), xticks=range(0, 361, 90))
    axes.set_xlabel("angle from the mark, degrees")
    axes.set_ylabel(f"gap, {units.gap}")


def _teeth_wheel(axes: Axes, answer: Mapping[str, Any]) -> None:
    """Each tooth at its place, the nominal place in grey behind it; suspects numbered."""
    _stage(axes)
    teeth = int(answer["teeth"])
    late = np.nan_to_num(np.asarray(answer["spacing_rel"], dtype=np.float64))
    largest = max(float(np.max(np.abs(late))), 1e-6)
    times = next((t for t in _EXAGGERATIONS if t * largest <= 0.5), 1)
    faults = {f["tooth"]: f["kind"] for f in answer["faults"] if f["tooth"]}
    _disc(axes, 0.0, 0.84, BODY)
    _ring(axes, 0.84, color=RIM, lw=0.8)
    for tooth in range(1, teeth + 1):
        nominal = (tooth - 1) * 360.0 / teeth
        _tooth(axes, nominal, teeth, facecolor="none", edgecolor=RIM, lw=0.5)
        kind = faults.get(tooth)
        if kind == "missing tooth":
            _tooth(axes, nominal, teeth, facecolor="none", edgecolor=SUSPECT, lw=1.2, ls="--")
        else:
            at = nominal + times * float(late[tooth - 1]) * 360.0 / teeth
            colour = ATTENTION if kind else STEEL
            _tooth(axes, at, teeth, facecolor=colour, edgecolor="none", alpha=1.0 if kind else 0.75)
        if kind or tooth == 1:
            _number(axes, nominal, tooth, kind is not None)
    axes.fill([-0.045, 0.045, 0.0], [0.70, 0.70, 0.79], color=INK, lw=0)
    axes.text(0, 0.62, "mark", ha="center", va="center", fontsize=6.5, color=INK)
    text = f"displacement drawn {times} times too large" if times > 1 else "displacement to scale"
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


def _lateness(axes: Axes, answer: Mapping[str, Any]) -> None:
    late = 100 * np.asarray(answer["spacing_rel"], dtype=np.float64)
    u = 100 * np.asarray(answer["u_spacing_rel"], dtype=np.float64)
    tooth = np.arange(1, late.size + 1)
    named = {f["tooth"] for f in answer["faults"] if f["tooth"]}
    colours = [ATTENTION if one in named else STEEL for one in tooth]
    least = 100 * USUAL_OFFSET.least
    axes.axhspan(-least, least, color=IN_BAND, alpha=0.10, lw=0)
    axes.bar(tooth, late, width=0.7, color=colours, yerr=2 * u, error_kw={"lw": 0.6, "ecolor": INK})
    reach = 1.25 * max(least, float(np.nanmax(np.abs(late) + 2 * u)))
    axes.set(xlim=(0.2, late.size + 0.8), ylim=(-reach, reach))
    axes.set_ylabel("late, % of a pitch")
    _label_named(axes, tooth, late, named)


def _level(
    axes: Axes, answer: Mapping[str, Any], level: Sequence[float], units: UnitSystem
) -> None:
    """Gap by tooth where a baseline tells it, else voltage against the mean."""
    named = {f["tooth"] for f in answer["faults"] if f["tooth"]}
    value = np.asarray(level, dtype=np.float64)
    tooth = np.arange(1, value.size + 1)
    colours = [ATTENTION if one in named else STEEL for one in tooth]
    if answer.get("gap_by_tooth_m"):
        value = value / units.gap_m
        axes.axhline(answer["gap_max_m"] / units.gap_m, color=ATTENTION, lw=1.0)
        axes.axhline(answer["gap_best_m"] / units.gap_m, color=IN_BAND, lw=0.9, ls=(0, (4, 3)))
        axes.set_ylabel(f"gap by voltage, {units.gap}")
        top = answer["gap_max_m"] / units.gap_m
    else:
        value = 100 * value
        axes.axhline(100, color=INK, lw=0.6)
        axes.set_ylabel("voltage, % of mean")
        top = 100.0
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
    pickups: Sequence[Mapping[str, Any]],
    best_m: float,
    most_m: float,
    units: UnitSystem = METRIC,
) -> str:
    """Closest, mean and widest gap of each pickup against the limits, as SVG."""
    per_m = 1 / units.gap_m
    height_mm = 16 + 6.0 * len(pickups)
    figure, axes = new_figure(170, height_mm)
    top = 1.1 * max(per_m * most_m * 1.1, *(per_m * one["widest_m"] for one in pickups))
    axes.axvspan(per_m * most_m, top, color=TOO_WIDE, alpha=0.7, lw=0)
    axes.axvline(per_m * best_m, color=IN_BAND, lw=0.9, ls=(0, (4, 3)))
    for row, one in enumerate(pickups):
        low, mean, high = (per_m * one[name] for name in ("closest_m", "gap_m", "widest_m"))
        ends = (low - per_m * one["U_closest_m"], high + per_m * one["U_widest_m"])
        axes.plot(ends, (row, row), color=INK, lw=0.6)
        axes.plot((low, high), (row, row), color=INK, lw=3.2, solid_capstyle="butt", alpha=0.55)
        axes.plot(mean, row, "o", ms=4, color=INK)
    names = [_fitting(one["pickup"]) for one in pickups]
    axes.set(xlim=(0, top), ylim=(len(pickups) - 0.4, -0.6), yticks=range(len(pickups)))
    axes.set_yticklabels(names)
    axes.grid(visible=False, axis="y")
    axes.set_xlabel(
        f"gap, {units.gap}: bar from the closest to the widest tooth, dot the mean, line with U"
    )
    return to_svg(figure)


def _fitting(name: str) -> str:
    return name if len(name) <= 34 else name[:33] + "…"


def control_picture(control: Mapping[str, Any], units: UnitSystem = METRIC) -> str:
    """The shop's repeat measurements with their EWMA and its limits, as SVG."""
    per_m = 1 / units.gap_m
    figure, axes = new_figure(170, 58)
    number = np.arange(1, len(control["gap_m"]) + 1)
    low, high = per_m * control["ewma_low_m"], per_m * control["ewma_high_m"]
    axes.axhspan(low, high, color=IN_BAND, alpha=0.12, lw=0)
    axes.plot(number, per_m * np.asarray(control["gap_m"]), "o", ms=3, color=NO_DATA)
    mean = per_m * np.asarray(control["ewma_m"])
    axes.plot(number, mean, color=INK)
    out = (mean < low) | (mean > high)
    axes.plot(number[out], mean[out], "D", ms=4.5, color=SUSPECT)
    axes.set_xlim(0.5, number.size + 0.5)
    axes.set_xlabel("repeat measurement")
    axes.set_ylabel(f"gap, {units.gap}")
    return to_svg(figure)
