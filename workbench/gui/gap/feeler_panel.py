"""Feeler readings typed one after the other: the pickup, the place, the gap, what was read."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from PySide6.QtCore import QEvent, QObject, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QKeySequence, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QComboBox,
    QGridLayout,
    QLabel,
    QLineEdit,
    QListView,
    QListWidget,
    QSizePolicy,
    QWidget,
)

from workbench.base.errors import WrongInput
from workbench.base.units import UnitSystem
from workbench.gui.parts.basics import Elided, VerdictPill, button, label, say
from workbench.gui.parts.layout import column_of, line_of, row
from workbench.gui.parts.sketch import SketchView
from workbench.gui.theme import GRID_PX, TITLE_PX, TOUCH_PX, Theme, font, grown
from workbench.jobs.gap.answer import gap_says
from workbench.models.bench import Bench
from workbench.models.gap.job import ROUNDS, GapJob, Step
from workbench.models.gap.pickups import PickupState
from workbench.models.gap.words import limits_words
from workbench.words.gap import details
from workbench.words.language import N_, _
from workbench.words.pictures.gap import verdict_sketch
from workbench.words.pictures.sketch import EMPTY
from workbench.words.words import Words

STEPS = {
    Step.READ: N_("Take reading"),
    Step.NEXT_PICKUP: N_("Go to next pickup"),
    Step.KEEP: N_("Keep result"),
    Step.REPORT: N_("See report"),
}
CHIP_PX, SCROLL_PX = 94, 20
ROOMY_PX = 700
"""Height of the window from which more than two rows of readings are shown."""


class _Chips(QListWidget):
    """The readings side by side; Delete takes one out."""

    removed = Signal(int)

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        if event.key() in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace) and self.currentRow() >= 0:
            self.removed.emit(self.currentRow())
        else:
            super().keyPressEvent(event)


LINE_FROM_PX = 740
"""Height of the window from which the number line finds room: the panel's own grows with it."""


