"""All pickups of one run of the gap check as one answer."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import fields, replace
from typing import Any

from workbench.base.machine import Machine, Pickup
from workbench.base.statements import Statement, statement
from workbench.calibration.gap.answer import FeelerAnswer, Headline, PickupAnswer, WheelAnswer
from workbench.calibration.gap.repeats import RepeatChart
from workbench.calibration.statistics.decision import badness
from workbench.jobs.gap.answer import GapAnswer, PickupSays, headline


def together(
    pickups: Iterable[FeelerAnswer | WheelAnswer],
    *,
    warnings: Iterable[Statement],
    source: str,
    kind: str,
    simulated: bool,
    machine: Machine | None,
    blade_step_m: float,
    counted_from: Statement | None = None,
    control: RepeatChart | None = None,
) -> GapAnswer:
    """One or more pickups as one answer: the worst verdict, the worst pickup's headlines on top.

    `warnings` are those that hold for all. A single pickup takes them for its own.
    """
    common, limits = tuple(warnings), machine.pickup if machine else Pickup()
    pickups = [replace(one, line=_line(one)) for one in pickups]
    if len(pickups) == 1:
        pickups = [replace(pickups[0], warnings=(*common, *pickups[0].warnings))]
    first = max(pickups, key=lambda one: badness(one.verdict))
    answer = GapAnswer(
        **_headlines(first),
        pickups=tuple(pickups),
        source=source,
        kind=kind,
        simulated=simulated,
        limits_of=machine.name if machine else None,
        gap_best_m=limits.gap_best_m,
        gap_max_m=limits.gap_max_m,
        blade_step_m=blade_step_m,
        counted_from=counted_from,
        control=control,
    )
    if len(pickups) == 1:
        return answer
    return replace(
        answer,
        reason=_of(first, first.reason),
        warnings=(*common, *(_of(one, said) for one in pickups for said in one.warnings)),
        summary=dict(Counter(str(one.verdict) for one in pickups)),
    )


def alone(answer: GapAnswer, pickup: FeelerAnswer | WheelAnswer) -> GapAnswer:
    """The answer of one of its pickups, with what holds for all."""
    left = answer.as_left
    if left is not None:
        again = pickup.pickup in (left.checked_again or ())
        same = (one for one in left.pickups if one.pickup == pickup.pickup)
        left = replace(alone(left, next(same)), checked_again=(pickup.pickup,)) if again else None
    own = _headlines(pickup)
    return replace(answer, **own, pickups=(pickup,), summary=None, as_left=left)


def _headlines(pickup: PickupAnswer) -> dict[str, Any]:
    """What of a pickup stands on top of an answer."""
    return {one.name: getattr(pickup, one.name) for one in fields(Headline)}


def _line(one: FeelerAnswer | WheelAnswer) -> Statement:
    """A pickup's answer in a line."""
    verdict, said = statement(one.verdict), headline(one)
    return statement(PickupSays.PICKUP_LINE, pickup=one.pickup, verdict=verdict, said=said)


def _of(pickup: PickupAnswer, said: Statement) -> Statement:
    return statement(PickupSays.OF_PICKUP, pickup=pickup.pickup, said=said)
