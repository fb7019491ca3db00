"""A pass's answer as a person reads it."""

from __future__ import annotations

import sys

from workbench.cli.output import print_table
from workbench.jobs.passes.answer import PassAnswer
from workbench.words.language import _
from workbench.words.passes import PassWords, Rows, pass_words
from workbench.words.words import Words


def print_pass(answer: PassAnswer, words: Words) -> None:
    """The answer as tables on stdout, what to heed before anything is done on stderr."""
    said = pass_words(answer, words)
    verdict = (_("Verdict"), f"{words.say(answer.verdict)}: {words.say(answer.reason)}")
    print_table(answer.source, [verdict, *said.figures])
    for sentence in said.sources:
        print(sentence)
    for caution in said.cautions:
        print(_("CAUTION. {caution}").format(caution=caution), file=sys.stderr)
    if said.causes:
        print_table("\n" + _("Why, the most likely first"), _causes(said))
    if answer.advice and answer.advice.sentences:
        print_table("\n" + _("What to do"), [[sentence] for sentence in said.to_do])
    if answer.simulated:
        print(_("Simulated data."), file=sys.stderr)


def _causes(said: PassWords) -> Rows:
    rows = [("", said.unclear)] if said.unclear else []
    for cause in said.causes:
        rows.append((cause.probability, f"{cause.title}."))
        if cause.evidence:
            rows.append(("", cause.evidence))
        rows.append(("", _("Next: {check}").format(check=cause.check)))
    return rows