class GapFeelerPanel(QWidget):
    """The left half of the feeler check; emits `step` for what is not a reading."""

    step = Signal(object)

    def __init__(self, bench: Bench, job: GapJob, theme: Theme) -> None:
        super().__init__()
        self._bench, self._job = bench, job
        self._proposed = ""
        self._shown: tuple[int, int, UnitSystem] | None = None
        self.name, self.place, self.gap = QLineEdit(), QLineEdit(), QLineEdit()
        self.counted, self.round = QComboBox(), QComboBox()
        self._gap_name = label("", wrap=False)
        self.name_error, self.place_error = label("", "error"), label("", "error")
        self.gap_error = label("", "error")
        self.whose = Elided("soft")
        self.use_machine = button("Use machine in use", job.list.use_machine_in_use)
        # The words give way, the button does not.
        self.whose.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self.use_machine.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self._machine_line = row(self.whose, self.use_machine, stretch=False)
        self.take = button("Take reading", self.go, is_next=True)
        self.adjusted = button("Adjusted", job.list.adjusted)
        self.adjusted.setAccessibleName(_("Adjusted: check again"))
        self.adjusted.setToolTip(_("The pickup was adjusted: what is read now is as left"))
        self.undo = button("Undo", job.undo)
        self.undo.setAccessibleName(_("Undo the last change"))
        self.remove = button("Remove", self._remove)
        self.chips = _Chips()
        self.pill, self.sentence = VerdictPill(theme), label("", "text")
        self.advice = label("", "soft")
        self.line = SketchView(theme, _("The gap between touching and the most allowed"))
        self._dress_fields()
        self._lay_out()
        self._connect()

    def go(self) -> None:
        """The one next step: Enter in the gap's field, and the filled button."""
        if self.gap.text().strip() or self._job.step is Step.READ:
            self.read()
        else:
            self.step.emit(self._job.step)

    def read(self) -> None:
        """Take what is typed; what is wrong is said at its field and stays typed."""
        self._clear_errors()
        angle_deg = self._typed(self._job.angle_of, self.place, self.place_error)
        gap_m = self._typed(self._job.gap_of, self.gap, self.gap_error)
        if angle_deg is None or gap_m is None:
            return
        self.gap.setText("")  # not clear(): Ctrl+Z is to take the reading back, not the text
        self.place.setText("")
        self._job.list.read(angle_deg, gap_m)
        self.gap.setFocus()

    def rename(self) -> None:
        """Take the name typed."""
        if self.name.text().strip() == self._job.list.current.name:
            self._complain(self.name_error, "")
            return
        try:
            self._job.list.rename(self.name.text())
        except WrongInput as error:
            self._complain(self.name_error, self._words.say(error))

    def show_job(self) -> None:
        """The pickup at hand as it stands, and what comes next."""
        job, units = self._job, self._bench.settings.units
        entry = job.list.current
        state = job.list.state(entry)
        if self._shown != (job.list.revision, job.list.at, units):
            # What is wrong with what is typed stands until something else is done.
            self._shown = (job.list.revision, job.list.at, units)
            self._clear_errors()
        if self.name.text() != entry.name:
            self.name.setText(entry.name)
            self.name.setCursorPosition(0)
            self.name.setToolTip(entry.name)
        self._propose(job.place_text(job.next_angle_deg()))
        self._show_machine(state)
        say(self._gap_name, _("Gap, {unit}").format(unit=units.gap))
        example = "1/16" if units.gap == "in" else "1.6"
        self.gap.setPlaceholderText(example)
        told = _("Gap in {unit}, as {example}")
        self.gap.setAccessibleName(told.format(unit=units.gap, example=example))
        step = job.step
        say(self.take, _("{step} (Enter)").format(step=_(STEPS[step])))
        self.undo.setEnabled(bool(job.list.undoes))
        undo = _("Take back {what} (Ctrl+Z)").format(what=job.list.undoes)
        self.undo.setToolTip(undo if job.list.undoes else "")
        self._show_chips(entry.angle_deg, entry.gap_m)
        self.adjusted.setVisible(job.round_is_read and not entry.found)
        self._show_answer(state)

    def _show_machine(self, state: PickupState) -> None:
        """Whose limits hold where another machine is in use, and how to take its limits."""
        other = self._job.other_in_use
        say(self.whose, f"{limits_words(state)}.")
        self._machine_line.setVisible(other is not None or not state.held.name)
        self.use_machine.setVisible(other is not None)
        if other is not None:
            tip = _("Judge this pickup by the limits of {machine}").format(machine=other.name)
            self.use_machine.setToolTip(tip)

    def _show_answer(self, state: PickupState) -> None:
        """The verdict once a round is read, or once it cannot get better; else what is next."""
        job, words, gap = self._job, self._words, state.gap
        before = ""
        if state.as_found is not None:
            told = _("As found, {verdict}: {said}")
            said = words.say(gap_says(state.as_found))
            before = told.format(verdict=words.say(state.as_found.verdict), said=said)
        judged = gap is not None and (job.round_is_read or gap.verdict.is_fail)
        self.pill.setVisible(judged)
        roomy = judged and self.window().height() >= grown(LINE_FROM_PX)
        limits = self._job.list.current.held.limits
        drawn = verdict_sketch(gap, limits, words) if roomy and gap is not None else EMPTY
        self.line.show_sketch(drawn)
        if gap is None:
            told = _("Read the gap at {places} places round the wheel: type a number, press Enter.")
            if before:
                told = _("Adjusted: read the gap once more at {places} places round the wheel.")
            say(self.sentence, told.format(places=job.places))
            turn = _("Turn the wheel by hand from the mark to each place.")
            say(self.advice, before or turn)
        elif judged:
            self.pill.show_verdict(gap.verdict)
            left = _("As left: {said}").format(said=words.say(gap_says(gap)))
            say(self.sentence, left if before else words.say(gap_says(gap)))
            say(self.advice, " ".join(filter(None, (before, *details(gap, words)))))
        else:
            told = _("{read} of {places} places read; next {place}.")
            place = self._place_words(job.next_angle_deg())
            say(self.sentence, told.format(read=job.places_read, places=job.places, place=place))
            say(self.advice, _("So far: {said}").format(said=words.say(gap_says(gap))))

    def _place_words(self, angle_deg: float) -> str:
        """'90°' or 'tooth 9'."""
        place = self._job.place_text(angle_deg)
        return _("tooth {number}").format(number=place) if self._job.counts_teeth else f"{place}°"

    @property
    def _words(self) -> Words:
        return Words(self._bench.settings.units)

    def _dress_fields(self) -> None:
        for field, words in (
            (self.name, _("Name of the pickup: machine / side")),
            (self.place, _("Place on the wheel")),
            (self.gap, _("Gap")),
        ):
            field.setMinimumHeight(TOUCH_PX)
            field.setAccessibleName(words)
            field.setMaxLength(120)
        for large in (self.place, self.gap):
            large.setFont(font(TITLE_PX))
            large.setStyleSheet(f"font-size: {TITLE_PX}px;")
        for choice, words in (
            (self.counted, _("Places counted in")),
            (self.round, _("Readings a round")),
        ):
            choice.setMinimumHeight(TOUCH_PX)
            choice.setAccessibleName(words)
        self.counted.addItems([_("Angle, °"), _("Tooth")])
        self.counted.setMinimumContentsLength(7)
        for many in ROUNDS:
            self.round.addItem(_("{count} a round").format(count=many), many)
        self.chips.setFlow(QListView.Flow.LeftToRight)
        self.chips.setWrapping(True)
        self.chips.setResizeMode(QListView.ResizeMode.Adjust)
        self.chips.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.chips.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.chips.setAccessibleName(_("Readings of this pickup"))
        self.chips.setUniformItemSizes(True)
        self.remove.setAccessibleName(_("Remove the reading that is marked"))
        self.remove.setToolTip(self.remove.accessibleName())

    def _lay_out(self) -> None:
        column = column_of(on=self, gap=GRID_PX // 2)
        entry = QGridLayout()
        entry.setHorizontalSpacing(GRID_PX)
        entry.setVerticalSpacing(GRID_PX // 2)
        entry.addWidget(self.name, 0, 0, 1, 3)
        entry.addWidget(self.round, 0, 3)
        entry.addWidget(self.name_error, 1, 0, 1, 4)
        for at, one in enumerate((self.counted, self.place, self._gap_name, self.gap)):
            entry.addWidget(one, 2, at)
        entry.addWidget(self.place_error, 3, 0, 1, 4)
        entry.addWidget(self.gap_error, 4, 0, 1, 4)
        entry.addWidget(self._machine_line, 5, 0, 1, 4)
        entry.setColumnStretch(1, 3)
        entry.setColumnStretch(3, 5)
        column.addLayout(entry)
        column.addLayout(line_of((self.take, 1), self.undo, self.remove, gap=GRID_PX))
        column.addWidget(self.chips)
        column.addWidget(self.pill)
        column.addWidget(self.line)
        column.addWidget(self.sentence)
        column.addWidget(self.advice)
        column.addWidget(self.adjusted, 0, Qt.AlignmentFlag.AlignLeft)
        column.addStretch(1)
        self._gap_name.setBuddy(self.gap)
        for error in (self.name_error, self.place_error, self.gap_error):
            error.hide()

    def _connect(self) -> None:
        self.name.editingFinished.connect(self.rename)
        self.place.returnPressed.connect(self.gap.setFocus)
        self.place.textEdited.connect(lambda _text: self._complain(self.place_error, ""))
        self.gap.returnPressed.connect(self.go)
        self.gap.textEdited.connect(lambda _text: self._complain(self.gap_error, ""))
        for field in (self.gap, self.place):
            field.installEventFilter(self)
        self.counted.activated.connect(self._use_counting)
        self.round.activated.connect(
            lambda _at: self._job.use_places(round_of=self.round.currentData())
        )
        self.chips.removed.connect(self._job.list.drop_reading)
        self.chips.currentRowChanged.connect(self._offer_removal)
        self._offer_removal(-1)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802
        """Ctrl+Z takes a reading back where there is no text to take back; on the number pad
        + goes to the next pickup, and - takes the last reading back.
        """
        if not isinstance(event, QKeyEvent) or event.type() != QEvent.Type.KeyPress:
            return False
        empty_pad = bool(event.modifiers() & Qt.KeyboardModifier.KeypadModifier)
        empty_pad = empty_pad and watched is self.gap and not self.gap.text()
        text_back = isinstance(watched, QLineEdit) and watched.isUndoAvailable()
        undo = event.matches(QKeySequence.StandardKey.Undo) and not text_back
        if undo or (empty_pad and event.key() == Qt.Key.Key_Minus):
            self._job.undo()
            return True
        if empty_pad and event.key() == Qt.Key.Key_Plus:
            self._job.list.go_to(self._job.list.at + 1)
            return True
        return False

    def _use_counting(self, at: int) -> None:
        if at == 1 and not self._job.teeth:
            self.counted.setCurrentIndex(0)
            told = _("Teeth can be counted once a machine is in use; see Machine.")
            self._complain(self.place_error, told)
            return
        self.place.clear()
        self._job.use_places(by_tooth=at == 1)

    def _typed(
        self, parse: Callable[[str], float], field: QLineEdit, said_at: QLabel
    ) -> float | None:
        """The number typed; None where it is wrong, which is then said at its field."""
        try:
            return parse(field.text())
        except WrongInput as error:
            self._complain(said_at, self._words.say(error))
            field.setFocus()
            return None

    def _complain(self, where: QLabel, said: str) -> None:
        where.setText(said)
        where.setVisible(bool(said))

    def _clear_errors(self) -> None:
        for error in (self.name_error, self.place_error, self.gap_error):
            self._complain(error, "")

    def _propose(self, place: str) -> None:
        """The next place, unless the person has typed another."""
        if self.place.text() in ("", self._proposed):
            self.place.setText(place)
        self._proposed = place

    def _offer_removal(self, marked: int) -> None:
        """In the place of undo, while a reading is marked."""
        self.remove.setVisible(marked >= 0)
        self.undo.setVisible(marked < 0)

    def _remove(self) -> None:
        if self.chips.currentRow() >= 0:
            self._job.list.drop_reading(self.chips.currentRow())

    def _show_chips(self, angle_deg: Sequence[float], gap_m: Sequence[float]) -> None:
        words = self._words
        self.chips.clear()
        for angle, gap in zip(angle_deg, gap_m, strict=True):
            self.chips.addItem(f"{self._place_words(angle)}\n{words.number('gap', gap)}")
        self._offer_removal(-1)
        self.chips.setVisible(bool(gap_m))
        self._fit_chips()
        self.chips.scrollToBottom()

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        self._fit_chips()

    def _fit_chips(self) -> None:
        """As high as the readings need, where there is room for them."""
        width = self.width() - SCROLL_PX
        in_a_row, high = max(1, width // grown(CHIP_PX)), grown(TOUCH_PX)
        self.chips.setGridSize(QSize(width // in_a_row, high))
        rows = math.ceil(self.chips.count() / in_a_row)
        roomy = self.window().height() > ROOMY_PX
        self.chips.setFixedHeight(min(rows, 4 if roomy else 2) * high + 4)
