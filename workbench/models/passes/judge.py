"""A pass judged from its recording, fresh or old, with what earlier passes say beside it.

Slow: call these away from the screen. All raise BenchError.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from drivers.contract import Recording
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
from workbench.jobs.channels import pick_belt
from workbench.models.passes.history import earlier_passes
from workbench.records.store import open_store


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """An answer of `evenpace pass` on a stored recording; `earlier` are sentences."""

    recording: int
    answer: dict[str, Any]
    machine: Machine | None
    earlier: Sequence[str]


def judge_with_history(
    number: int | None,
    belt: str | None,
    ground: str | None,
    store: str | None,
    machine: Machine | None = None,
) -> Judged:
    """The recording judged and the answer stored; with what earlier passes say."""
    if number is None:
        raise WrongInput("The pass was not recorded, so it cannot be judged.")
    answer, used = _judge(number, belt, ground, store, machine)
    return Judged(number, answer, used, earlier_passes(store, number, answer))


def judge_recording(
    number: int, belt: str | None, ground: str | None, store: str | None
) -> dict[str, Any]:
    """The answer alone, as the command gives it; None as a name leaves the choice to it."""
    return _judge(number, belt, ground, store, None)[0]


def judge_again(number: int, store: str | None, machine: Machine | None) -> Judged:
    """An old recording judged with the sources it was judged by last, the best otherwise."""
    with open_store(store) as opened:
        before = [one.options for one in opened.results(number) if one.kind == "pass"]
    last = before[0] if before else {}
    return judge_with_history(number, last.get("belt"), last.get("ground"), store, machine)


def _judge(
    number: int, belt: str | None, ground: str | None, store: str | None, machine: Machine | None
) -> tuple[dict[str, Any], Machine | None]:
    """`machine` is for a recording that was made without one."""
    from workbench.cli.passes import compute
    from workbench.jobs.source import finish, stored_source

    source = stored_source(number, None, store)
    if source.machine is None:
        source = replace(source, machine=machine)
    if source.machine is None and _needs_machine(source.recording, belt):
        raise WrongInput(
            f"Recording {number} was made without a machine, and its pulses need one to become a "
            "speed. Choose it on the Machine page, then judge the recording again."
        )
    options = {"belt": belt, "ground": ground, "oil_c": None, "moved": None, "course": None}
    answer = compute(source.recording, source.machine, options)
    return finish("pass", answer, source, options), source.machine


def _needs_machine(recording: Recording, belt: str | None) -> bool:
    """Whether the belt is told by pulses, which are no speed without a machine."""
    track = pick_belt(recording, belt)
    return track is not None and track.is_pulses
