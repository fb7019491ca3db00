"""All pickups of one run of the gap check as one answer."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace

from workbench.base.machine import Machine, Pickup
from workbench.base.statements import Statement, statement
from workbench.calibration.gap.answer import FeelerAnswer, PickupAnswer, WheelAnswer
from workbench.calibration.gap.judgement import badness
from workbench.calibration.gap.repeats import RepeatChart
from workbench.jobs.gap.answer import GapAnswer, PickupSays, headline


def together(
    pickups: Sequence[FeelerAnswer | WheelAnswer],
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
    common, alone = tuple(warnings), len(pickups) == 1
    pickups = [replace(one, line=_line(one)) for one in pickups]
    if alone:
        pickups = [replace(pickups[0], warnings=(*common, *pickups[0].warnings))]
    first = max(pickups, key=lambda one: badness(one.verdict))
    limits = machine.pickup if machine else Pickup()
    return GapAnswer(
        pickup=first.pickup,
        verdict=first.verdict,
        reason=first.reason if alone else _of(first, first.reason),
        advice=first.advice,
        warnings=first.warnings
        if alone
        else (*common, *(_of(one, said) for one in pickups for said in one.warnings)),
        gap_m=first.gap_m,
        runout_m=first.runout_m,
        teeth=first.teeth,
        missed=first.missed,
        extra=first.extra,
        pickups=tuple(pickups),
        source=source,
        kind=kind,
        simulated=simulated,
        limits_of=machine.name if machine else None,
        gap_best_m=limits.gap_best_m,
        gap_max_m=limits.gap_max_m,
        blade_step_m=blade_step_m,
        summary=None if alone else dict(Counter(str(one.verdict) for one in pickups)),
        counted_from=counted_from,
        control=control,
    )


def alone(answer: GapAnswer, pickup: FeelerAnswer | WheelAnswer) -> GapAnswer:
    """The answer of one of its pickups, with what holds for all."""
    return replace(
        answer,
        pickups=(pickup,),
        pickup=pickup.pickup,
        verdict=pickup.verdict,
        reason=pickup.reason,
        advice=pickup.advice,
        warnings=pickup.warnings,
        gap_m=pickup.gap_m,
        runout_m=pickup.runout_m,
        teeth=pickup.teeth,
        missed=pickup.missed,
        extra=pickup.extra,
        summary=None,
    )


def _line(one: FeelerAnswer | WheelAnswer) -> Statement:
    """A pickup's answer in a line."""
    verdict, said = statement(one.verdict), headline(one)
    return statement(PickupSays.PICKUP_LINE, pickup=one.pickup, verdict=verdict, said=said)


def _of(pickup: PickupAnswer, said: Statement) -> Statement:
    return statement(PickupSays.OF_PICKUP, pickup=pickup.pickup, said=said)
