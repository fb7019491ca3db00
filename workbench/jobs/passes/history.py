"""What earlier passes of the same machine say beside the one just judged."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from enum import StrEnum, auto
from typing import Any

from workbench.base.statements import PlusMinus, Statement, statement
from workbench.jobs.keep import answer_of
from workbench.jobs.passes.answer import PassAnswer
from workbench.match.advice import Advice
from workbench.match.season import LEAST_VISITS, Visit, chart
from workbench.records.cards import Card
from workbench.records.store import Store, open_store


class HistorySays(StrEnum):
    """How a pass lies among those before it."""

    FIRST_PASS_KEPT = auto()
    ONE_EARLIER_PASS = auto()
    EARLIER_PASSES = auto()
    CHANGED_SINCE_LAST = auto()
    NO_CHANGE_SINCE_LAST = auto()
    OUTSIDE_EARLIER_SCATTER = auto()
    PASSES_DRIFT = auto()
    EARLIER_STEP = auto()
    EARLIER_STEP_AND_WAY_TO_GO = auto()


def earlier_passes(
    address: str | None, recording: int, answer: PassAnswer
) -> tuple[Statement, ...]:
    """What the passes of this machine say that were driven before that recording.

    Nothing without a machine. Simulated passes are held against simulated ones only. Raises
    StoreError.
    """
    with open_store(address, make=False) as store:
        known = {one.number: one for one in store.recordings()}
        this = known.get(recording)
        if this is None or not this.machine_name:
            return ()
        before: dict[int, Card] = {}
        for card in store.cards():
            other = known.get(card.recording or 0)
            if card.kind != "pass" or card.deleted_utc or other is None or other is this:
                continue
            alike = (other.machine_name, other.simulated) == (this.machine_name, this.simulated)
            if alike and other.started_utc <= this.started_utc and _number(card, "ratio"):
                before.setdefault(other.number, card)
        cards = sorted(before.items(), key=lambda pair: known[pair[0]].started_utc)
        visits = [
            Visit(known[number].started_utc, _number(card, "ratio"), _number(card, "u_ratio"))
            for number, card in cards
        ]
        step = _last_step(store, [card for _, card in reversed(cards)])
    now = Visit(this.started_utc, answer.ratio, answer.u_ratio)
    return (*beside(visits, now), *step_learned(step, answer.ratio))


def _number(card: Card, key: str) -> float:
    """A number of a result's card, 0 where it has none."""
    value: Any = card.head.get(key)
    return float(value) if isinstance(value, int | float) else 0.0


def _last_step(store: Store, cards: Sequence[Card]) -> Advice | None:
    """The advice of the last pass on which the flow control was moved by known steps."""

    def advices() -> Iterator[Advice | None]:
        for card in cards:
            yield answer_of(store.result(card.number), PassAnswer).advice

    return next((one for one in advices() if one and math.isfinite(one.ratio_per_step)), None)


def beside(visits: Sequence[Visit], this: Visit) -> list[Statement]:
    """The earlier visits, and this one beside them; NaN as its value where it has none."""
    if not visits:
        return [statement(HistorySays.FIRST_PASS_KEPT)]
    values = [visit.value for visit in visits]
    mean = math.fsum(values) / len(values)
    if len(values) == 1:
        said = [statement(HistorySays.ONE_EARLIER_PASS, ratio=mean)]
    else:
        low, high, count = min(values), max(values), len(values)
        said = [statement(HistorySays.EARLIER_PASSES, count=count, low=low, high=high, mean=mean)]
    return said + _against(visits, this) if math.isfinite(this.value) else said


def _against(visits: Sequence[Visit], this: Visit) -> list[Statement]:
    """This pass beside the last one, and beside what the machine's passes scatter by."""
    last = visits[-1]
    change_rel, U_rel = this.value / last.value - 1, 2 * math.hypot(this.u, last.u) / last.value
    if abs(change_rel) > U_rel:
        change = PlusMinus(change_rel, U_rel)
        says = HistorySays.CHANGED_SINCE_LAST
        said = [statement(says, last_utc=last.when_utc, change_rel=change)]
    else:
        says = HistorySays.NO_CHANGE_SINCE_LAST
        said = [statement(says, last_utc=last.when_utc, U_rel=U_rel)]
    found = chart([*visits, this])
    if len(found.visits) > LEAST_VISITS and len(visits) in found.outside:
        said.append(statement(HistorySays.OUTSIDE_EARLIER_SCATTER, low=found.low, high=found.high))
    elif len(visits) in found.drifting:
        said.append(statement(HistorySays.PASSES_DRIFT))
    return said


def step_learned(advice: Advice | None, ratio: float) -> list[Statement]:
    """What a step of the flow control did when it was last moved by known steps."""
    step = advice.ratio_per_step if advice else math.nan
    if not math.isfinite(step):
        return []
    if not (math.isfinite(ratio) and step):
        return [statement(HistorySays.EARLIER_STEP, step_rel=step)]
    steps = (1 - ratio) / step
    return [statement(HistorySays.EARLIER_STEP_AND_WAY_TO_GO, step_rel=step, steps=steps)]
