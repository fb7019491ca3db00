"""Every stored pass judged again with today's program, in parallel, and the season they make."""

from __future__ import annotations

import math
import os
import signal
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from enum import StrEnum, auto
from typing import Any

from drivers.contract import InputError
from workbench.base.errors import BenchError, Message, WrongInput
from workbench.base.statements import Statement, statement
from workbench.base.steps import tell
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.keep import judge, judged_before
from workbench.jobs.season.answer import QuantitySeason, SeasonOptions
from workbench.jobs.season.compute import compute as season
from workbench.jobs.source import stored_source
from workbench.match.hypotheses import Cause
from workbench.records.store import open_store

Task = tuple[int, str | None]
"""A recording's number and the store's address."""


class AgainSays(StrEnum):
    """What went wrong with one of the passes."""

    NOT_JUDGED_AGAIN = auto()


@dataclass(frozen=True, slots=True)
class AgainOptions:
    """Whose passes, '' for every machine's, and who does the work: that many processes, or
    the workers of a dask scheduler."""

    store: str | None
    machine: str = ""
    workers: int | None = None
    scheduler: str | None = None


@dataclass(frozen=True, slots=True)
class PassAgain:
    """One pass judged again, its likeliest cause with it; or the error that kept it from that."""

    recording: int
    result: int | None = None
    verdict: Verdict | None = None
    ratio: float = math.nan
    u_ratio: float = math.nan
    cause: Cause | None = None
    cause_probability: float = math.nan
    error: Statement | None = None


@dataclass(frozen=True, slots=True)
class AgainAnswer:
    """The passes, the oldest first, and the machine's season by quantity, see `SeasonAnswer`."""

    machine: str
    passes: tuple[PassAgain, ...]
    season: dict[str, QuantitySeason] = field(default_factory=dict)
    warnings: tuple[Statement, ...] = ()


def compute(options: AgainOptions) -> AgainAnswer:
    """Judge, keep and chart. Raises WrongInput where there is no pass, StoreError."""
    numbers = _stored_passes(options.store, options.machine)
    if not numbers and options.machine:
        raise WrongInput(
            "The store holds no pass of a machine called '{machine}': judge a recording with "
            "'evenpace pass NUMBER' first.",
            machine=options.machine,
        )
    if not numbers:
        raise WrongInput(
            "The store holds no pass: judge a recording with 'evenpace pass NUMBER' first."
        )
    tasks: list[Task] = [(number, options.store) for number in numbers]
    with _mapper(options.workers, options.scheduler) as run:
        passes = []
        for one in run(_judge_again, tasks):
            passes.append(one)
            tell(len(passes) / len(tasks))
    found = season(SeasonOptions(options.store, options.machine)) if options.machine else None
    return AgainAnswer(
        options.machine,
        tuple(passes),
        found.quantities if found else {},
        tuple(one.error for one in passes if one.error is not None),
    )


def _stored_passes(address: str | None, machine: str) -> list[int]:
    """Numbers of the recordings in sight with a stored pass, the oldest first."""
    with open_store(address, make=False) as store:
        known = {one.number for one in store.recordings()}
        found = {
            card.recording
            for card in store.cards()
            if card.kind == "pass" and not card.deleted_utc and machine in ("", card.machine_name)
        }
    return sorted(number for number in found if number in known)


def _judge_again(task: Task) -> PassAgain:
    """One pass as it was judged last, kept as a new result; nothing is raised.

    Runs in a process of its own or on a cluster's worker.
    """
    number, address = task
    try:
        options, before = judged_before("pass", number, address)
        answer, kept = judge("pass", stored_source(number, None, address), options, before)
    except (BenchError, InputError) as error:
        why = Message(error.template, **error.values).statement
        said = statement(AgainSays.NOT_JUDGED_AGAIN, recording=number, error=why)
        return PassAgain(number, error=said)
    first = answer.causes[0] if answer.causes else None
    return PassAgain(
        recording=number,
        result=kept.number,
        verdict=answer.verdict,
        ratio=answer.ratio,
        u_ratio=answer.u_ratio,
        cause=first.cause if first else None,
        cause_probability=first.probability if first else math.nan,
    )


Mapper = Callable[[Callable[[Task], PassAgain], list[Task]], Iterable[PassAgain]]


def _deaf(start: Callable[[], Iterator[PassAgain]]) -> Iterator[PassAgain]:
    """Start processes that hear no Ctrl-C until they can end by it without a word."""
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        return start()
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def _mapper(count: int | None, scheduler: str | None) -> Iterator[Mapper]:
    """What maps a function over tasks: processes of this machine, or a cluster's workers."""
    if scheduler is None:
        from concurrent.futures import ProcessPoolExecutor
        from multiprocessing import get_context

        # A fresh process each: a forked one would share the parent's database connections.
        processes = count or os.cpu_count() or 1
        ends_at_once = (signal.SIGINT, signal.SIG_DFL)
        pool = ProcessPoolExecutor(
            processes, get_context("spawn"), initializer=signal.signal, initargs=ends_at_once
        )
        try:
            yield lambda work, tasks: _deaf(lambda: pool.map(work, tasks))
        finally:
            pool.shutdown(cancel_futures=True)
        return
    try:
        from distributed import Client
    except ImportError:
        raise WrongInput(
            "--scheduler needs the extra 'cluster': pip install 'evenpace[cluster]'."
        ) from None
    try:
        connect: Any = Client
        client = connect(scheduler, timeout="10s")
    except (OSError, ValueError) as error:
        raise WrongInput(
            "--scheduler {scheduler}: no dask scheduler answers ({error}).",
            scheduler=scheduler,
            error=str(error),
        ) from None
    with client:
        yield lambda work, tasks: client.gather(client.map(work, tasks, pure=False))
