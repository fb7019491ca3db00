"""The pictures of a gap check: gaps unrolled, teeth one by one, the drop-out run."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence

import numpy as np

from workbench.base.machine import Pickup
from workbench.calibration.gap.answer import PickupAnswer
from workbench.calibration.gap.wheel_faults import USUAL_OFFSET
from workbench.words.language import _
from workbench.words.pictures.picture import (
    CLOCK,
    Axis,
    Band,
    Bars,
    Fill,
    Floats,
    Mark,
    Panel,
    Picture,
    Points,
    Trace,
)
from workbench.words.pictures.pyramid import Pyramid
from workbench.words.pictures.sketch import Sketch
from workbench.words.pictures.verdict import Spread, number_line
from workbench.words.pictures.wheel import GapWheel
from workbench.words.words import Words

LEAST_SPAN_S = 60.0
"""Seconds of a drop-out run that are always in the picture."""
SMOOTH_DEG = 2.0
ROOM = 0.45
"""Of a bar picture's reach, left free for the numbers above the bars."""


def verdict_sketch(one: PickupAnswer, limits: Pickup, words: Words) -> Sketch:
    """The closest and the widest point between touching and the most allowed."""
    found = [
        Spread(one.closest_m, one.U_closest_m, _("closest"), "belt"),
        Spread(one.widest_m, one.U_widest_m, _("widest")),
    ]
    return number_line(found, 0.0, limits.gap_max_m, "gap", words)


def unrolled_gap_picture(wheel: GapWheel, U_m: float) -> Picture:
    """The gaps round the wheel, unrolled: the swing with its expanded uncertainty, the limits."""
    traces, fills = [], []
    if wheel.swing_m is not None:
        angle = np.arange(0.0, 360.0 + SMOOTH_DEG, SMOOTH_DEG)
        swing = wheel.swing_at(angle)
        traces.append(Trace("", Pyramid(angle, swing)))
        fills.append(Fill(Pyramid(angle, swing - U_m), Pyramid(angle, swing + U_m), "ink"))
    panel = Panel(
        Axis(_("gap"), "gap"),
        tuple(traces),
        (Points("", wheel.angle_deg, wheel.gap_m, odd=wheel.odd),),
        bands=(*_limits(wheel.best_m, wheel.most_m), too_wide(wheel.most_m, wheel.top_m)),
        fills=tuple(fills),
        include=(0.0, wheel.top_m),
        exact=True,
    )
    return Picture(Axis(_("angle from the mark"), "angle"), (panel,), ends=(-6.0, 366.0))


def too_wide(most_m: float, top_m: float) -> Band:
    """What is wider than allowed."""
    return Band(most_m, top_m, role="attention")


def _limits(best_m: float, most_m: float) -> tuple[Band, Band]:
    return (
        Band(best_m, best_m, _("best"), shaded=False),
        Band(most_m, most_m, _("at most"), "attention"),
    )


def teeth_picture(
    late_rel: Floats,
    u_late_rel: Floats,
    suspects: Collection[int],
    *,
    gap_m: Sequence[float] = (),
    limits_m: tuple[float, float] = (math.nan, math.nan),
    voltage_rel: Sequence[float] = (),
) -> Picture:
    """Each tooth's lateness (shares of a pitch, from tooth 1) with k = 2, and its gap by its
    voltage where a baseline tells it, else its voltage against the mean; `suspects` count
    from 1, `limits_m` are the best and the largest gap."""
    late = _teeth(_("late"), late_rel, suspects, 2 * u_late_rel)
    least = USUAL_OFFSET.least
    reach = (1 + ROOM) * max(least, _largest(np.abs(late_rel) + 2 * u_late_rel))
    panels = [
        Panel(
            Axis(_("late against the pitch"), "percent"),
            bars=(late,),
            bands=(Band(-least, least),),
            include=(-reach, reach),
            exact=True,
        )
    ]
    if len(gap_m):
        value = np.asarray(gap_m, dtype=np.float64)
        bars = _teeth(_("gap by voltage"), value, suspects)
        panels.append(_level(Axis(_("gap by voltage"), "gap"), bars, _limits(*limits_m)))
    elif len(voltage_rel):
        value = np.asarray(voltage_rel, dtype=np.float64)
        bars = _teeth(_("voltage"), value, suspects)
        mean = Band(1.0, 1.0, role="ink")
        panels.append(_level(Axis(_("voltage against the mean"), "percent0"), bars, (mean,)))
    words = _("tooth, from the mark in the turning direction")
    numbers = np.arange(1, late_rel.size + 1)
    x = Axis(words, numbers=numbers, one=_("tooth"))
    return Picture(x, tuple(panels), ends=(0.2, late_rel.size + 0.8))


