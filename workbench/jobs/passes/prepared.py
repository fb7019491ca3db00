"""What was prepared, as a pass takes it: true scales of ground sources, causes that it bears on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from drivers.contract import Recording, SpeedTrack
from workbench.base.statements import PlusMinus, Statement, statement
from workbench.calibration.prepare.measures import Topic
from workbench.jobs.channels import ground_kind
from workbench.jobs.passes.answer import PassAnswer
from workbench.jobs.prepare.answer import AtHandSays, Prepared, PreparedFactor
from workbench.match.hypotheses import Cause

BEARS_ON: dict[Cause, Topic] = {
    Cause.BELT_SLIP: Topic.BELT,
    Cause.VALVE_OFF: Topic.FLOW,
    Cause.OIL_WARMING: Topic.FLOW,
    Cause.ENGINE_DROOP: Topic.FLOW,
    Cause.WHEEL_SLIP: Topic.TYRES,
}
"""Cause -> the part of the machine at which it would have shown before the run."""


def factor_of(track: SpeedTrack, prepared: Prepared | None) -> PreparedFactor | None:
    """What a taped course proved of a source's kind; None where none did."""
    kind = ground_kind(track).name
    found = prepared.factors if prepared else ()
    return next((one for one in found if one.source == kind), None)


def with_true_grounds(recording: Recording, prepared: Prepared | None) -> Recording:
    """The recording with every proven ground source at its true scale."""
    speeds = {name: _true(track, prepared) for name, track in recording.speeds.items()}
    return replace(recording, speeds=speeds)


def _true(track: SpeedTrack, prepared: Prepared | None) -> SpeedTrack:
    factor = factor_of(track, prepared)
    if factor is None:
        return track
    times = factor.factor
    return replace(track, speed_mps=track.speed_mps * times, u_mps=track.u_mps * times)


def with_prepared(
    answer: PassAnswer, recording: Recording, prepared: Prepared | None
) -> PassAnswer:
    """The answer with the factors that were used, and beside each likely cause what was found at
    its part before the run, or that nobody looked."""
    if prepared is None:
        return answer
    likely = answer.likely_causes
    causes = tuple(
        replace(one, evidence=(*one.evidence, *_found(one.cause, prepared)))
        if one in likely
        else one
        for one in answer.causes
    )
    used = []
    for track in recording.speeds.values():
        factor = factor_of(track, prepared)
        if factor is not None and track.source in {one.source for one in answer.ground_sources}:
            times = PlusMinus(factor.factor, 2 * factor.u_factor)
            says = AtHandSays.TRUE_SCALE_USED
            used.append(statement(says, source=track.source, factor=times, result=factor.result))
    return replace(answer, causes=causes, warnings=(*answer.warnings, *used))


def _found(cause: Cause, prepared: Prepared) -> Iterator[Statement]:
    topic = BEARS_ON.get(cause)
    if topic is None:
        return
    if topic in prepared.failed:
        says = AtHandSays.FAILED_BEFORE
        yield statement(says, topic=statement(topic), result=prepared.result, on=prepared.on)
    elif topic in prepared.unmeasured:
        yield statement(AtHandSays.NOT_MEASURED_BEFORE, topic=statement(topic))
