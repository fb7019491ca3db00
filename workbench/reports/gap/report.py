"""The gap report: what was found at one pickup, or the sheet of many."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from workbench.base.cautions import Caution
from workbench.base.machine import Machine, Pickup
from workbench.base.numbers import NO_VALUE, plain
from workbench.base.statements import Statement, statement
from workbench.calibration.gap.answer import FeelerAnswer, PickupAnswer, WheelAnswer
from workbench.calibration.gap.repeats import RepeatChart
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.gap.answer import GapAnswer, PickupSays
from workbench.jobs.gap.sheet import Sheet, SheetLine, Standing, sheet_of
from workbench.reports.document import (
    Answer,
    Block,
    CautionBlock,
    Document,
    Facts,
    Figure,
    Footnote,
    Heading,
    Paragraph,
    Table,
    paper_for,
    under,
)
from workbench.reports.drawing import sketch_block
from workbench.reports.gap.wheel_picture import (
    batch_picture,
    control_picture,
    gap_picture,
    teeth_picture,
)
from workbench.reports.made import NOT_KEPT, Made, head_blocks, said_blocks
from workbench.words.gap import (
    fault_names,
    found_rows,
    headline_words,
    limit_rows,
    measured_rows,
    sheet_words,
    states_words,
    what_to_do,
)
from workbench.words.language import N_, _
from workbench.words.pictures.gap import verdict_sketch
from workbench.words.words import Words

MOST_IN_PICTURE = 40
"""Pickups above which the sheet has the table only."""
RULE = N_(
    "Pass: inside the limits by more than the expanded uncertainty U (about 95 % coverage); "
    "conditional: nearer to a limit than U; after ILAC-G8:09/2019."
)


def gap_document(
    answer: GapAnswer, machine: Machine | None, words: Words, made: Made = NOT_KEPT
) -> Document:
    """The report of an answer of `evenpace gap`."""
    sheet = sheet_of(answer)
    head = head_blocks(made, machine, words, _("Measured by"))
    if len(answer.pickups) > 1:
        title, blocks = _("Pickup gaps"), _sheet_blocks(sheet, head, words)
    else:
        title, blocks = _("Pickup gap"), _one_blocks(answer, sheet.lines[0], head, words)
    if answer.control is not None:
        blocks += _control_blocks(answer.control, words)
    left = answer.as_left.warnings if answer.as_left is not None else ()
    blocks += under(_("Remarks"), words.say_all((*answer.warnings, *left)))
    subtitle = machine.name if machine else answer.source
    data = made.data(answer, machine, words)
    return _document(title, subtitle, made, blocks, sheet, words, data)


def sheet_document(sheet: Sheet, words: Words, made: Made) -> Document:
    """The sheet of a shop's list, kept under the numbers of `made`."""
    told = [_of(line, said) for line in sheet.lines for said in line.warnings]
    head = head_blocks(made, None, words, _("Measured by"))
    blocks = [*_sheet_blocks(sheet, head, words), *under(_("Remarks"), words.say_all(told))]
    data = {"results": list(made.numbers)} | replace(made, numbers=()).data(sheet, None, words)
    return _document(_("Pickup gaps"), sheet.source, made, blocks, sheet, words, data)


def _of(line: SheetLine, said: Statement) -> Statement:
    return statement(PickupSays.OF_PICKUP, pickup=line.pickup, said=said)


def _document(
    title: str,
    subtitle: str,
    made: Made,
    blocks: Sequence[Block],
    sheet: Sheet,
    words: Words,
    data: Mapping[str, Any],
) -> Document:
    return Document(
        title=title,
        subtitle=subtitle,
        number=made.number,
        blocks=[*blocks, *said_blocks(made), Footnote(_(RULE))],
        simulated=sheet.simulated,
        paper=paper_for(words.units),
        data=data,
    )


