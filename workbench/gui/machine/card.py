"""One heading of the machine file as a card: names, entries, units, and what is wrong."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent, QWheelEvent
from PySide6.QtWidgets import (
    QComboBox,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QVBoxLayout,
    QWidget,
)

from workbench.gui.parts.basics import label, say
from workbench.gui.parts.layout import line_of
from workbench.gui.theme import GRID_PX, grown, keep_width
from workbench.models.machine.fields import CHOICES, NEEDED, NEEDED_FOR, default
from workbench.models.machine.form import MachineForm
from workbench.words.language import N_, _

NAME_PX = 15 * GRID_PX
"""One width for the names of all entries, so that the entries stand in line."""
UNIT_PX = 4 * GRID_PX
ENTRY_PX = 10 * GRID_PX
TWO_COLUMNS_PX = 96 * GRID_PX

WORDS = ("name", "serial", "readout.setting_unit", *CHOICES)
"""Entries that hold words take the room of the unit, which they have not."""

PLUS_MINUS_TIP = N_(
    "The ± within which it lies 19 times in 20. The machine file keeps half of it, the "
    "standard uncertainty."
)
_ALWAYS = (*NEEDED, *NEEDED_FOR["sprocket"], *NEEDED_FOR["roll"])


class ChoiceBox(QComboBox):
    """A choice that the mouse's wheel leaves alone: it scrolls the form it stands in."""

    def __init__(self) -> None:
        super().__init__()
        self.setSizeAdjustPolicy(self.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802
        event.ignore()


class MachineCard(QFrame):
    """The entries under one heading; `typed(key, text)` is called for each change."""

    def __init__(
        self,
        heading: str,
        names: Mapping[str, str],
        typed: Callable[[str, str], object],
        below: Mapping[str, QWidget],
    ) -> None:
        super().__init__()
        self.setProperty("role", "card")
        self._typed = typed
        self.entries: dict[str, QLineEdit | QComboBox] = {}
        self._parts: dict[str, tuple[QLabel, QLabel, QLabel]] = {}
        grid = QGridLayout(self)
        grid.setContentsMargins(*[2 * GRID_PX] * 4)
        grid.setHorizontalSpacing(GRID_PX)
        grid.setVerticalSpacing(4)
        grid.setColumnStretch(1, 1)
        grid.setColumnMinimumWidth(2, UNIT_PX)
        grid.addWidget(label(heading, "text"), 0, 0, 1, 3)
        for index, (key, words) in enumerate(names.items()):
            self._add(grid, 3 * index + 1, key, words)
            if key in below:
                grid.addWidget(below[key], 3 * index + 3, 0, 1, 3)

    def show_form(self, form: MachineForm) -> None:
        """Show a form's entries, units and errors, where they changed."""
        for key, entry in self.entries.items():
            name, unit, error = self._parts[key]
            applies, said = form.applies(key), form.errors.get(key, "")
            for widget in (name, entry, unit):
                widget.setVisible(applies)
            say(error, said)
            error.setVisible(applies and bool(said))
            say(unit, form.unit(key))
            entry.setAccessibleDescription(f"{form.unit(key)} {said}".strip())
            _mark(entry, wrong=bool(said))
            text = form.text(key)
            if isinstance(entry, QComboBox):
                entry.setItemText(0, _empty(key, form))
                at = entry.findData(text)
                entry.setCurrentIndex(max(at, 0))
                continue
            entry.setPlaceholderText(_empty(key, form))
            if entry.text() != text:
                entry.setText(text)
                entry.setCursorPosition(0)

    def _add(self, grid: QGridLayout, at: int, key: str, words: str) -> None:
        name, unit, error = label(words), label("", "soft", wrap=False), label("", "error")
        entry: QLineEdit | QComboBox
        if key in CHOICES:
            entry = ChoiceBox()
            for value, shown in {"": "", **CHOICES[key]}.items():
                entry.addItem(shown, value)
            entry.activated.connect(
                lambda _at, key=key, box=entry: self._typed(key, str(box.currentData()))
            )
        else:
            entry = QLineEdit()
            entry.textEdited.connect(lambda text, key=key: self._typed(key, text))
        if ".u_" in key:
            entry.setToolTip(PLUS_MINUS_TIP)
        keep_width(name, NAME_PX)
        entry.setMinimumWidth(ENTRY_PX)
        entry.setAccessibleName(words)
        name.setBuddy(entry)
        error.hide()
        grid.addWidget(name, at, 0)
        grid.addWidget(entry, at, 1, 1, 2 if key in WORDS else 1)
        grid.addWidget(unit, at, 2)
        grid.addWidget(error, at + 1, 1, 1, 2)
        self.entries[key], self._parts[key] = entry, (name, unit, error)


class CardColumns(QWidget):
    """Cards one below the other, in two columns where there is room for two."""

    def __init__(self, cards: list[MachineCard], left: int) -> None:
        super().__init__()
        self._cards, self._left, self._two = cards, left, False
        line = line_of(on=self, edges=(0, 0, 2 * GRID_PX, 0))
        self._columns = [QVBoxLayout(), QVBoxLayout()]
        for column in self._columns:
            column.setSpacing(2 * GRID_PX)
            line.addLayout(column, 1)
        self._place()

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        two = self.width() >= grown(TWO_COLUMNS_PX)
        if two != self._two:
            self._two = two
            self._place()

    def _place(self) -> None:
        for column in self._columns:
            while column.count():
                column.takeAt(0)
        first, second = self._columns
        for at, card in enumerate(self._cards):
            (second if self._two and at >= self._left else first).addWidget(card)
        first.addStretch(1)
        second.addStretch(1)
        line = self.layout()
        if isinstance(line, QHBoxLayout):
            line.setStretch(1, 1 if self._two else 0)
            line.setSpacing(2 * GRID_PX if self._two else 0)


def _empty(key: str, form: MachineForm) -> str:
    """What an empty entry says: that it is needed, or what it counts as."""
    if key in _ALWAYS:
        return "needed"
    counts_as = default(key, form.units)
    if not counts_as:
        return _("may stay empty")
    if key in ("readout.reads", "readout.rounds", "pickup.clock_ppm"):
        return counts_as
    return (
        f"{counts_as} (usual)"
        if key in CHOICES
        else _("{counts_as} unless typed").format(counts_as=counts_as)
    )


def _mark(entry: QWidget, *, wrong: bool) -> None:
    """Frame a wrong entry; the sentence below it says why."""
    if bool(entry.property("wrong")) != wrong:
        entry.setProperty("wrong", wrong)
        entry.style().unpolish(entry)
        entry.style().polish(entry)
