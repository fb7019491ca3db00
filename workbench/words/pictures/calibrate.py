"""The picture of a calibration: error of the readout against the belt's true speed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

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


@dataclass(frozen=True, slots=True)
class ErrorPoint:
    """The error at one speed with its standard uncertainties: of a run, or a change-over of
    the display upwards or downwards."""

    true_mps: float
    error: float
    u_true_mps: float = 0.0
    u_error: float = 0.0
    run: str = ""
    used: bool = True
    upwards: bool | None = None


@dataclass(frozen=True, slots=True)
class Errors:
    """What was found in one go. `fit` are the ends of the fitted line: speed (m/s), error and
    its expanded uncertainty; none where no line was fitted."""

    points: Sequence[ErrorPoint]
    fit: Sequence[tuple[float, float, float]] = ()


def error_picture(found: Errors | None, left: Errors | None, limit: float) -> Picture:
    """Errors as found, and as left by a new setting, in the band of what is allowed."""
    both = [one for one in (found, left) if one is not None]
    reach = [-ROOM * limit, ROOM * limit]
    reach += [error + way * U for one in both for _speed, error, U in one.fit for way in (-1, 1)]
    rows, traces, fills = [], [], []
    for one, name, role in ((found, _("as found"), "belt"), (left, _("as left"), "ink")):
        if one is None:
            continue
        rows += _rows(one.points, name, role)
        if len(one.fit) == 2:
            speed, error, U = np.array(one.fit).T
            along = np.linspace(speed[0], speed[1], LINE_POINTS)
            head = _("fitted error {name}").format(name=name)
            line = Pyramid(along, np.interp(along, speed, error))
            traces.append(Trace(name, line, role, head=head))
            fills.append(Fill(Pyramid(speed, error - U), Pyramid(speed, error + U), role))
    word = _("allowed ± {limit:.3g} %").format(limit=100 * limit)
    panel = Panel(
        Axis(_("error (shown ÷ true − 1)"), "percent", signed=True),
        traces=tuple(traces),
        points=tuple(rows),
        bands=(Band(-limit, limit, word),),
        fills=tuple(fills),
        include=(min(reach), max(reach)),
    )
    return Picture(Axis(_("true belt speed"), "speed"), (panel,), ends=_ends(both))


def _rows(points: Sequence[ErrorPoint], name: str, role: str) -> list[Points]:
    """Runs that were used, that were not, and change-overs, each in its shape."""
    made = []
    own = "dot" if role == "belt" else "square"
    for used, upwards, shape in (
        (True, None, own),
        (False, None, "cross"),
        (True, True, "up"),
        (True, False, "down"),
    ):
        some = [one for one in points if one.used is used and one.upwards is upwards]
        some.sort(key=lambda one: one.true_mps)
        if not some:
            continue
        words = _("error of the runs {name}") if used else _("error of runs not used, {name}")
        if upwards is not None:
            words = _("error at change-overs {name}")
        made.append(
            Points(
                name,
                np.array([one.true_mps for one in some]),
                np.array([one.error for one in some]),
                None if upwards is not None else K * np.array([one.u_error for one in some]),
                None if upwards is not None else K * np.array([one.u_true_mps for one in some]),
                role=role if used else "no_data",
                shape=shape,
                hollow=role != "belt",
                said=tuple(_("run {run}").format(run=one.run) if one.run else "" for one in some),
                head=words.format(name=name),
            )
        )
    return made


def _ends(both: Sequence[Errors]) -> tuple[float, float]:
    """Speeds to show, with some room on both sides."""
    speeds = [point.true_mps for one in both for point in one.points]
    speeds += [speed for one in both for speed, _error, _U in one.fit]
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


def errors_of(answer: CalibrateAnswer) -> Errors:
    """What an answer of a calibration, or its part 'as left', holds."""
    points = [
        ErrorPoint(one.true_mps, one.error, one.u_true_mps, one.u_error, one.run, one.used)
        for one in answer.runs
    ]
    flips = answer.change_overs.points if answer.change_overs else ()
    points += [ErrorPoint(one.true_mps, one.error, upwards=one.direction == "up") for one in flips]
    ends = answer.error_at_ends
    return Errors(points, [(one.speed_mps, one.error, answer.k * one.u_error) for one in ends])


def error_picture_of(answer: CalibrateAnswer) -> Picture:
    """The picture of an answer of a calibration."""
    left = errors_of(answer.as_left) if answer.as_left else None
    return error_picture(errors_of(answer), left, answer.readout_error_limit)
