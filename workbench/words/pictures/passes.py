"""The drift plot of a pass: both speeds with the area between them, the ratio in its band, and
how far belt and ground came apart."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from workbench.base.errors import Message
from workbench.base.statements import PlusMinus
from workbench.jobs.passes.answer import Change, PassAnswer
from workbench.match.ratio import PaceLimits
from workbench.words.language import _
from workbench.words.pictures.picture import (
    CLOCK,
    Axis,
    Band,
    Bools,
    Fill,
    Floats,
    Mark,
    Panel,
    Picture,
    Trace,
)
from workbench.words.pictures.pyramid import Pyramid

STANDS_MPS = 0.06
"""Below this ground speed a ratio says nothing; chosen."""
PAUSE_S = 2.0
"""Looks at a pass come ten times a second, those of a judged one at least each second."""
UNKNOWN = PlusMinus(math.nan, math.nan)
LEAST_MPS, LEAST_M = 0.05, 0.1
"""So much of the speeds, and of the separation, is always seen."""


def ratio_of(belt_mps: Floats, ground_mps: Floats) -> Floats:
    """Belt ÷ ground (n,), NaN where the ground does not move."""
    moving = ground_mps > STANDS_MPS
    return np.where(moving, belt_mps / np.where(moving, ground_mps, 1.0), math.nan)


def pass_picture(
    rows: Floats,
    limits: PaceLimits,
    mean: PlusMinus = UNKNOWN,
    changes: Sequence[Change] = (),
) -> Picture:
    """`rows` (n, 4): time s, belt m/s, ground m/s, separation m, NaN where left out.

    `mean` is the pass's ratio with its expanded uncertainty.
    """
    time_s, belt, ground, apart_m = rows.T
    lines = [
        Pyramid(time_s, one, PAUSE_S) for one in (belt, ground, ratio_of(belt, ground), apart_m)
    ]
    low, high = limits.low, limits.high
    room = 0.5 * (high - low)
    speeds = Panel(
        Axis(_("speed"), "speed"),
        (Trace(_("belt"), lines[0], "belt"), Trace(_("ground"), lines[1], "earth")),
        fills=(Fill(lines[0], lines[1], "attention", pale=False),),
        share=2,
        least=LEAST_MPS,
    )
    paced = Panel(
        Axis(_("ratio belt ÷ ground"), "ratio"),
        (Trace(_("ratio"), lines[2], head=_("ratio belt ÷ ground")),),
        bands=(Band(low, high, _("in band")),),
        fills=_mean(time_s, mean.value, mean.U),
        include=(low - room, high + room),
        outliers_may_leave=True,  # a start from standstill would flatten the rest
    )
    apart = Panel(
        Axis(_("belt ahead of ground"), "length"),
        (Trace(_("ahead"), lines[3], head=_("belt ahead of ground")),),
        least=LEAST_M,
    )
    return Picture(
        Axis(_("time"), CLOCK),
        (speeds, paced, apart),
        marks=tuple(
            Mark(one.time_s, Message("{change_rel:+percent1}", change_rel=one.change))
            for one in changes
        ),
        left_out=_left_out(time_s, np.isnan(belt) & np.isnan(ground)),
    )


def picture_of(answer: PassAnswer, rows: Floats) -> Picture:
    """The picture of a judged pass, of which these `rows` are known."""
    limits = PaceLimits(answer.ratio_low, answer.ratio_high)
    mean = PlusMinus(answer.ratio, answer.U_ratio)
    return pass_picture(rows, limits, mean, answer.change_points)


def _mean(time_s: Floats, ratio: float, U: float) -> tuple[Fill, ...]:
    """The mean ratio with its expanded uncertainty, along the whole time."""
    if not (time_s.size and math.isfinite(U)):
        return ()
    ends, even = time_s[[0, -1]], np.ones(2)
    return (Fill(Pyramid(ends, (ratio - U) * even), Pyramid(ends, (ratio + U) * even), "ink"),)


def _left_out(time_s: Floats, nothing: Bools) -> tuple[tuple[float, float], ...]:
    """Stretches of time of which nothing is known, or nothing was judged."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], nothing, [False])))).reshape(-1, 2)
    last = time_s.size - 1
    return tuple((float(time_s[a]), float(time_s[min(b, last)])) for a, b in edges.tolist())