def _one_blocks(
    answer: GapAnswer, line: SheetLine, head: Sequence[Block], words: Words
) -> list[Block]:
    (one,) = line.found
    told = _("{pickup}: {said}")
    if line.as_found is not None:
        told = _("{pickup}, as left: {said}")
    said = told.format(pickup=one.pickup, said=headline_words(one, words))
    blocks: list[Block] = [Answer(said, str(one.verdict)), *_as_found(line, words)]
    caption = _("Closest and widest point between touching and the most allowed.")
    blocks += sketch_block(verdict_sketch(one, answer.limits, words), caption)
    blocks += head
    if isinstance(one, FeelerAnswer):
        blocks.append(_gap_figure(one, answer.limits, words))
    elif any(map(math.isfinite, one.spacing_rel)):
        blocks.append(_teeth_figure(one, answer.limits, words))
    blocks += [Paragraph(words.say(fault.sentence)) for fault in one.faults]
    blocks += _figures(answer, line, words)
    if answer.counted_from is not None:
        blocks.append(Footnote(words.say(answer.counted_from)))
    if one.advice is not None:
        blocks.append(Heading(_("What to do")))
    blocks += _cautions(line.cautions, words)
    if one.advice is not None:
        blocks.append(Paragraph(words.say(one.advice)))
    running = Caution.WITH_THE_BELT_RUNNING
    if isinstance(one, WheelAnswer) and one.drop_out and running not in line.cautions:
        again = _("If the drop-out run is made again")
        blocks.append(CautionBlock(words.say(running), again))
    return blocks


def _figures(answer: GapAnswer, line: SheetLine, words: Words) -> list[Block]:
    """What was found and read at one pickup; where it was adjusted, before that too."""
    (one,) = line.found
    facts = [
        (_("Pickup"), one.pickup),
        (_("Source"), answer.latest.source),
        *measured_rows(one, words),
        *limit_rows(answer.limits_of, answer.limits, words),
        *found_rows(one, words),
    ]
    if isinstance(one, FeelerAnswer):
        facts.append((_("Blade step"), words.number("gap", answer.blade_step_m)))
    blocks: list[Block] = [Heading(_("Figures")), Facts(facts, columns=2)]
    if isinstance(line.as_found, FeelerAnswer):
        before = [*measured_rows(line.as_found, words), *found_rows(line.as_found, words)]
        facts = [(_("Source"), answer.source), *before]
        blocks += [Heading(_("As found, before it was adjusted")), Facts(facts, columns=2)]
        blocks += [_places_table(line.as_found, _("Readings as found"), words)]
    if isinstance(one, FeelerAnswer):
        caption = _("Readings as left") if line.as_found is not None else _("Readings")
        blocks.append(_places_table(one, caption, words))
    return blocks


def _as_found(line: SheetLine, words: Words) -> list[Block]:
    """What was found before it was adjusted, below what was left."""
    if line.as_found is None:
        return []
    said = _("As found: {said}").format(said=headline_words(line.as_found, words))
    again = _("Adjusted and checked again.")
    return [Answer(f"{said} {again}", str(line.as_found.verdict))]


def _cautions(cautions: Sequence[Caution], words: Words) -> list[Block]:
    return [CautionBlock(words.say(caution), _("Caution")) for caution in cautions]


def _gap_figure(one: FeelerAnswer, limits: Pickup, words: Words) -> Figure:
    caption = _(
        "Left: the wheel from the pickup's side, angles clockwise from the mark in the turning "
        "direction. Right: the same unrolled, with its uncertainty. Green dashes: best gap; "
        "shaded: wider than allowed."
    )
    alt = N_(
        "Gap round the wheel: mean {gap_m:gap}, widest {widest_m:gap} at {at_deg}, most allowed "
        "{most_m:gap}."
    )
    values = {
        "gap_m": one.gap_m,
        "widest_m": one.widest_m,
        "at_deg": one.widest_angle_deg,
        "most_m": limits.gap_max_m,
    }
    return Figure(gap_picture(one, limits, words), caption, words.fill(alt, values))


def _teeth_figure(one: WheelAnswer, limits: Pickup, words: Words) -> Figure:
    caption = _(
        "Left: the teeth where the pulses put them, in grey outline where they should be. Right: "
        "how late each comes (shaded: not worth naming)."
    )
    if one.gap_by_tooth_m:
        caption = f"{caption} {_('Below: the gap its voltage tells.')}"
    elif one.voltage_rel:
        caption = f"{caption} {_('Below: its voltage.')}"
    alt = _("{teeth} teeth; {faults}.").format(
        teeth=one.teeth, faults=fault_names(one, words) or _("none stands out")
    )
    return Figure(teeth_picture(one, limits, words), caption, alt)


