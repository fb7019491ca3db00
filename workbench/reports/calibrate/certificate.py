"""The calibration certificate of a readout, from a stored answer.

Its content follows ISO/IEC 17025:2017, 7.8.2 and 7.8.4 (from memory) as far as a shop can
state it: what was calibrated and how, under which conditions, results with uncertainty
and how they are traceable, as found and as left, the decision rule, who, when, and that
it speaks of this one item only. It claims no accreditation.
"""

from __future__ import annotations

import math
from functools import partial

from workbench.base.cautions import Caution
from workbench.base.machine import Machine
from workbench.base.statements import Statement
from workbench.calibration.readout.calibrate import ResultSays
from workbench.jobs.calibrate.answer import CalibrateAnswer, CalibrateOptions
from workbench.reports.calibrate.digital import digital_certificate
from workbench.reports.calibrate.tables import (
    ONLY_THIS,
    RULE,
    budget_table,
    change_over_table,
    error_rows,
    run_table,
    setting_rows,
    setting_text,
    travel_rows,
)
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
    Signature,
    paper_for,
    under,
)
from workbench.reports.drawing import picture_svg, sketch_block
from workbench.reports.made import Made, said_rows
from workbench.words.language import _
from workbench.words.pictures.calibrate import budget_sketch, error_picture, verdict_sketch
from workbench.words.words import Words

NOT_AT_WORK = (ResultSays.NO_RUN_AT_WORK, ResultSays.NO_CHANGE_OVER_AT_WORK)


def certificate(
    answer: CalibrateAnswer,
    machine: Machine | None,
    options: CalibrateOptions,
    made: Made,
    words: Words,
) -> Document:
    """The document of an answer of `evenpace calibrate`, fresh or as it was stored."""
    digital = partial(digital_certificate, answer, machine, options, made, words)
    return Document(
        _("Calibration of a conveyor speed readout"),
        answer.machine,
        made.number or _("Result not stored"),
        [
            *_headlines(answer, words),
            *(Paragraph(words.say(said)) for said in _not_at_work(answer)),
            *sketch_block(
                verdict_sketch(answer, words), _("The error at work within what is allowed.")
            ),
            Heading(_("What was calibrated")),
            Facts(_item(answer, machine, made, words), 2),
            Signature(((_("Calibrated by"), made.said.by), (_("Date and signature"), ""))),
            Heading(_("Result")),
            _errors(answer, words),
            *_setting(answer, words),
            _picture(answer, words),
            Heading(_("Readings")),
            *_readings(answer, words),
            *_drive_line(answer, words),
            Heading(_("Uncertainty")),
            *sketch_block(budget_sketch(answer, words), _("By share of the variance.")),
            budget_table(answer.budget, words),
            *_rule(answer, words),
            Heading(_("References")),
            _references(answer, made, words),
            *_notes(answer, words),
            *under(_("Remarks"), [text for text in (options.remarks, made.said.remarks) if text]),
            Paragraph(_(ONLY_THIS)),
            Footnote(_origin(answer, made)),
        ],
        simulated=answer.simulated,
        paper=paper_for(words.units),
        data=made.data(answer, machine, words),
        digital=digital,
    )


def _headlines(answer: CalibrateAnswer, words: Words) -> list[Block]:
    """The answer; where there is an 'as left', that first: it is the state it leaves in."""
    sentence = words.say(answer.headline)
    if answer.as_left is None:
        return [Answer(sentence, answer.verdict)]
    left = words.say(answer.as_left.headline)
    return [
        Answer(_("As left: {sentence}").format(sentence=left), answer.as_left.verdict),
        Answer(_("As found: {sentence}").format(sentence=sentence), answer.verdict),
    ]


def _not_at_work(answer: CalibrateAnswer) -> list[Statement]:
    """That a run at the working speed is missing: nobody may find that on the last page."""
    return [said for said in answer.latest.warnings if said.what in NOT_AT_WORK]


def _item(
    answer: CalibrateAnswer,
    machine: Machine | None,
    made: Made,
    words: Words,
) -> list[tuple[str, str]]:
    shows = _("shows {unit}, step {step:g}").format(unit=answer.unit, step=answer.step)
    rows = [
        (_("Machine"), answer.machine),
        (_("Readout"), shows),
        (_("Setting found"), setting_text(answer.setting_now, answer)),
    ]
    if machine is not None:
        rows += _machine_rows(machine, words)
    said = said_rows(made, machine, words)
    known = {name for name, _text in said}
    unsaid = [name for name in (_("By"), _("Conditions")) if name not in known]
    return [
        *rows,
        (_("Method"), words.say(answer.method or "")),
        (_("Made from"), answer.source),
        *said,
        *((name, _("not stated")) for name in unsaid),
    ]


