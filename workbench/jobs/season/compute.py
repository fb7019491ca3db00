"""One machine over the season, from all that is stored of it.

Each recording or table counts once for a quantity and a pickup, by its newest result.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from workbench.base.statements import PlusMinus, Statement, statement
from workbench.calibration.prepare.measures import CheckKind, Computed
from workbench.jobs.gap.answer import GapAnswer
from workbench.jobs.keep import answer_of
from workbench.jobs.prepare.answer import PrepareAnswer
from workbench.jobs.season.answer import (
    QuantitySeason,
    SeasonAnswer,
    SeasonOptions,
    SeasonQuantity,
    SeasonSays,
)
from workbench.match.season import LEAST_VISITS, Chart, Visit, chart
from workbench.records.cards import Card
from workbench.records.store import Store, open_store

K = 2.0
"""Coverage factor of the uncertainties that are told."""

Row = tuple[SeasonQuantity, str]
"""A quantity and the pickup it belongs to, '' for none."""


@dataclass(frozen=True, slots=True)
class _Measured:
    """What one result says of one quantity; NaN where it says nothing."""

    row: Row
    value: float
    u: float
    allowed: tuple[float, float] = (math.nan, math.nan)


@dataclass(slots=True)
class _Gathered:
    allowed: tuple[float, float]
    visits: list[tuple[Visit, int]] = field(default_factory=list)
    simulated: bool = False


def compute(options: SeasonOptions) -> SeasonAnswer:
    """What was measured of the machine, quantity by quantity. Raises StoreError."""
    found: dict[Row, _Gathered] = {}
    seen = set()
    with open_store(options.store, make=False) as store:
        recordings = {one.number: one for one in store.recordings()}
        for card in store.cards():
            gone = card.deleted_utc or (card.recording and card.recording not in recordings)
            if gone or card.machine_name != options.machine:
                continue
            recording = recordings.get(card.recording or 0)
            when = recording.started_utc if recording else card.created_utc
            simulated = bool(card.head.get("simulated") or (recording and recording.simulated))
            for origin, one in _measured(store, card):
                if (one.row, origin) in seen:
                    continue
                seen.add((one.row, origin))
                of_row = found.setdefault(one.row, _Gathered(one.allowed))
                if math.isfinite(one.value):
                    of_row.visits.append((Visit(when, one.value, one.u), card.number))
                    of_row.simulated |= simulated
    order = list(SeasonQuantity)
    rows = sorted((row for row in found if found[row].visits), key=lambda row: order.index(row[0]))
    return SeasonAnswer(
        options.machine, {"/".join(filter(None, row)): _quantity(row, found[row]) for row in rows}
    )


def _measured(store: Store, card: Card) -> Iterator[tuple[int | str | None, _Measured]]:
    """Where each value of a result comes from, a recording or a table's text, and the value."""
    # A card is read without its answer; it holds neither a table's text nor each pickup.
    listed = card.recording is None or card.kind in ("gap", "prepare")
    whole = store.result(card.number) if listed else None
    origin: int | str | None = card.recording
    if whole is not None and origin is None:
        origin = whole.table
    if whole is not None and card.kind == "gap":
        found = _of_pickups(answer_of(whole, GapAnswer))
    elif whole is not None and card.kind == "prepare":
        found = _of_preparation(answer_of(whole, PrepareAnswer))
    else:
        found = _of_card(card)
    for one in found:
        yield origin, one


def _of_card(card: Card) -> Iterator[_Measured]:
    head = card.head
    if card.kind == "pass":
        allowed = _number(head, "ratio_low"), _number(head, "ratio_high")
        ratio = _number(head, "ratio"), _number(head, "u_ratio", 0.0)
        yield _Measured((SeasonQuantity.RATIO, ""), *ratio, allowed)
    elif card.kind == "calibrate":
        limit = _number(head, "readout_error_limit")
        error = _number(head, "error_at_work"), _number(head, "u_error_at_work", 0.0)
        yield _Measured((SeasonQuantity.ERROR_AT_WORK, ""), *error, (-limit, limit))
        yield _Measured((SeasonQuantity.SETTING, ""), _number(head, "setting_now"), 0.0)
        travel = _number(head, "metres_per_pulse"), _number(head, "u_metres_per_pulse", 0.0)
        yield _Measured((SeasonQuantity.METRES_PER_PULSE, ""), *travel)


def _of_pickups(answer: GapAnswer) -> Iterator[_Measured]:
    for one in answer.pickups:
        u = one.u_gap_m if math.isfinite(one.u_gap_m) else 0.0
        yield _Measured((SeasonQuantity.GAP_M, one.pickup), one.gap_m, u, (0.0, answer.gap_max_m))


