"""What to do after a pass: by its likeliest cause, and after a change by the latest stretch."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from workbench.base.machine import Limits
from workbench.base.statements import PlusMinus, Statement, statement
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.passes.answer import CauseAnswer, PassAnswer, PassSays, Stretch
from workbench.match.advice import Advice, AdviceSays, Response, advise
from workbench.match.evidence import PassInputs
from workbench.match.findings import EvidenceSays
from workbench.match.hypotheses import Cause, CauseSays
from workbench.match.ratio import Comparison, Pace, compare
from workbench.match.sources import GNSS, WHEEL, trust

CHANGES = (Cause.VALVE_MOVED, Cause.OIL_WARMING)
"""Causes that leave the belt other than it was: the mean of before and after is nowhere now."""

MISLEADS = (Cause.BELT_SLIP, Cause.ROLL_BUILD_UP, CauseSays.WRONG_TEETH_TYPED)
"""What makes the pulses tell a speed that the belt does not have."""

PASSES_OVER = (Cause.OIL_WARMING, Cause.ENGINE_DROOP, Cause.BELT_NOT_FOLLOWING)
"""What makes another pass differ though nothing was set: first that, then the flow control."""

NOTHING_FIRST = (Cause.NONE, Cause.VALVE_OFF, Cause.NOT_CLEAR)
"""The rest is mended before belt or ground speed are changed."""

SURER = 0.5
"""Another ground is worth judging by where its ratio is twice as sure. Chosen."""


@dataclass(frozen=True, slots=True)
class Judgement:
    """All that advice goes by."""

    answer: PassAnswer
    inputs: PassInputs
    found: Comparison
    limits: Limits
    response: Response | None


def with_advice(this: Judgement) -> PassAnswer:
    """The answer with what to do, and before and after a change side by side."""
    answer = this.answer
    cause = answer.causes[0] if answer.cause_clear else None
    pace, stretches = this.found.pace, _before_and_after(this, cause)
    by: list[Statement] = []
    if stretches:
        # More of the same would bring a mean of two states, and settle neither.
        answer = replace(answer, stretches=stretches, reason=pace.decision.reason)
        from_s, pace = stretches[1].from_s, _compared(this, stretches[1].from_s, stretches[1].to_s)
        ratio = PlusMinus(pace.ratio, pace.U_ratio)
        by = [statement(AdviceSays.BY_LATEST_STRETCH, from_s=from_s, ratio=ratio)]
    elif cause is not None and cause.cause in PASSES_OVER:
        # Nor is more of the same called for where first something is to be done otherwise.
        answer = replace(answer, reason=pace.decision.reason)
    advice = _settled(this, advise(pace, this.limits, this.response), pace)
    if math.isfinite(pace.ratio) or advice.judge_again_with:
        advice = _by_cause(advice, cause, this.inputs)
    return replace(answer, advice=replace(advice, sentences=(*by, *advice.sentences)))


def _by_cause(advice: Advice, cause: CauseAnswer | None, inputs: PassInputs) -> Advice:
    """The advice of the ratio alone with what a clear cause says to do first."""
    if cause is None or cause.cause in NOTHING_FIRST or _elsewhere(cause.cause, inputs):
        return advice
    named = cause.title.what if cause.title.what in MISLEADS else cause.cause
    first = cause.check_next
    offered = [one for one in advice.sentences if one.what == AdviceSays.JUDGE_AGAIN_WITH]
    changes = math.isfinite(advice.belt_change_rel)
    if named in MISLEADS or cause.cause is Cause.WHEEL_SLIP:
        then = [statement(AdviceSays.LEAVE_UNTIL_JUDGED_AGAIN)]
    elif cause.cause in PASSES_OVER and not (changes and cause.cause in CHANGES):
        then = [statement(AdviceSays.LEAVE_UNTIL_ANOTHER_PASS)]
    else:
        then = [one for one in advice.sentences if one.what != AdviceSays.JUDGE_AGAIN_WITH]
        return replace(advice, sentences=(*offered, first, *then))
    return Advice(
        ratio_per_step=advice.ratio_per_step,
        u_ratio_per_step=advice.u_ratio_per_step,
        judge_again_with=advice.judge_again_with,
        sentences=(*offered, first, *then),
    )


def _elsewhere(cause: Cause, inputs: PassInputs) -> bool:
    """Whether a cause is in a source of ground speed that this pass was not judged by."""
    quality = inputs.qualities.get(inputs.ground_source)
    kind = {Cause.WHEEL_SLIP: WHEEL, Cause.GNSS_UNUSABLE: GNSS}.get(cause)
    return kind is not None and (quality is None or quality.kind is not kind)


def _settled(this: Judgement, advice: Advice, pace: Pace) -> Advice:
    """The advice where the ratio is too unsure: what would settle it, another ground first."""
    answer, verdict = this.answer, pace.decision.verdict
    unsure = verdict is Verdict.CANNOT_TELL
    for_nothing = answer.reason.what == PassSays.MORE_WOULD_NOT_SETTLE
    misled = _wheels_slip(this)
    if not (unsure or for_nothing or misled):
        return advice
    name, other = _another_ground(this, any_verdict=misled)
    if other is not None:
        ratio = PlusMinus(other.ratio, other.U_ratio)
        said = statement(AdviceSays.JUDGE_AGAIN_WITH, source=name, ratio=ratio)
        rest = () if unsure or misled else advice.sentences
        return replace(advice, judge_again_with=name, sentences=(said, *rest))
    if unsure and for_nothing:
        return replace(advice, sentences=(statement(AdviceSays.TAKE_A_SURER_GROUND),))
    return advice


def _wheels_slip(this: Judgement) -> bool:
    causes = this.answer.causes if this.answer.cause_clear else ()
    slip = bool(causes) and causes[0].cause is Cause.WHEEL_SLIP
    return slip and not _elsewhere(Cause.WHEEL_SLIP, this.inputs)


def _another_ground(this: Judgement, *, any_verdict: bool) -> tuple[str, Pace | None]:
    """The most trusted other source of the ground's speed by which the pass can be told.

    Of a pass that is judged already only one that gives a clear answer is worth the offer.
    """
    inputs, pace = this.inputs, this.found.pace
    able = [one for name, one in inputs.qualities.items() if name != inputs.ground_source]
    unsure = pace.decision.verdict is Verdict.CANNOT_TELL
    for one in sorted(able, key=lambda one: trust(one.kind, usable=one.usable)):
        if not one.usable or one.source not in inputs.others:
            continue
        other = compare(inputs.belt, inputs.others[one.source], inputs.limits).pace
        verdict = other.decision.verdict
        clear = verdict in (Verdict.PASS, Verdict.FAIL)
        surer = unsure and not other.U_ratio > SURER * pace.U_ratio
        if clear or any_verdict or (surer and verdict is not Verdict.CANNOT_TELL):
            return one.source, other
    return "", None


def _before_and_after(this: Judgement, cause: CauseAnswer | None) -> tuple[Stretch, ...]:
    """The stretches before and after what a clear cause changed; () where nothing was."""
    parts = this.answer.segments
    if cause is None or cause.cause not in CHANGES or len(parts) < 2:
        return ()
    to_s, from_s = parts[0].to_s, parts[-1].from_s
    if cause.cause is Cause.VALVE_MOVED:
        to_s = from_s = _moved_at(this.answer, cause, from_s)
    ends = (parts[0].from_s, to_s), (from_s, parts[-1].to_s)
    found = [(begins_s, ends_s, _compared(this, begins_s, ends_s)) for begins_s, ends_s in ends]
    if not all(math.isfinite(pace.ratio) for _begins, _ends, pace in found):
        return ()
    return tuple(
        Stretch(begins_s, ends_s, pace.ratio, pace.U_ratio, pace.decision.verdict)
        for begins_s, ends_s, pace in found
    )


def _moved_at(answer: PassAnswer, cause: CauseAnswer, otherwise_s: float) -> float:
    """When the flow control moved: by the cause's own evidence, or by the change of the ratio."""
    for said in cause.evidence:
        at_s = said.values.get("at_s")
        if said.what == EvidenceSays.BELT_CHANGED_AT_ONCE and isinstance(at_s, float):
            return at_s
    return answer.change_points[-1].time_s if answer.change_points else otherwise_s


def _compared(this: Judgement, from_s: float, to_s: float) -> Pace:
    belt, ground = this.inputs.belt, this.inputs.ground
    return compare(
        belt.between(from_s, to_s), ground.between(from_s, to_s), this.inputs.limits
    ).pace