def _machine_rows(machine: Machine, words: Words) -> list[tuple[str, str]]:
    drive, belt = machine.drive, machine.belt
    kinds = {
        "sprocket": _("{teeth} teeth, sprocket drive"),
        "roll": _("{teeth} teeth, roll drive"),
    }
    rows = [(_("Target wheel"), kinds[drive.kind].format(teeth=drive.target_teeth))]
    if math.isfinite(belt.lap_length_m):
        lap = words.number("length", belt.lap_length_m, 2 * belt.u_lap_length_m)
        rows.insert(0, (_("Lap of the belt"), f"{lap} (k = 2)"))
    return rows


def _errors(answer: CalibrateAnswer, words: Words) -> Facts:
    rows = error_rows(answer, words, _("Error at {speed}, as found"))
    if answer.as_left is not None:
        rows += error_rows(answer.as_left, words, _("Error at {speed}, as left"))
    return Facts(rows, 2)


def _picture(answer: CalibrateAnswer, words: Words) -> Figure:
    caption = _(
        "Error of the readout against belt speed. Bars: expanded uncertainty of one run, k = 2. "
        "Line and ribbon: the fit over the working speeds with its expanded uncertainty."
    )
    if answer.change_overs is not None:
        caption = _(
            "Error of the readout against belt speed. Triangles: change-over points, up and down, "
            "lag taken out. Line and ribbon: the fit over the working speeds with its expanded "
            "uncertainty."
        )
    alt = ": ".join(error_rows(answer, words, _("Error at {speed}, as found"))[0])
    picture = picture_svg(error_picture(answer, answer.readout_error_limit), words.units, 70)
    return Figure(picture, caption, alt)


def _readings(answer: CalibrateAnswer, words: Words) -> list[Block]:
    blocks: list[Block] = []
    if answer.runs:
        blocks.append(run_table(answer, words, _("As found")))
    if answer.change_overs is not None:
        blocks.append(change_over_table(answer, answer.change_overs, words))
    if answer.as_left is not None:
        blocks.append(run_table(answer.as_left, words, _("As left, with the new setting")))
    return blocks


def _setting(answer: CalibrateAnswer, words: Words) -> list[Block]:
    rows = setting_rows(answer, words)
    blocks: list[Block] = [Heading(_("Setting of the readout"))]
    if answer.to_be_proved:
        prove = _(
            "After the new setting is entered, the belt has to run again to prove it. {caution}"
        )
        caution = words.say(Caution.WITH_THE_BELT_RUNNING)
        blocks.append(CautionBlock(prove.format(caution=caution)))
    return [*blocks, Facts(rows, 2)] if rows else []


def _drive_line(answer: CalibrateAnswer, words: Words) -> list[Block]:
    rows = travel_rows(answer, words)
    return [Heading(_("Belt travel for a pulse")), Facts(rows, 2)] if rows else []


def _rule(answer: CalibrateAnswer, words: Words) -> list[Block]:
    note = answer.budget.note
    blocks: list[Block] = [] if note is None else [Paragraph(words.say(note))]
    return [*blocks, Paragraph(_(RULE).format(coverage=100 * answer.budget.coverage))]


def _references(answer: CalibrateAnswer, made: Made, words: Words) -> Facts:
    none = _("The tape, watch or tachometer used were not named.")
    sources = {words.say(line.group): words.say(line.source) for line in answer.budget.lines}
    stated = _("As stated by the shop")
    rows = [
        ("" if count else stated, text) for count, text in enumerate(made.said.references or [none])
    ]
    return Facts([*rows, *((name.capitalize(), text) for name, text in sources.items())])


def _notes(answer: CalibrateAnswer, words: Words) -> list[Block]:
    told = _not_at_work(answer)
    notes = words.say_all(said for said in answer.warnings if said not in told)
    if answer.as_left is not None:
        notes += [
            _("As left: {sentence}").format(sentence=note)
            for note in words.say_all(one for one in answer.as_left.warnings if one not in told)
        ]
    blocks: list[Block] = [Heading(_("Notes"))] if notes or answer.advice else []
    blocks += map(Paragraph, notes)
    if answer.advice is not None:
        caution = words.say(Caution.WITH_THE_BELT_RUNNING)
        blocks += [CautionBlock(caution), Paragraph(words.say(answer.advice))]
    return blocks


def _origin(answer: CalibrateAnswer, made: Made) -> str:
    parts = [
        _("Made by evenpace {version}").format(version=made.program_version),
        _("from {source}").format(source=answer.source),
    ]
    if answer.source_sha256:
        parts.append(_("SHA-256 of the data {sha256}").format(sha256=answer.source_sha256))
    return ", ".join(parts) + "."