_CHECKED = {
    CheckKind.BELT_SAG_MEAN: SeasonQuantity.BELT_SAG_M,
    CheckKind.OIL_FLOW: SeasonQuantity.OIL_FLOW_M3_PER_S,
}
_COMPUTED = {
    Computed.CHAIN_SLACK_SHARE: SeasonQuantity.CHAIN_SLACK_REL,
    Computed.CHAIN_ELONGATION: SeasonQuantity.CHAIN_ELONGATION_REL,
}


def _of_preparation(answer: PrepareAnswer) -> Iterator[_Measured]:
    for one in answer.checks:
        if one.check in _CHECKED:
            allowed = one.limit_low, one.limit_high
            yield _Measured((_CHECKED[one.check], one.place), one.value, one.u_value, allowed)
    for figure in answer.figures:
        if figure.figure in _COMPUTED:
            row = _COMPUTED[figure.figure], figure.place
            yield _Measured(row, figure.value, figure.u_value)
    for source in answer.sources:
        row = SeasonQuantity.TRUE_OVER_SHOWN, source.source
        yield _Measured(row, source.factor, source.u_factor)


def _number(values: dict[str, Any], key: str, unknown: float = math.nan) -> float:
    value = values.get(key)
    return float(value) if isinstance(value, int | float) else unknown


def _quantity(row: Row, found: _Gathered) -> QuantitySeason:
    visits = sorted(found.visits, key=lambda pair: pair[0].when_utc)
    charted = chart([visit for visit, _ in visits])
    return QuantitySeason(
        quantity=row[0],
        pickup=row[1],
        visits=charted.visits,
        results=tuple(number for _, number in visits),
        changes=tuple(_said(row[0], charted)),
        mean=charted.mean,
        low=charted.low,
        high=charted.high,
        allowed_low=found.allowed[0],
        allowed_high=found.allowed[1],
        outside=charted.outside,
        drifting=charted.drifting,
        steps=charted.steps,
        simulated=found.simulated,
    )


def _said(quantity: SeasonQuantity, found: Chart) -> Iterator[Statement]:
    """What the row of visits says, the most telling first."""
    visits, of = found.visits, statement(quantity)
    usual = {"low": _value(quantity, found.low), "high": _value(quantity, found.high)}
    for before, after in ((visits[at - 1], visits[at]) for at in found.steps):
        yield statement(
            SeasonSays.STEPPED,
            quantity=of,
            before_utc=before.when_utc,
            after_utc=after.when_utc,
            before=_value(quantity, before.value, before.u),
            after=_value(quantity, after.value, after.u),
        )
    for visit in (visits[at] for at in found.outside):
        value = _value(quantity, visit.value, visit.u)
        at_utc = visit.when_utc
        yield statement(SeasonSays.OUTSIDE_USUAL, quantity=of, at_utc=at_utc, value=value, **usual)
    if found.drifting:
        since_utc = visits[found.drifting[0]].when_utc
        yield statement(SeasonSays.CREEPS, quantity=of, since_utc=since_utc)
    count = len(visits)
    if count < LEAST_VISITS:
        yield statement(SeasonSays.FEW_VISITS, count=count, more=LEAST_VISITS - count)
    elif not (found.steps or found.outside or found.drifting):
        yield statement(SeasonSays.KEPT_USUAL, quantity=of, count=count, **usual)


def _value(quantity: SeasonQuantity, value: float, u: float = 0.0) -> Statement:
    """A value as it is told of this quantity."""
    spread = PlusMinus(value, K * u)
    if quantity is SeasonQuantity.OIL_FLOW_M3_PER_S:
        return statement(SeasonSays.VALUE_FLOW, flow_m3_per_s=spread)
    if quantity in (SeasonQuantity.RATIO, SeasonQuantity.TRUE_OVER_SHOWN):
        return statement(SeasonSays.VALUE_RATIO, value=spread)
    shares = (
        SeasonQuantity.ERROR_AT_WORK,
        SeasonQuantity.CHAIN_SLACK_REL,
        SeasonQuantity.CHAIN_ELONGATION_REL,
    )
    if quantity in shares:
        return statement(SeasonSays.VALUE_ERROR, error_rel=spread)
    if quantity is SeasonQuantity.SETTING:
        return statement(SeasonSays.VALUE_SETTING, setting=value)
    return statement(SeasonSays.VALUE_GAP, gap_m=spread)
