"""A judged pass: its verdict, its pictures, and beside them what to do, why, and the rest."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QButtonGroup,
    QComboBox,
    QHBoxLayout,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from drivers.contract import Floats
from workbench.base.statements import Statement
from workbench.base.units import UnitSystem
from workbench.gui.answers.track import PassTrack
from workbench.gui.answers.typed import PassTyped
from workbench.gui.parts.basics import VerdictPill, button, label, say
from workbench.gui.parts.layout import column_of, emptied, line_of, row, scrolled
from workbench.gui.parts.sketch import SketchView
from workbench.gui.plot.plot import Plot
from workbench.gui.plot.save import tell_simulated
from workbench.gui.theme import GRID_PX, TOUCH_PX, Theme, grown
from workbench.jobs.passes.answer import PassAnswer, PassOptions
from workbench.models.passes.judge import choices
from workbench.words.language import _
from workbench.words.passes import course_rows, pass_words
from workbench.words.pictures.causes import budget_sketch, causes_sketch, verdict_sketch
from workbench.words.pictures.parts import part_to_touch
from workbench.words.pictures.passes import picture_of
from workbench.words.words import Words

WIDE_PX, TALL_PX = 1000, 700
"""From this size on the headline is large, and both pictures are shown at once."""

PLOT_PX = 26 * GRID_PX
NO_ROWS: Floats = np.empty((0, 4))

JudgeAgain = Callable[[PassOptions], object]
"""Called with the belt's and the ground's source, and what was typed beside the pass."""


class PassAnswerView(QWidget):
    """Shows a pass's answer, fresh or from the store.

    With `judge_again` the sources can be chosen anew, where there are several.
    """

    def __init__(self, theme: Theme, judge_again: JudgeAgain | None = None) -> None:
        super().__init__()
        self._answer: PassAnswer | None = None
        self._earlier: Sequence[Statement] = ()
        self._rows = NO_ROWS
        self._judge_again = judge_again
        self._pill = VerdictPill(theme)
        self.headline, self.sentence = label("", "text"), label("", "soft")
        self.plot = Plot(theme, _("Drift plot: speeds, ratio belt ÷ ground, separation"))
        self.plot.setMinimumHeight(PLOT_PX)
        self.track = PassTrack(theme)
        self._nothing = label(
            _(
                "Nothing to draw: there is no stretch of time in which belt and ground can be laid "
                "side by side."
            ),
            "soft",
        )
        self._nothing.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self._over_time, self._on_field = (
            QPushButton(_("Over time")),
            QPushButton(_("On the field")),
        )
        self._belt, self._ground = QComboBox(), QComboBox()
        self.typed = PassTyped()
        self._offer = button("", self._take_offer)
        self._chooser = self._make_chooser()
        self._switch = self._make_switch()
        self._line = SketchView(theme, _("The ratio between its limits"))
        self._part = SketchView(theme, _("The part to touch"))
        self._causes = SketchView(theme, _("Why, the most likely first"))
        self._budget = SketchView(theme, _("What makes the ratio unsure"))
        self._do_first, self._then = label("", "title"), label("")
        self._why = label(_("Most likely why"), "soft")
        self._more = button("", self._show_more)
        self._more.setCheckable(True)
        self._caution, self._words = label("", "soft"), column_of(gap=-1)
        self._rest = QWidget()
        self._lay_out()

    @property
    def in_short(self) -> str:
        """What came of it and what to do, to be read at a glance."""
        return f"{self.headline.text()}. {self._do_first.text()}"

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        role = "title" if event.size().width() >= WIDE_PX else "text"
        for large in (self.headline, self._do_first):
            if large.property("role") != role:
                large.setProperty("role", role)
                large.style().polish(large)
        QTimer.singleShot(0, self, self._show_pictures)

    def show_answer(
        self,
        answer: PassAnswer,
        units: UnitSystem,
        earlier: Sequence[Statement] = (),
        live: Floats = NO_ROWS,
    ) -> None:
        """Fill in the pictures and the words; `earlier` is said of earlier passes.

        `live` (n, 4) is what the screen saw, for an answer without speeds on one line of time.
        """
        before = self._answer
        if answer is not before:
            self._over_time.setChecked(True)
            self._more.setChecked(False)
        self._answer, self._earlier = answer, earlier
        self._pill.show_verdict(answer.verdict)
        self._show_words(answer, Words(units), earlier)
        self._offer_sources(answer)
        self.typed.show_units(units)
        tell_simulated(self.plot, answer.simulated)
        rows = answer.series.rows()
        self._rows = rows if rows.size else live
        picture = picture_of(answer, self._rows)
        self.plot.show_picture(picture, units, anew=answer is not before)
        self.track.show_answer(answer, units)
        self._show_pictures()

    def _show_words(self, answer: PassAnswer, words: Words, earlier: Sequence[Statement]) -> None:
        said = pass_words(answer, words)
        say(self.headline, said.headline)
        say(self.sentence, said.detail)
        emptied(self._words)
        say(self._caution, "\n".join(f"⚠ {caution}" for caution in said.cautions))
        self._caution.setVisible(bool(said.cautions))
        say(self._do_first, said.do_first)
        self._part.show_sketch(part_to_touch(answer))
        self._line.show_sketch(verdict_sketch(answer, words))
        self._causes.show_sketch(causes_sketch(answer, words))
        self._why.setVisible(self._causes.isVisibleTo(self))
        self._budget.show_sketch(budget_sketch(answer, words))
        then = [one for one in said.to_do if one != said.do_first]
        say(self._then, "\n".join(then))
        self._then.setVisible(bool(then))
        self._add_chapter(_("Why, in words"), said.why)
        self._add_chapter(_("Earlier passes of this machine"), words.say_all(earlier))
        self._add_chapter(_("Along the way"), said.parts)
        course = [": ".join(one) for one in course_rows(answer, words)]
        self._add_chapter(_("Taped course"), course)
        self._add_chapter(_("Which signals"), said.sources)
        self._add_chapter(_("Notes"), said.notes)

    def _add_chapter(self, title: str, sentences: Sequence[str]) -> None:
        if not sentences:
            return
        head = label(title, "soft")
        head.setContentsMargins(0, GRID_PX, 0, 0)
        self._words.addWidget(head)
        for sentence in sentences:
            self._words.addWidget(label(sentence))

    def _show_more(self) -> None:
        """Open or close what stands behind the pictures."""
        open_now = self._more.isChecked()
        self._rest.setVisible(open_now)
        say(self._more, _("Show less") if open_now else _("Show all in words"))

    def use_units(self, units: UnitSystem) -> None:
        """Show the same answer in other units."""
        if self._answer is not None:
            self.show_answer(self._answer, units, self._earlier, self._rows)

    def _lay_out(self) -> None:
        said = column_of(self.headline, self.sentence, gap=0)
        head, body, pictures = QHBoxLayout(), QHBoxLayout(), QVBoxLayout()
        head.setSpacing(2 * GRID_PX)
        head.addWidget(self._pill, 0, Qt.AlignmentFlag.AlignTop)
        head.addLayout(said, 1)
        head.addWidget(self._line, 1, Qt.AlignmentFlag.AlignTop)
        pictures.setSpacing(GRID_PX)
        pictures.addWidget(self._switch)
        pictures.addWidget(self.plot, 3)
        pictures.addWidget(self._nothing, 3)
        pictures.addWidget(self.track, 2)
        body.setSpacing(2 * GRID_PX)
        body.addLayout(pictures, 3)
        body.addWidget(self._reading(), 2)
        column_of(head, (body, 1), on=self)

    def _reading(self) -> QScrollArea:
        """The words, to be scrolled where they are many."""
        beside = QWidget()
        column = column_of(on=beside, gap=2 * GRID_PX, edges=(0, 0, GRID_PX, 0))
        self._words.setSpacing(GRID_PX // 2)
        self._offer.hide()
        self._part.setFixedWidth(grown(10 * GRID_PX))
        column.addWidget(self._caution)
        top = Qt.AlignmentFlag.AlignTop
        to_do = column_of(self._do_first, self._then, 1)
        column.addLayout(line_of((self._part, top), (to_do, 1)))
        column.addWidget(row(self._offer))
        column.addWidget(self._why)
        column.addWidget(self._causes)
        column.addWidget(row(self._more))
        column_of(
            self._words,
            label(_("What makes the ratio unsure"), "soft"),
            self._budget,
            on=self._rest,
        )
        column.addWidget(self._rest)
        column.addWidget(self._chooser)
        self._show_more()
        column.addStretch(1)
        return scrolled(beside, _("What to do, why, earlier passes, and the parts of the pass"))

    def _make_switch(self) -> QWidget:
        """Which of the two pictures is shown where there is no room for both."""
        group = QButtonGroup(self)
        for picture in (self._over_time, self._on_field):
            picture.setCheckable(True)
            picture.setProperty("role", "tab")
            picture.setMinimumHeight(TOUCH_PX)
            picture.setAccessibleName(_("Picture: {name}").format(name=picture.text()))
            group.addButton(picture)
        self._over_time.setChecked(True)
        group.buttonToggled.connect(lambda *_: self._show_pictures())
        return row(self._over_time, self._on_field)

    def _make_chooser(self) -> QWidget:
        self._belt.setAccessibleName(_("Belt source of this recording"))
        self._ground.setAccessibleName(_("Ground source of this recording"))
        for choice in (self._belt, self._ground):
            choice.setMinimumHeight(TOUCH_PX)
            choice.setMinimumContentsLength(4)
            choice.setSizeAdjustPolicy(
                QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
            )
        made = QWidget()
        column_of(
            row(self._belt, self._ground, stretch=False),
            self.typed,
            row(button(_("Judge again with these"), self._ask_again)),
            on=made,
        )
        made.hide()
        return made

    def _show_pictures(self) -> None:
        both = self.height() >= TALL_PX
        has_way = not self.track.is_empty
        self._switch.setVisible(has_way and not both)
        on_field = has_way and self._on_field.isChecked()
        self.plot.setVisible((both or not on_field) and self._rows.size > 0)
        self._nothing.setVisible(not on_field and not self._rows.size)
        self.track.setVisible(has_way and (both or on_field))

    def _offer_sources(self, answer: PassAnswer) -> None:
        if self._judge_again is None:
            return
        offered = choices(answer)
        for choice, names, used in zip(
            (self._belt, self._ground), offered, (answer.belt, answer.ground), strict=True
        ):
            choice.clear()
            choice.addItems(list(names))
            choice.setCurrentText(used or "")
        self._chooser.setVisible(all(offered))
        several = max(map(len, offered)) > 1
        for choice in (self._belt, self._ground):
            choice.setVisible(several)
        other = answer.advice.judge_again_with if answer.advice else ""
        say(self._offer, _("Judge again with {source}").format(source=other))
        self._offer.setVisible(bool(other))

    def _take_offer(self) -> None:
        """The ground speed that would settle it, with the same belt."""
        answer = self._answer
        if answer is not None and answer.advice is not None:
            self._ask_with(answer.belt or "", answer.advice.judge_again_with)

    def _ask_again(self) -> None:
        self._ask_with(self._belt.currentText(), self._ground.currentText())

    def _ask_with(self, belt: str, ground: str) -> None:
        typed = self.typed.read()
        if self._judge_again is not None and typed is not None:
            self._judge_again(replace(typed, belt=belt or None, ground=ground or None))
