"""The sources of ground speed beside the one that was used: factors, wheel slip, taped course."""

from __future__ import annotations

from dataclasses import replace

from workbench.base.errors import WrongInput
from workbench.jobs.passes.answer import CourseAnswer, GroundSource, PassAnswer, TrueOverShown
from workbench.jobs.passes.inputs import reference_of
from workbench.match.course import taped_course
from workbench.match.evidence import PassInputs
from workbench.match.sources import WHEEL, stands_apart, wheel_slip


def with_sources(answer: PassAnswer, inputs: PassInputs) -> PassAnswer:
    """The answer with each source's quality and factor, which one stands apart, wheel slip."""
    reference, factors = reference_of(inputs), list(inputs.factors.values())
    answer = replace(
        answer, ground_sources=tuple(_source(inputs, name, reference) for name in inputs.qualities)
    )
    if reference is None:
        return answer
    answer = replace(answer, stands_apart=stands_apart(reference, factors))
    kind = inputs.qualities[reference].kind
    wheels = [one for one in factors if inputs.qualities[one.source].kind is WHEEL]
    if not wheels or not kind.of_the_ground:
        return answer
    slip, u_slip = wheel_slip(wheels[0], kind.u_scale_rel)
    return replace(answer, wheel_slip=slip, u_wheel_slip=u_slip, wheel_slip_against=reference)


def _source(inputs: PassInputs, name: str, reference: str | None) -> GroundSource:
    quality, factor = inputs.qualities[name], inputs.factors.get(name)
    source = GroundSource(
        source=name,
        kind=quality.kind.name,
        share_with_value=quality.share,
        u_mean_rel=quality.u_mean_rel,
        reference=name == reference,
    )
    if factor is None:
        return source
    return replace(
        source,
        factor=factor.factor,
        u_factor=factor.u_factor,
        lag_s=factor.lag_s,
        u_lag_s=factor.u_lag_s,
    )


def with_course(
    answer: PassAnswer, inputs: PassInputs, course: tuple[float, float, float] | None
) -> PassAnswer:
    """The answer with what a taped course says of every ground source. Raises WrongInput."""
    if course is None:
        return answer
    length_m, from_s, to_s = course
    try:
        found = taped_course(length_m, from_s, to_s, inputs.others)
    except ValueError:
        raise WrongInput(
            "--course: a taped course needs a length and an end after its beginning."
        ) from None
    return replace(
        answer,
        course=CourseAnswer(
            length_m=length_m,
            from_s=from_s,
            to_s=to_s,
            true_speed_mps=found.speed_mps,
            u_true_speed_mps=found.u_speed_mps,
            true_over_shown={name: TrueOverShown(*one) for name, one in found.factors.items()},
        ),
    )
