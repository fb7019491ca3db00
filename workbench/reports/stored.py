"""The document of a stored result."""

from __future__ import annotations

from typing import Any

from workbench.base.errors import WrongInput
from workbench.base.units import US
from workbench.jobs.keep import answer_of
from workbench.jobs.passes.answer import PassAnswer
from workbench.records.entries import StoredResult
from workbench.reports.document import Document
from workbench.words.words import Words

REPORTED = ("pass", "calibrate", "gap")
"""Kinds of result that have a report."""


def document_of(stored: StoredResult, words: Words, **typed: Any) -> Document:
    """The document of a stored result, in a person's words.

    `typed` takes the place of what was typed when the answer was made: `by`, `remarks`,
    `environment`, `references`. Raises WrongInput for a kind that has no report.
    """
    machine = stored.machine()
    answer = {"result": stored.number, **stored.answer}
    if stored.kind == "calibrate":
        from workbench.reports.calibrate.certificate import Made, certificate

        made = Made(stored.number, stored.created_utc, stored.program_version)
        units = "us" if words.units is US else "metric"
        return certificate(answer, machine, {**stored.options, **typed, "units": units}, made)
    if stored.kind == "gap":
        from workbench.reports.gap.report import gap_document

        return gap_document(answer, machine, words.units)
    if stored.kind == "pass":
        from workbench.reports.passes.report import pass_document

        passed = answer_of(stored, PassAnswer)
        return pass_document(passed, machine, words, stored.number)
    raise WrongInput(
        "Result {number} is one of 'evenpace {kind}', for which there is no report.",
        number=stored.number,
        kind=stored.kind,
    )
