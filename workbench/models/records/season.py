"""One machine over the season: the picture of each quantity from visit to visit."""

from __future__ import annotations

import math
from datetime import UTC

import numpy as np

from workbench.base.numbers import Quantity, decimals_of, plain
from workbench.jobs.season.answer import QuantitySeason, SeasonQuantity
from workbench.jobs.season.compute import K
from workbench.models.plot.picture import Band, Picture, Series
from workbench.words.language import _
from workbench.words.moments import local
from workbench.words.season import season_quantity, season_title
from workbench.words.words import Words


def season_picture(one: QuantitySeason, words: Words) -> Picture:
    """The quantity against days: its limits, what is usual for it, and what stood out."""
    shown = season_quantity(one, words)
    x = np.array([_seconds(visit.when_utc) for visit in one.visits])
    y = np.array([visit.value for visit in one.visits]) * shown.per_si
    half = np.array([K * visit.u for visit in one.visits]) * shown.per_si
    bands = []
    if math.isfinite(one.allowed_low) and math.isfinite(one.allowed_high):
        low, high = one.allowed_low * shown.per_si, one.allowed_high * shown.per_si
        bands.append(Band(low, high, _("allowed")))
    if one.high > one.low:
        low, high = one.low * shown.per_si, one.high * shown.per_si
        bands.append(Band(low, high, _("usual"), allowed=False))
    marks = [(float(x[at]), _step_text(one, at, shown, words)) for at in one.steps]
    title = season_title(one)
    widest = float(half.max(initial=0.0))
    decimals = max(decimals_of(widest), shown.decimals) if widest else shown.decimals
    return Picture(
        f"{title}, {shown.unit}" if shown.unit else title,
        _("day"),
        [Series("", x, y, half, points=True)],
        bands,
        marks,
        x_days=True,
        read=lambda value: plain(value, decimals),
    )


def _step_text(one: QuantitySeason, at: int, shown: Quantity, words: Words) -> str:
    """By how much the quantity stepped."""
    change = one.visits[at].value - one.visits[at - 1].value
    if one.quantity is SeasonQuantity.RATIO:
        return words.number("percent1", change, signed=True)
    return shown.text(change, signed=True)


def _seconds(when_utc: str) -> float:
    at = local(when_utc, UTC)
    return at.timestamp() if at else math.nan