def _teeth(name: str, value: Floats, suspects: Collection[int], U: Floats | None = None) -> Bars:
    tooth = np.arange(1, value.size + 1)
    named = tuple((one - 1, str(one)) for one in sorted(suspects) if math.isfinite(value[one - 1]))
    odd = np.isin(tooth, list(suspects))
    return Bars(name, tooth.astype(np.float64), value, U, "no_data", odd, notes=named)


def _level(axis: Axis, bars: Bars, bands: tuple[Band, ...]) -> Panel:
    top = (1 + ROOM) * max(_largest(bars.y), *(band.high for band in bands))
    return Panel(axis, bars=(bars,), bands=bands, include=(0.0, top), exact=True)


def _largest(values: Floats) -> float:
    return float(np.nanmax(values, initial=0.0))


def control_picture(gap_m: Floats, ewma_m: Floats, limits_m: tuple[float, float]) -> Picture:
    """The shop's repeat measurements (n,) with their weighted mean and its limits."""
    number = np.arange(1, gap_m.size + 1)
    x = number.astype(np.float64)
    outside = (ewma_m < limits_m[0]) | (ewma_m > limits_m[1])
    panel = Panel(
        Axis(_("gap"), "gap"),
        (Trace(_("mean"), Pyramid(x, ewma_m), head=_("weighted mean")),),
        (
            Points("", x, gap_m, role="no_data"),
            Points("", x[outside], ewma_m[outside], odd=np.ones(int(outside.sum()), dtype=bool)),
        ),
        bands=(Band(*limits_m, _("limits")),),
        include=limits_m,
    )
    axis = Axis(_("repeat measurement"), numbers=number)
    return Picture(axis, (panel,), ends=(0.5, gap_m.size + 0.5))


def drop_out_trace(time_s: Floats, speed_mps: Floats, low_mps: float) -> Picture:
    """The belt's speed since a drop-out run began, above the lowest working speed or below."""
    panel = Panel(
        Axis(_("belt speed"), "speed"),
        (Trace(_("belt"), Pyramid(time_s, speed_mps), "belt"),),
        bands=(Band(low_mps, low_mps, _("lowest working")),),
        include=(0.0, 1.3 * low_mps) if math.isfinite(low_mps) else None,
    )
    last = max(LEAST_SPAN_S, float(time_s[-1]) if time_s.size else 0.0)
    return Picture(Axis(_("time"), CLOCK), (panel,), ends=(0.0, last))


def drop_out_picture(
    speed_mps: Floats, seen_rel: Floats, drop_out_mps: float, low_mps: float
) -> Picture:
    """Share of the teeth seen against the belt's speed (n,), with the speed at which teeth go
    missing, NaN where none did, and the lowest working speed."""
    panel = Panel(
        Axis(_("teeth seen"), "percent0"),
        (Trace(_("seen"), Pyramid(speed_mps, seen_rel), "belt"),),
        include=(0.0, 1.04),
        exact=True,
    )
    marked = ((drop_out_mps, _("drop-out")), (low_mps, _("work begins")))
    marks = tuple(Mark(at, word) for at, word in marked if math.isfinite(at))
    ends = [*speed_mps.tolist(), *(mark.x for mark in marks)] or [0.0, 1.0]
    room = 0.06 * (max(ends) - min(ends) or 1.0)
    span = (max(0.0, min(ends) - room), max(ends) + room)
    return Picture(Axis(_("belt speed"), "speed"), (panel,), marks, ends=span)
