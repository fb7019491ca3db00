"""The pass report: did belt and ground keep pace, how far apart, when, why, and what to do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from workbench.base.cautions import Caution
from workbench.base.machine import Machine
from workbench.base.numbers import NO_VALUE
from workbench.base.statements import Statement
from workbench.base.units import UnitSystem
from workbench.jobs.passes.answer import GroundSource, PassAnswer
from workbench.reports.document import (
    BELT,
    GROUND,
    IN_BAND,
    INK,
    NO_DATA,
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
)
from workbench.reports.drawing import drawn_once, new_figure, picture_svg, sketch_block, to_svg
from workbench.reports.made import NOT_KEPT, Made, head_blocks, said_blocks
from workbench.words.language import N_, _
from workbench.words.passes import PassWords, pass_words
from workbench.words.pictures.causes import budget_sketch, causes_sketch, verdict_sketch
from workbench.words.pictures.passes import picture_of
from workbench.words.words import Words

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def pass_document(
    answer: PassAnswer,
    machine: Machine | None,
    words: Words,
    made: Made = NOT_KEPT,
    earlier: Sequence[Statement] = (),
) -> Document:
    """The report of a pass; `earlier` is said of earlier passes of the machine."""
    known = math.isfinite(answer.ratio)
    said = pass_words(answer, words)
    sentence = f"{said.headline}: {words.say(answer.reason)}." if known else said.sentence
    blocks: list[Block] = [Answer(sentence, str(answer.verdict))]
    blocks += sketch_block(verdict_sketch(answer, words), _("The ratio between its limits."))
    blocks += head_blocks(made, machine, words, _("Driven by"))
    blocks += _drift(answer, words) if known else []
    blocks += [CautionBlock(words.say(caution)) for caution in _cautions(answer)]
    blocks += _why(answer, said, words)
    if answer.advice and answer.advice.sentences:
        blocks += [Heading(_("What to do")), *map(Paragraph, said.to_do)]
    blocks += _details(answer, said, words) if known else []
    if earlier:
        blocks.append(Heading(_("Earlier passes of this machine")))
        blocks += map(Paragraph, words.say_all(earlier))
    blocks += [Paragraph(_("Note: {note}").format(note=note)) for note in said.notes]
    rule = _(
        "Ratio is always belt ÷ ground. Pass: inside the limits by more than the expanded "
        "uncertainty U (about 95 % coverage); conditional: nearer to a limit than U; after "
        "ILAC-G8:09/2019. Approach, headlands and stops are left out. Probabilities of causes "
        "hold among the causes named, each taken as equally likely beforehand."
    )
    blocks += [
        CautionBlock(words.say(Caution.BEFORE_A_PASS), _("Before the next pass")),
        *said_blocks(made),
        Footnote(rule),
    ]
    return Document(
        title=_("Test pass"),
        subtitle=machine.name if machine else answer.source,
        number=made.number,
        blocks=blocks,
        simulated=answer.simulated,
        paper=paper_for(words.units),
        data=made.data(answer, machine, words),
    )


def _cautions(answer: PassAnswer) -> list[Caution]:
    """Paper goes to the shop, where more than a lever is touched."""
    found = list(answer.cautions)
    if Caution.HANDS_OFF in found:
        found[found.index(Caution.HANDS_OFF)] = Caution.AT_THE_HYDRAULICS
    return found


def _drift(answer: PassAnswer, words: Words) -> list[Block]:
    if not answer.series.time_s.size:
        return []
    caption = _(
        "Belt and ground speed with what lies between them; the ratio belt ÷ ground with its "
        "band (green) and its mean with U (grey); belt distance minus ground distance. Grey "
        "stretches are left out; a dashed line marks a change."
    )
    alt = words.fill(
        N_(
            "Speeds over {duration_s:seconds}; ratio belt ÷ ground {ratio:.3f}; separation "
            "{apart_m:+length} at the end."
        ),
        {
            "duration_s": answer.duration_s,
            "ratio": answer.ratio,
            "apart_m": answer.separation_m,
        },
    )
    return [
        Figure(picture_svg(picture_of(answer, answer.series.rows()), words.units, 98), caption, alt)
    ]


def _details(answer: PassAnswer, said: PassWords, words: Words) -> list[Block]:
    blocks: list[Block] = [Heading(_("Figures")), Facts(said.figures, columns=2)]
    unsure = _("What makes the ratio unsure, by its share of the variance.")
    blocks += sketch_block(budget_sketch(answer, words), unsure)
    if len(answer.segments) > 1:
        blocks += [Heading(_("In equal segments")), _segments(answer, words)]
    if answer.track:
        way = words.fill(
            N_("The way, {way_m:length}, by the ratio belt ÷ ground."),
            {"way_m": answer.track.length_m},
        )
        blocks += [Heading(_("Where")), Figure(track_picture(answer, words.units), way, way)]
    if len(answer.ground_sources) > 1:
        blocks += [Heading(_("Ground speed sources")), _sources(answer, said, words)]
    return blocks


def _segments(answer: PassAnswer, words: Words) -> Table:
    rows = [
        (
            words.fill(
                N_("{from_s:.0f} to {to_s:.0f} s"), {"from_s": one.from_s, "to_s": one.to_s}
            ),
            words.number("ratio", one.ratio, 2 * one.u_ratio),
            words.number("speed", one.belt_speed_mps),
            words.number("speed", one.ground_speed_mps),
            words.number("length", one.separation_m, signed=True),
        )
        for one in answer.segments
    ]
    return Table(
        (_("Time"), _("Ratio belt ÷ ground ± U"), _("Belt"), _("Ground"), _("Apart")),
        rows,
        note=_("U of a segment counts its own scatter only; what all share is left out."),
    )


def _sources(answer: PassAnswer, said: PassWords, words: Words) -> Table:
    rows = []
    for one in answer.ground_sources:
        name = _("{source} (used)") if one.source == answer.ground else "{source}"
        rows.append(
            (
                name.format(source=one.source),
                words.say(one.kind),
                words.number("percent0", one.share_with_value),
                _factor(one, words),
                words.number("time", one.lag_s, 2 * one.u_lag_s)
                if math.isfinite(one.lag_s)
                else NO_VALUE,
            )
        )
    return Table(
        (_("Source"), _("Kind"), _("With a value"), _("÷ reference"), _("Behind")),
        rows,
        note=" ".join(said.sources),
        align="llrrr",
    )


def _factor(one: GroundSource, words: Words) -> str:
    if math.isfinite(one.factor):
        return words.number("ratio", one.factor, 2 * one.u_factor)
    return _("reference") if one.reference else NO_VALUE


def _why(answer: PassAnswer, said: PassWords, words: Words) -> list[Block]:
    if not said.causes:
        return []
    blocks: list[Block] = [Heading(_("Why, the most likely first"))]
    blocks += sketch_block(causes_sketch(answer, words), _("Each cause by how likely it is."))
    if said.unclear:
        blocks.append(Paragraph(said.unclear))
    rows = [(one.probability, one.title, one.evidence, one.check) for one in said.causes]
    header = (_("Probability"), _("Cause"), _("What speaks for it"), _("Check next"))
    blocks.append(Table(header, rows, align="rlll"))
    return [*blocks, Footnote(said.hidden)] if said.hidden else blocks


_ROUND = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000)


@drawn_once
def track_picture(answer: PassAnswer, units: UnitSystem) -> str:
    """The way, coloured and marked by ratio, with a scale and north, as SVG."""
    track = answer.track
    assert track is not None
    ratio = track.ratio
    east, north = track.east_m - track.east_m.min(), track.north_m - track.north_m.min()
    figure, axes = new_figure(height_mm=64)
    axes.plot(east, north, color=NO_DATA, linewidth=0.8, zorder=1)
    low, high = answer.ratio_low, answer.ratio_high
    for keep, colour, mark, word in (
        (ratio < low, BELT, "v", _("belt slow, below {low:g}").format(low=low)),
        (ratio > high, GROUND, "^", _("belt fast, above {high:g}").format(high=high)),
        ((ratio >= low) & (ratio <= high), IN_BAND, "o", _("in band")),
        (np.isnan(ratio), NO_DATA, ".", _("left out")),
    ):
        if keep.any():
            x, y = east[keep], north[keep]
            axes.scatter(x, y, s=9, color=colour, marker=mark, label=word, zorder=2)
    axes.set_aspect("equal", adjustable="datalim")
    axes.grid(visible=False)
    axes.set_xticks([])
    axes.set_yticks([])
    axes.spines["bottom"].set_visible(False)
    axes.legend(frameon=False, loc="center left", bbox_to_anchor=(1.01, 0.6))
    _scale_and_north(axes, max(float(np.ptp(east)), float(np.ptp(north)), 1.0), units)
    return to_svg(figure)


def _scale_and_north(axes: Axes, size_m: float, units: UnitSystem) -> None:
    bar = max(size for size in _ROUND if size <= max(size_m / units.length_m / 3, 1))
    bar_m = bar * units.length_m
    axes.annotate(
        "N",
        (1.06, 0.76),
        (1.06, 0.92),
        xycoords="axes fraction",
        ha="center",
        va="bottom",
        arrowprops={"arrowstyle": "<-", "color": INK},
        annotation_clip=False,
    )
    left, bottom = axes.get_xlim()[0], axes.get_ylim()[0]
    axes.plot([left, left + bar_m], [bottom, bottom], color=INK, linewidth=2, clip_on=False)
    axes.annotate(
        f"{bar} {units.length}",
        (left + bar_m / 2, bottom),
        xytext=(0, 4),
        textcoords="offset points",
        ha="center",
    )
