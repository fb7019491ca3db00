"""What was prepared of a machine, at hand where its readout is calibrated or a pass is judged."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, TypeVar

from workbench.base.errors import StoreError
from workbench.base.machine import Machine
from workbench.calibration.prepare.measures import CHECKS, Topic
from workbench.calibration.readout.run_table import marked_simulated
from workbench.jobs.calibrate.answer import CalibrateOptions
from workbench.jobs.job import job
from workbench.jobs.keep import Kept, judge, keep_table
from workbench.jobs.particulars import Particulars
from workbench.jobs.passes.answer import PassOptions
from workbench.jobs.prepare.answer import Prepared, PreparedFactor
from workbench.jobs.prepare.compute import slack_belt
from workbench.jobs.prepare.stored import Earlier, earlier
from workbench.jobs.source import Source

Options = TypeVar("Options")


def with_prepared(
    options: Options, machine: Machine | None, store: str | None, *, simulated: bool
) -> Options:
    """The options with what the newest sheets of the machine say; as they are without a machine,
    for a job that takes nothing of it, and where the store cannot be read: then the answer is
    given without it."""
    if machine is None or not isinstance(options, PassOptions | CalibrateOptions):
        return options
    try:
        sheets = list(earlier(store, machine.name, simulated=simulated))
    except StoreError:
        return options
    return replace(options, prepared=_together(sheets))


def judge_with_prepared(
    kind: str, source: Source, options: object, said: Particulars
) -> tuple[Any, Kept]:
    """A stored recording judged with what was prepared of its machine, and the answer kept.

    Raises WrongInput, StoreError.
    """
    simulated = source.recording.simulated
    options = with_prepared(options, source.machine, source.store, simulated=simulated)
    return judge(kind, source, options, said)


def judge_table(
    kind: str,
    text: str,
    machine: Machine | None,
    options: Any,
    store: str | None,
    said: Particulars,
) -> tuple[Any, Kept]:
    """The same of a table. Raises WrongInput; a store's trouble is handed back."""
    options = with_prepared(options, machine, store, simulated=marked_simulated(text))
    answer = job(kind).compute(text, machine, options)
    return answer, keep_table(
        kind,
        answer,
        options,
        text=text,
        machine=machine,
        address=store,
        said=said,
    )


def _together(sheets: list[Earlier]) -> Prepared:
    """What the newest sheet says, and of each source its newest factor."""
    factors: dict[str, PreparedFactor] = {}
    for sheet in sheets:
        for one in sheet.answer.sources:
            if one.proven:
                factor = PreparedFactor(one.source, one.factor, one.u_factor, sheet.number)
                factors.setdefault(one.source, factor)
    found = tuple(factors.values())
    if not sheets:
        return Prepared(0, "", (), tuple(Topic), False, found)
    newest, answer = sheets[0], sheets[0].answer
    failed = (CHECKS[one.check].topic for one in answer.checks if one.verdict.is_fail)
    return Prepared(
        newest.number,
        answer.today,
        tuple(dict.fromkeys(failed)),
        answer.unmeasured,
        slack_belt(answer.checks),
        found,
    )