def _places_table(one: FeelerAnswer, caption: str, words: Words) -> Table:
    gap = words.quantity("gap")
    rows = [
        (
            f"{place.angle_deg:.0f}°",
            plain(gap.per_si * place.gap_m, gap.decimals + 1),
            str(place.readings),
        )
        for place in one.places
    ]
    mean = _("Mean gap, {unit}").format(unit=gap.unit)
    return Table((_("Angle from the mark"), mean, _("Readings")), rows, caption)


def _sheet_blocks(sheet: Sheet, head: Sequence[Block], words: Words) -> list[Block]:
    state = sheet.state
    verdict = str(state) if isinstance(state, Verdict) else words.say(state)
    blocks: list[Block] = [
        Answer(sheet_words(sheet, words), verdict),
        *head,
        *_batch_figures(sheet, words),
    ]
    unit = words.units.gap
    header = (
        _("Pickup"),
        *((_("As found"), _("As left")) if sheet.adjusted else (_("Verdict"),)),
        _("Mean, {unit}").format(unit=unit),
        _("Run-out, {unit}").format(unit=unit),
        _("Widest, {unit}").format(unit=unit),
    )
    rows = [_sheet_row(line, sheet, words) for line in sheet.lines]
    align = "l" * (len(header) - 3) + "rrr"
    blocks.append(Table(header, rows, caption=_("Each pickup"), align=align))
    jobs = [(line.pickup, what) for line in sheet.lines if (what := what_to_do(line, words))]
    if jobs:
        blocks.append(Heading(_("What to do")))
    blocks += _cautions(sheet.cautions, words)
    if jobs:
        blocks.append(Table((_("Pickup"), _("What")), jobs, align="ll"))
    return blocks


def _sheet_row(line: SheetLine, sheet: Sheet, words: Words) -> tuple[str, ...]:
    first, *others = states_words(line, sheet, words)
    if line.simulated and line.state is not Standing.NOT_YET:
        first = _("{state}, simulated").format(state=first)
    return (line.pickup, first, *others, *_lengths(line.gap, words))


def _lengths(gap: PickupAnswer | None, words: Words) -> list[str]:
    """Mean, run-out and widest point with their uncertainty; the unit stands in the header."""
    if gap is None:
        return [NO_VALUE] * 3
    values = (
        (gap.gap_m, gap.U_gap_m),
        (gap.runout_m, gap.U_runout_m),
        (gap.widest_m, gap.U_widest_m),
    )
    unit = f" {words.units.gap}"
    return [words.number("gap", value, U).removesuffix(unit) for value, U in values]


def _batch_figures(sheet: Sheet, words: Words) -> list[Block]:
    """A picture for each machine's limits, its pickups against them."""
    drawn: dict[tuple[str, float, float], list[tuple[str, PickupAnswer]]] = {}
    for line in sheet.lines:
        if line.gap is not None and math.isfinite(line.gap.widest_m):
            whose = line.limits_of or _("common practice")
            key = (whose, line.limits.gap_best_m, line.limits.gap_max_m)
            drawn.setdefault(key, []).append((line.pickup, line.gap))
    if sum(map(len, drawn.values())) > MOST_IN_PICTURE:
        return []
    caption = N_(
        "Limits of {whose}: best {best_m:gap} (green dashes), at most {most_m:gap} (shaded: wider)."
    )
    alt = N_("Gaps of {count} pickups against the limits.")
    return [
        Figure(
            batch_picture(pickups, best_m, most_m, words),
            words.fill(caption, {"whose": whose, "best_m": best_m, "most_m": most_m}),
            words.fill(alt, {"count": len(pickups)}),
        )
        for (whose, best_m, most_m), pickups in drawn.items()
    ]


def _control_blocks(control: RepeatChart, words: Words) -> list[Block]:
    sentence = words.say(control.sentence)
    blocks: list[Block] = [Heading(_("The shop's own repeat measurements"))]
    if control.ewma_m is not None:
        caption = _(
            "Grey: each measurement of the same gap; line: weighted mean (EWMA, weight 0.3); "
            "shaded: its limits."
        )
        blocks.append(Figure(control_picture(control, words), caption, sentence))
    return [*blocks, Paragraph(sentence)]
