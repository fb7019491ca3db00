"""The document of a stored result."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from workbench.base.errors import WrongInput
from workbench.jobs.gap.answer import GapAnswer
from workbench.jobs.keep import answer_of, options_of
from workbench.jobs.passes.answer import PassAnswer
from workbench.records.entries import StoredResult
from workbench.reports.document import Document
from workbench.words.words import Words

REPORTED = ("pass", "calibrate", "gap", "prepare")
"""Kinds of result that have a report."""


def document_of(stored: StoredResult, words: Words, **typed: Any) -> Document:
    """The document of a stored result, in a person's words.

    `typed` takes the place of what was typed when the answer was made: `by`, `remarks`,
    `environment`, `references`. Raises WrongInput for a kind that has no report.
    """
    machine = stored.machine()
    if stored.kind == "gap":
        from workbench.reports.gap.report import gap_document

        return gap_document(answer_of(stored, GapAnswer), machine, words, (stored.number,))
    if stored.kind == "calibrate":
        from workbench.jobs.calibrate.answer import CalibrateAnswer
        from workbench.reports.calibrate.certificate import Made, certificate

        made = Made(stored.number, stored.created_utc, stored.program_version)
        options = replace(options_of(stored), **typed)
        return certificate(answer_of(stored, CalibrateAnswer), machine, options, made, words)
    if stored.kind == "pass":
        from workbench.reports.passes.report import pass_document

        passed = answer_of(stored, PassAnswer)
        return pass_document(passed, machine, words, stored.number)
    if stored.kind == "prepare":
        from workbench.jobs.prepare.answer import PrepareAnswer
        from workbench.reports.prepare.sheet import prepare_document

        found, options = answer_of(stored, PrepareAnswer), replace(options_of(stored), **typed)
        return prepare_document(found, machine, options, words, stored.number)
    raise WrongInput(
        "Result {number} is one of 'evenpace {kind}', for which there is no report.",
        number=stored.number,
        kind=stored.kind,
    )
