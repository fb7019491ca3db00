"""The fields of one topic: rows side by side, each with its place, its unit and its error."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent
from PySide6.QtWidgets import QComboBox, QGridLayout, QLabel, QLineEdit, QWidget

from workbench.calibration.prepare.measures import SOUND, SPECS, WORN
from workbench.gui.parts.basics import label, say
from workbench.gui.parts.layout import column_of, emptied
from workbench.gui.theme import GRID_PX, TOUCH_PX
from workbench.models.prepare.fields import FieldRow, Slot
from workbench.models.prepare.job import PrepareJob
from workbench.words.language import N_, _
from workbench.words.prepare import part_words
from workbench.words.words import Words

STATES = {"": N_("not looked at"), SOUND: N_("sound"), WORN: N_("worn")}
PLACES = {
    "left": N_("left"),
    "middle": N_("middle"),
    "right": N_("right"),
    "there": N_("there"),
    "back": N_("back"),
}
"""Words of which a place is made, for the person."""

Field = QLineEdit | QComboBox


class PrepareEntries(QWidget):
    """Emits `at` with the slot that has the focus, `through` after Enter in the last field."""

    at = Signal(object)
    through = Signal()

    def __init__(self, job: PrepareJob) -> None:
        super().__init__()
        self._job = job
        self._rows: tuple[FieldRow, ...] = ()
        self._fields: dict[Slot, Field] = {}
        self._errors: list[tuple[tuple[Slot, ...], QLabel]] = []
        self._heads: list[tuple[FieldRow, QLabel]] = []
        self._places: list[tuple[FieldRow, Slot, QLabel]] = []
        self._column = column_of(on=self, gap=GRID_PX // 2, edges=(0, 0, GRID_PX, 0))

    @property
    def fields(self) -> dict[Slot, Field]:
        """The fields that are shown, in their order."""
        return self._fields

    def show_job(self) -> None:
        """The fields of the topic at hand, made anew where they are others; what they hold."""
        if self._rows != self._job.rows:
            self._rows = self._job.rows
            self._make()
        for slot, field in self._fields.items():
            text = self._job.text(slot)
            if isinstance(field, QComboBox):
                field.setCurrentIndex(max(field.findData(text.strip().lower()), 0))
            elif field.text() != text:
                field.setText(text)
            wrong = slot in self._job.errors
            if bool(field.property("wrong")) != wrong:
                field.setProperty("wrong", wrong)
                field.style().unpolish(field)
                field.style().polish(field)
        for slots, error in self._errors:
            said = [self._job.errors[slot] for slot in slots if slot in self._job.errors]
            say(error, " ".join(said))
            error.setVisible(bool(said))
        for row, slot, place in self._places:
            say(place, self._place(row, slot))
        for row, head in self._heads:
            say(head, self._head(row))
            head.setVisible(bool(self._head(row)))

    def focus_first(self) -> None:
        """To the first field that is still empty, else to the first."""
        fields = list(self._fields.items())
        empty = (field for slot, field in fields if not self._job.text(slot))
        field = next(empty, fields[0][1] if fields else None)
        if field is not None:
            field.setFocus()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802
        if isinstance(event, QFocusEvent) and event.gotFocus():
            slot = next((slot for slot, field in self._fields.items() if field is watched), None)
            if slot is not None:
                self.at.emit(slot)
        if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.KeyPress:
            enter = (Qt.Key.Key_Return, Qt.Key.Key_Enter)
            if event.key() in enter and not event.modifiers():
                self._next(watched)
                return True
        return False

    def _next(self, watched: QObject) -> None:
        fields = list(self._fields.values())
        after = [place + 1 for place, field in enumerate(fields) if field is watched]
        if after and after[0] < len(fields):
            fields[after[0]].setFocus()
        else:
            self.through.emit()

    def _make(self) -> None:
        emptied(self._column)
        self._fields, self._errors, self._heads, self._places = {}, [], [], []
        for row in self._rows:
            self._column.addWidget(made := self._row(row))
            made.show()  # now, so that a field of it can take the focus
        self._column.addStretch(1)

    def _row(self, row: FieldRow) -> QWidget:
        holder = QWidget()
        grid = QGridLayout(holder)
        grid.setContentsMargins(0, 0, 0, GRID_PX)
        grid.setHorizontalSpacing(GRID_PX)
        grid.setVerticalSpacing(2)
        head, error = label("", wrap=True), label("", "error")
        grid.addWidget(head, 0, 0, 1, len(row.slots))
        several = len(row.slots) > 1 or bool(row.of)
        for at, slot in enumerate(row.slots):
            if several:
                place = label("", "soft", wrap=True)
                grid.addWidget(place, 1, at)
                self._places.append((row, slot, place))
            grid.addWidget(self._field(slot), 2, at)
            grid.setColumnStretch(at, 1)
        grid.addWidget(error, 3, 0, 1, len(row.slots))
        error.hide()
        self._errors.append((row.slots, error))
        self._heads.append((row, head))
        return holder

    def _field(self, slot: Slot) -> Field:
        kind, place = slot
        field: Field
        if SPECS[kind].kind == "state":
            field = QComboBox()
            for value, shown in STATES.items():
                field.addItem(_(shown), value)
            box = field
            field.activated.connect(lambda _at: self._job.type(slot, str(box.currentData())))
        else:
            field = QLineEdit()
            field.textEdited.connect(lambda text: self._job.type(slot, text))
            if SPECS[kind].kind == "day":
                field.setPlaceholderText(_("today"))
        field.setMinimumHeight(TOUCH_PX)
        field.setMinimumWidth(7 * GRID_PX)
        words = ", ".join(filter(None, (Words().say(kind), place)))
        field.setAccessibleName(words)
        field.installEventFilter(self)
        self._fields[slot] = field
        return field

    def _head(self, row: FieldRow) -> str:
        """What is asked and in which unit: 'belt sag, in'."""
        words, kinds = Words(), {kind for kind, _place in row.slots}
        if row.of:
            return part_words(row.of, words)
        if len(kinds) > 1:
            return ""
        (kind,) = kinds
        unit = self._job.unit(row.slots[0])
        said = words.say(kind)
        return f"{said[:1].upper()}{said[1:]}{f', {unit}' if unit else ''}"

    def _place(self, row: FieldRow, slot: Slot) -> str:
        """'left'; where several things stand side by side what is asked, with its unit."""
        kind, place = slot
        if row.of or not place:
            unit = self._job.unit(slot)
            return Words().say(kind) + (f", {unit}" if unit else "")
        return " ".join(_(PLACES[word]) if word in PLACES else word for word in place.split())
