"""One machine over the season: each quantity from visit to visit, and what its rows of values say.

`season` opens the store and may be slow: call it away from the screen. Raises StoreError.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from typing import Any

import numpy as np

from workbench.base.units import UnitSystem
from workbench.match.season import LEAST_VISITS, QUANTITIES_OF, Chart, Visit, chart
from workbench.models.plot.picture import Band, Picture, Series
from workbench.models.records.kept import day_words, local
from workbench.records.cards import Card
from workbench.records.store import Store, open_store
from workbench.words.figures import Measure, decimals_of, measures_of, number, plain, with_spread

K = 2.0
"""Coverage factor of the bars."""

_WORDS = {
    "ratio": ("Ratio belt ÷ ground", "ratio", "ratio"),
    "error_at_work": ("Readout error as found", "percent", "readout error"),
    "setting": ("Setting of the readout", "number", "setting"),
    "gap_m": ("Gap", "gap", "gap"),
    "metres_per_pulse": ("Belt travel a pulse", "gap", "belt travel a pulse"),
}
"""Quantity -> its title, its measure, its name within a sentence."""


@dataclass(frozen=True, slots=True, eq=False)
class Quantity:
    """One quantity over the season, the visits in order of time.

    `pickup` tells the gaps of several pickups apart. `results` are the numbers of the results
    the visits come from, `limits` what the newest of them allowed (NaN where it says none).
    """

    key: str
    pickup: str
    chart: Chart
    results: tuple[int, ...]
    limits: tuple[float, float]
    simulated: bool = False
    """Whether any of the visits was simulated."""

    @property
    def title(self) -> str:
        """'Ratio belt ÷ ground', 'Gap at left'."""
        title = _WORDS[self.key][0]
        return f"{title} at {self.pickup}" if self.pickup else title


@dataclass(slots=True)
class _Found:
    visits: list[tuple[Visit, int]]
    limits: tuple[float, float]
    simulated: bool = False


def season(store: str | None, machine: str) -> list[Quantity]:
    """What was measured of a machine, a quantity each; the newest result of each recording."""
    found: dict[tuple[str, str], _Found] = {}
    with open_store(store) as opened:
        recordings = {one.number: one for one in opened.recordings()}
        for card in _newest(opened, machine, set(recordings)):
            source = recordings.get(card.recording or 0)
            when = source.started_utc if source else card.created_utc
            simulated = bool(card.head.get("simulated") or (source and source.simulated))
            for quantity, pickup, value, u in _values(opened, card):
                one = found.setdefault((quantity, pickup), _Found([], _limits(quantity, card.head)))
                if math.isfinite(value):
                    one.visits.append((Visit(when, value, u), card.number))
                    one.simulated |= simulated
    made = []
    for (key, pickup), one in sorted(
        found.items(), key=lambda pair: list(_WORDS).index(pair[0][0])
    ):
        visits = sorted(one.visits, key=lambda pair: pair[0].when_utc)
        if visits:
            numbers = tuple(result for _, result in visits)
            charted = chart(key, [visit for visit, _ in visits])
            made.append(Quantity(key, pickup, charted, numbers, one.limits, one.simulated))
    return made


def _newest(store: Store, machine: str, kept: set[int]) -> Iterator[Card]:
    """Cards of the machine in sight, the newest first, one of each kind for a recording."""
    seen = set()
    for card in store.cards():
        gone = card.deleted_utc or (card.recording is not None and card.recording not in kept)
        if gone or card.machine_name != machine:
            continue
        if card.recording is not None:
            if (card.kind, card.recording) in seen:
                continue
            seen.add((card.kind, card.recording))
        yield card


def _values(store: Store, card: Card) -> Iterator[tuple[str, str, float, float]]:
    """(quantity, pickup, value, standard uncertainty) of one result."""
    if card.kind == "gap":
        # The card holds the worst pickup only; the answers of gap checks are short.
        answer = store.result(card.number).answer
        for one in answer.get("pickups") or [answer]:
            u = number(one.get("u_gap_m"))
            pickup = str(one.get("pickup") or "")
            yield "gap_m", pickup, number(one.get("gap_m")), u if math.isfinite(u) else 0.0
        return
    for quantity, key, u_key in QUANTITIES_OF.get(card.kind, ()):
        u = number(card.head.get(u_key))
        yield quantity, "", number(card.head.get(key)), u if math.isfinite(u) else 0.0


def _limits(quantity: str, head: Mapping[str, Any]) -> tuple[float, float]:
    if quantity == "ratio":
        return number(head.get("ratio_low")), number(head.get("ratio_high"))
    if quantity == "error_at_work":
        limit = number(head.get("readout_error_limit"))
        return -limit, limit
    if quantity == "gap_m":
        return 0.0, number(head.get("gap_max_m"))
    return math.nan, math.nan


def season_picture(one: Quantity, units: UnitSystem) -> Picture:
    """The quantity against days: its limits, what is usual for it, and what stood out."""
    measure = measures_of(units)[_WORDS[one.key][1]]
    x = np.array([_seconds(visit.when_utc) for visit in one.chart.visits])
    y = np.array([visit.value for visit in one.chart.visits]) * measure.per_si
    half = np.array([K * visit.u for visit in one.chart.visits]) * measure.per_si
    bands = []
    if all(math.isfinite(limit) for limit in one.limits):
        low, high = (limit * measure.per_si for limit in one.limits)
        bands.append(Band(low, high, "allowed"))
    if one.chart.high > one.chart.low:
        low, high = (limit * measure.per_si for limit in (one.chart.low, one.chart.high))
        bands.append(Band(low, high, "usual", allowed=False))
    marks = [(float(x[at]), _mark_word(one, at, measure)) for at in one.chart.steps]
    title = f"{one.title}, {measure.unit}" if measure.unit else one.title
    decimals = decimals_of(float(half.max(initial=0.0)), max(measure.decimals, 0))

    def read(value: float) -> str:
        return plain(value, measure.decimals if measure.decimals < 0 else decimals)

    series = [Series("", x, y, half, points=True)]
    return Picture(title, "day", series, bands, marks, x_days=True, read=read)


def season_sentences(one: Quantity, units: UnitSystem, zone: tzinfo | None = None) -> list[str]:
    """What the row of visits says, most telling first."""
    measure, name = measures_of(units)[_WORDS[one.key][1]], _WORDS[one.key][2]
    visits = one.chart.visits

    def shown(at: int) -> str:
        return with_spread(visits[at].value, K * visits[at].u, measure)

    said = [
        f"Between {_day(visits[at - 1], zone)} and {_day(visits[at], zone)} the {name} changed "
        f"from {shown(at - 1)} to {shown(at)}, more than both uncertainties explain."
        for at in one.chart.steps
    ]
    usual = " to ".join(
        plain(limit * measure.per_si, max(measure.decimals, 2))
        for limit in (one.chart.low, one.chart.high)
    )
    said += [
        f"On {_day(visits[at], zone)} the {name}, {shown(at)}, lay outside what this machine's "
        f"own scatter explains ({usual})."
        for at in one.chart.outside
    ]
    if one.chart.drifting:
        first = visits[one.chart.drifting[0]]
        said.append(f"Since {_day(first, zone)} the {name} creeps away from its mean.")
    if len(visits) < LEAST_VISITS:
        more = LEAST_VISITS - len(visits)
        said.append(
            f"{len(visits)} {'visit' if len(visits) == 1 else 'visits'} so far; {more} more "
            "show what is usual for this machine."
        )
    elif not said:
        said.append(f"Over {len(visits)} visits the {name} kept within its own scatter ({usual}).")
    return said


def _mark_word(one: Quantity, at: int, measure: Measure) -> str:
    change = (one.chart.visits[at].value - one.chart.visits[at - 1].value) * measure.per_si
    if one.key == "ratio":
        return f"{plain(100 * change, 1, signed=True)} %"
    decimals = measure.decimals
    return f"{plain(change, decimals, signed=True)} {measure.unit}".strip()


def _seconds(when_utc: str) -> float:
    at = local(when_utc, UTC)
    return at.timestamp() if at else math.nan


def _day(visit: Visit, zone: tzinfo | None) -> str:
    at: datetime | None = local(visit.when_utc, zone)
    return day_words(at) if at else visit.when_utc[:10]
