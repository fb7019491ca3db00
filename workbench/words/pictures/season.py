"""One quantity of a machine from visit to visit: its limits, what is usual, what stood out."""

from __future__ import annotations

import math
from datetime import UTC

import numpy as np

from workbench.base.errors import Message
from workbench.jobs.season.answer import QuantitySeason, SeasonQuantity
from workbench.jobs.season.compute import K
from workbench.words.language import _
from workbench.words.moments import local
from workbench.words.pictures.picture import DAY, Axis, Band, Mark, Panel, Picture, Points, Trace
from workbench.words.pictures.pyramid import Pyramid
from workbench.words.season import season_kind, season_title

ROOM = 0.08
"""Of what is always seen, left free above and below."""


def season_picture(one: QuantitySeason) -> Picture:
    """The quantity against days."""
    when_s = np.array([_seconds(visit.when_utc) for visit in one.visits])
    value = np.array([visit.value for visit in one.visits])
    U = K * np.array([visit.u for visit in one.visits])
    bands, seen = [], [value - U, value + U]
    allowed, usual = (one.allowed_low, one.allowed_high), (one.low, one.high)
    if all(map(math.isfinite, allowed)):
        bands.append(Band(*allowed, _("allowed")))
        seen.append(np.array(allowed))
    if usual[1] > usual[0]:
        bands.append(Band(*usual, _("usual"), "soft_ink", shaded=False))
        seen.append(np.array(usual))
    known = np.concatenate(seen)
    low, high = float(np.nanmin(known)), float(np.nanmax(known))
    room = ROOM * (high - low)
    panel = Panel(
        Axis(season_title(one), season_kind(one)),
        (Trace("", Pyramid(when_s, value), width=1.5),),
        (Points("", when_s, value, U, odd=(value < allowed[0]) | (value > allowed[1])),),
        bands=tuple(bands),
        include=(low - room, high + room),
    )
    marks = tuple(
        Mark(float(when_s[at]), _change(one.quantity, value[at] - value[at - 1]))
        for at in one.steps
    )
    return Picture(Axis(_("day"), DAY), (panel,), marks)


def _change(quantity: SeasonQuantity, change: float) -> Message:
    if quantity in (SeasonQuantity.RATIO, SeasonQuantity.ERROR_AT_WORK):
        return Message("{change_rel:+percent1}", change_rel=float(change))
    if quantity is SeasonQuantity.SETTING:
        return Message("{change:+g}", change=float(change))
    return Message("{change_m:+gap}", change_m=float(change))


def _seconds(when_utc: str) -> float:
    at = local(when_utc, UTC)
    return at.timestamp() if at else math.nan
