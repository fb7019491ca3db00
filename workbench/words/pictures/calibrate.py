"""The picture of a calibration: error of the readout against the belt's true speed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from workbench.calibration.readout.recorded_runs import STEADY_REL
from workbench.jobs.calibrate.answer import CalibrateAnswer
from workbench.words.language import _
from workbench.words.pictures.picture import (
    AGO,
    NOTHING,
    Axis,
    Band,
    Fill,
    Floats,
    Panel,
    Picture,
    Points,
    Trace,
)
from workbench.words.pictures.pyramid import Pyramid
from workbench.words.pictures.sketch import Sketch
from workbench.words.pictures.verdict import Spread, number_line, share_bars
from workbench.words.words import Words

K = 2.0
"""Coverage factor of the runs' bars."""
STEADY_SHOWN_S = 60.0
LEAST_REL = 0.03
"""So much of the speed is seen upwards, that a steady belt looks steady. Chosen."""
ROOM = 1.2
"""Limits of the error that are always seen."""
LINE_POINTS = 101
ALLOWED = 0.02
"""The error allowed where no machine says."""
WORKING_MPS = (0.894, 1.341)
"""Speeds shown before the first run: 2 to 3 mph, where diggers work (common practice)."""


def error_picture(answer: CalibrateAnswer | None, limit: float) -> Picture:
    """Errors as found, and as left by a new setting, in the band of what is allowed; without
    an answer that band alone."""
    left = answer.as_left if answer else None
    named = ((answer, _("as found"), "belt"), (left, _("as left"), "ink"))
    reach, speeds = [-ROOM * limit, ROOM * limit], []
    points, traces, fills = [], [], []
    for one, name, role in named:
        if one is None:
            continue
        points += _points(one, name, role)
        speeds += [run.true_mps for run in one.runs]
        speeds += [flip.true_mps for flip in one.flips]
        speeds += [end.speed_mps for end in one.error_at_ends]
        if len(one.error_at_ends) == 2:
            rows = [(end.speed_mps, end.error, one.k * end.u_error) for end in one.error_at_ends]
            speed, error, U = np.array(rows).T
            reach += [*(error - U).tolist(), *(error + U).tolist()]
            along = np.linspace(speed[0], speed[1], LINE_POINTS)
            head = _("fitted error {name}").format(name=name)
            line = Pyramid(along, np.interp(along, speed, error))
            traces.append(Trace(name, line, role, head=head))
            fills.append(Fill(Pyramid(speed, error - U), Pyramid(speed, error + U), role))
    word = _("allowed ± {limit:.3g} %").format(limit=100 * limit)
    panel = Panel(
        Axis(_("error (shown ÷ true − 1)"), "percent", signed=True),
        traces=tuple(traces),
        points=tuple(points),
        bands=(Band(-limit, limit, word),),
        fills=tuple(fills),
        include=(min(reach), max(reach)),
    )
    return Picture(Axis(_("true belt speed"), "speed"), (panel,), ends=_ends(speeds))


def verdict_sketch(answer: CalibrateAnswer, words: Words) -> Sketch:
    """The error at work between what is allowed; as found, pale, beside as left."""
    limit, last = answer.readout_error_limit, answer.latest
    found = [Spread(last.error_at_work, last.U_error_at_work)]
    if answer.as_left is not None:
        found = [
            Spread(answer.error_at_work, answer.U_error_at_work, _("as found"), "no_data"),
            Spread(last.error_at_work, last.U_error_at_work, _("as left")),
        ]
    return number_line(found, -limit, limit, "percent", words, sign=True)


def budget_sketch(answer: CalibrateAnswer, words: Words) -> Sketch:
    """What makes the error unsure, by share of its variance."""
    groups = answer.latest.budget.groups
    return share_bars({words.say(part): u**2 for part, u in groups.items() if u > 0}, words)


def _points(one: CalibrateAnswer, name: str, role: str) -> list[Points]:
    """Runs that were used, that were not, and change-overs, each in its shape."""
    made = []
    for used, shape in ((True, "dot" if role == "belt" else "square"), (False, "cross")):
        runs = sorted((run for run in one.runs if run.used is used), key=lambda run: run.true_mps)
        words = _("error of the runs {name}") if used else _("error of runs not used, {name}")
        made.append(
            Points(
                name,
                np.array([run.true_mps for run in runs]),
                np.array([run.error for run in runs]),
                K * np.array([run.u_error for run in runs]),
                K * np.array([run.u_true_mps for run in runs]),
                role=role if used else "no_data",
                shape=shape,
                hollow=role != "belt",
                said=tuple(_("run {run}").format(run=run.run) for run in runs),
                head=words.format(name=name),
            )
        )
    for way in ("up", "down"):
        flips = sorted(
            (flip for flip in one.flips if flip.direction == way), key=lambda flip: flip.true_mps
        )
        x, y = (np.array([getattr(flip, of) for flip in flips]) for of in ("true_mps", "error"))
        head = _("error at change-overs {name}").format(name=name)
        made.append(Points(name, x, y, role=role, shape=way, hollow=role != "belt", head=head))
    return [points for points in made if points.x.size]


def _ends(speeds: Sequence[float]) -> tuple[float, float]:
    """Speeds to show, with some room on both sides."""
    low, high = min(speeds or WORKING_MPS), max(speeds or WORKING_MPS)
    room = 0.1 * max(high - low, 0.2 * high)
    return low - room, high + room


def steadiness_picture(ago_s: Floats, speed_mps: Floats) -> Picture:
    """The belt's speed (n,) of the last minute, `ago_s` below 0, with the band within which it
    counts as steady about its end."""
    known = np.isfinite(speed_mps) & (ago_s >= -STEADY_SHOWN_S)
    if not known.any():
        return NOTHING
    now = float(speed_mps[known][-1])
    half = STEADY_REL / 2 * now
    word = _("steady ± {percent:g} %").format(percent=50 * STEADY_REL)
    panel = Panel(
        Axis(_("belt speed"), "speed"),
        (Trace(_("belt"), Pyramid(ago_s[known], speed_mps[known]), "belt"),),
        bands=(Band(now - half, now + half, word),),
        least=LEAST_REL * now,
    )
    return Picture(Axis(_("time, 0 is now"), AGO), (panel,), ends=(-STEADY_SHOWN_S, 0.0))
