"""The document of a stored result."""

from __future__ import annotations

from workbench.base.errors import WrongInput
from workbench.jobs.gap.answer import GapAnswer
from workbench.jobs.keep import answer_of, options_of
from workbench.jobs.passes.answer import PassAnswer
from workbench.records.entries import StoredResult
from workbench.reports.document import Document
from workbench.reports.made import made_of
from workbench.words.words import Words

REPORTED = ("pass", "calibrate", "gap", "prepare")
"""Kinds of result that have a report."""


def document_of(stored: StoredResult, words: Words) -> Document:
    """The document of a stored result, in a person's words. Raises WrongInput for a kind that
    has no report."""
    machine, made = stored.machine(), made_of(stored)
    if stored.kind == "gap":
        from workbench.reports.gap.report import gap_document

        return gap_document(answer_of(stored, GapAnswer), machine, words, made)
    if stored.kind == "calibrate":
        from workbench.jobs.calibrate.answer import CalibrateAnswer
        from workbench.reports.calibrate.certificate import certificate

        answer = answer_of(stored, CalibrateAnswer)
        return certificate(answer, machine, options_of(stored), made, words)
    if stored.kind == "pass":
        from workbench.reports.passes.report import pass_document

        return pass_document(answer_of(stored, PassAnswer), machine, words, made)
    if stored.kind == "prepare":
        from workbench.jobs.prepare.answer import PrepareAnswer
        from workbench.reports.prepare.sheet import prepare_document

        return prepare_document(answer_of(stored, PrepareAnswer), machine, words, made)
    raise WrongInput(
        "Result {number} is one of 'evenpace {kind}', for which there is no report.",
        number=stored.number,
        kind=stored.kind,
    )
