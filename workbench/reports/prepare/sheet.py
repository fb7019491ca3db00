"""The sheet of a preparation: all that was measured, judged, due and done, to be signed."""

from __future__ import annotations

from workbench.base.cautions import Caution
from workbench.base.machine import Machine
from workbench.jobs.prepare.answer import PrepareAnswer
from workbench.reports.document import (
    Answer,
    Block,
    CautionBlock,
    Document,
    Facts,
    Footnote,
    Heading,
    Paragraph,
    Table,
    paper_for,
    under,
)
from workbench.reports.drawing import sketch_block
from workbench.reports.made import NOT_KEPT, Made, head_blocks, said_blocks
from workbench.words.language import N_, _
from workbench.words.pictures.prepare import shanks_sketch
from workbench.words.prepare import (
    check_rows,
    figure_rows,
    headline_words,
    part_words,
    service_rows,
    source_rows,
)
from workbench.words.words import Words

RULE = N_(
    "Pass: inside the limits by more than the expanded uncertainty U (k = 2, about 95 % "
    "coverage); conditional: nearer to a limit than U; after ILAC-G8:09/2019. Whose each limit is "
    "stands beside it; how far off common practice a value may be is chosen. The machine's "
    "manual has the last word."
)


def prepare_document(
    answer: PrepareAnswer,
    machine: Machine | None,
    words: Words,
    made: Made = NOT_KEPT,
) -> Document:
    """The sheet of an answer of `evenpace prepare`."""
    blocks: list[Block] = [
        Answer(headline_words(answer, words), str(answer.verdict)),
        Facts(_facts(answer), columns=2),
        *head_blocks(made, machine, words, _("Done by")),
    ]
    if answer.to_do:
        blocks.append(Heading(_("What to do")))
        blocks.append(CautionBlock(words.say(Caution.AT_THE_MACHINE), _("Caution")))
        blocks += map(Paragraph, words.say_all(answer.to_do))
    if answer.checks:
        header = (_("Check"), _("Value"), _("Limits and whose they are"), _("Verdict"))
        blocks.append(Table(header, check_rows(answer, words), caption=_("Checks"), align="llll"))
    if answer.figures:
        rows = figure_rows(answer, words)
        blocks.append(Table((_("Computed"), _("Value")), rows, align="ll"))
    blocks += _shanks(answer, machine, words) + _sources(answer, words) + _services(answer, words)
    blocks += under(_("Remarks"), words.say_all(answer.warnings))
    if answer.unmeasured:
        left = ", ".join(words.say(topic) for topic in answer.unmeasured)
        blocks.append(Paragraph(_("Not measured: {topics}.").format(topics=left)))
    return Document(
        title=_("Preparation"),
        subtitle=answer.machine or answer.source,
        number=made.number,
        blocks=[*blocks, *said_blocks(made), Footnote(_(RULE))],
        simulated=answer.simulated,
        paper=paper_for(words.units),
        data=made.data(answer, machine, words),
    )


def _facts(answer: PrepareAnswer) -> list[tuple[str, str]]:
    rows = [
        (_("Machine"), answer.machine),
        (_("Done on"), answer.today),
        (_("Table"), answer.source),
    ]
    return [(name, text) for name, text in rows if text]


def _shanks(answer: PrepareAnswer, machine: Machine | None, words: Words) -> list[Block]:
    caption = _("Rows and the shanks' inner edges from the conveyor's centre line, to scale.")
    return sketch_block(shanks_sketch(machine, words, answer.checks), caption)


def _sources(answer: PrepareAnswer, words: Words) -> list[Block]:
    if not answer.sources:
        return []
    header = (_("Source"), _("True ÷ shown"), _("Runs"), _("Used"))
    rows = source_rows(answer.sources, words)
    return [Table(header, rows, caption=_("Ground speed over the taped course"), align="llll")]


def _services(answer: PrepareAnswer, words: Words) -> list[Block]:
    header = (_("Part"), _("Stands"), _("Last"), _("Due"), _("How to tell"))
    rows = service_rows(answer.services, words)
    blocks: list[Block] = [Table(header, rows, caption=_("Wear and grease"), align="lllll")]
    if any(one.usual for one in answer.services):
        blocks.append(
            Footnote(_("A list to start from, in our words; the manual's takes its place."))
        )
    if answer.done:
        done = [(part_words(one.part, words), one.on, one.by) for one in answer.done]
        blocks.append(Table((_("Looked after"), _("On"), _("By")), done, align="lll"))
    return blocks
