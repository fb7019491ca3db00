"""A pass judged from its recording, fresh or old, with what earlier passes say beside it.

Slow: call these away from the screen. All raise BenchError.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from drivers.kinds import ChannelKind, pulse_kind
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
from workbench.base.statements import Statement
from workbench.jobs.at_hand import with_prepared
from workbench.jobs.channels import pick_belt
from workbench.jobs.job import job
from workbench.jobs.keep import judged_before, keep
from workbench.jobs.particulars import NOTHING_SAID, Particulars
from workbench.jobs.passes.answer import PassAnswer, PassOptions
from workbench.jobs.passes.history import earlier_passes
from workbench.jobs.source import stored_source


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """A stored recording judged as a pass; `number` is the answer's in the store `store`."""

    recording: int
    started_utc: str
    number: int | None
    answer: PassAnswer
    machine: Machine | None
    earlier: Sequence[Statement]
    store: str | None


def judge_with_history(
    recording: int | None,
    options: PassOptions,
    store: str | None,
    machine: Machine | None = None,
    progress: Callable[[], object] = lambda: None,
    said: Particulars = NOTHING_SAID,
) -> Judged:
    """The recording judged and the answer stored with what is `said` of it; with what earlier
    passes say.

    Nothing is stored where `progress` is cancelled.
    `machine` is for a recording that was made without one.
    """
    if recording is None:
        raise WrongInput("The pass was not recorded, so it cannot be judged.")
    source = stored_source(recording, None, store)
    if source.machine is None:
        source = replace(source, machine=machine)
    belt = pick_belt(source.recording, options.belt)
    if source.machine is None and belt is not None and belt.is_pulses:
        raise WrongInput(
            "Recording {number} was made without a machine, and its pulses need one to become a "
            "speed. Choose it on the Machine page, then judge the recording again.",
            number=recording,
        )
    progress()
    simulated = source.recording.simulated
    options = with_prepared(options, source.machine, store, simulated=simulated)
    answer = job("pass").compute(source.recording, source.machine, options)
    progress()
    kept = keep("pass", answer, options, source, said)
    earlier = earlier_passes(store, recording, answer)
    return Judged(
        recording, source.started_utc, kept.number, answer, source.machine, earlier, store
    )


def judge_again(
    recording: int,
    store: str | None,
    machine: Machine | None,
    progress: Callable[[], object] = lambda: None,
    said: Particulars = NOTHING_SAID,
) -> Judged:
    """An old recording judged as it was judged last, with the best sources otherwise; what was
    said of it then is said again, else `said`."""
    options, before = judged_before("pass", recording, store, said)
    return judge_with_history(recording, options, store, machine, progress, before)


def choices(answer: PassAnswer) -> tuple[Sequence[str], Sequence[str]]:
    """Names that can be chosen as belt and as ground when the recording is judged again."""
    speeds = [one.source for one in answer.ground_sources]
    # Of the channels an answer has only the names; marks and the ground's pulses are no belt's.
    belts = [
        name
        for name in answer.sources
        if name not in speeds and pulse_kind(name) is ChannelKind.BELT
    ]
    names = [name for name in answer.sources if name in speeds or name in belts]
    grounds = [name for name in names if name in speeds] or names
    return belts or names, grounds
