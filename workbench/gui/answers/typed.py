"""What can be typed beside a judged pass: oil, moves of the flow control, a taped course."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtWidgets import QLineEdit, QWidget

from workbench.base.errors import WrongInput
from workbench.base.units import US, UnitSystem
from workbench.gui.parts.basics import label, say
from workbench.gui.parts.layout import column_of
from workbench.gui.theme import TOUCH_PX
from workbench.jobs.passes.answer import PassOptions
from workbench.jobs.passes.typed import parse_course, parse_moves, parse_oil_c
from workbench.words.language import N_, _
from workbench.words.words import Words

FIELDS: dict[str, tuple[str, tuple[str, str], Callable[[str], Any]]] = {
    "oil_c": (N_("Oil at start and end"), ("54F, 118F", "12, 48"), parse_oil_c),
    "moved": (N_("Flow control moved: time = steps"), ("0:38=-2; 1:30=1",) * 2, parse_moves),
    "course": (
        N_("Taped course: length, from, to"),
        ("100ft, 0:12, 0:36.8", "30, 0:12, 0:36.8"),
        parse_course,
    ),
}
"""Option of a pass -> its name, an example in US and in metric units, and what reads it."""


class PassTyped(QWidget):
    """Three fields, read as the command reads them; what is wrong is said below its field."""

    def __init__(self) -> None:
        super().__init__()
        column = column_of(on=self, gap=2)
        self._recording: int | None = None
        self.fields: dict[str, QLineEdit] = {}
        self._errors = {name: label("", "error") for name in FIELDS}
        for name, (words, _examples, _parse) in FIELDS.items():
            field = QLineEdit()
            field.setMinimumHeight(TOUCH_PX)
            field.setAccessibleName(_(words))
            self._errors[name].hide()
            for piece in (label(words, "soft"), field, self._errors[name]):
                column.addWidget(piece)
            self.fields[name] = field

    def use_for(self, recording: int | None) -> None:
        """What was typed beside another recording does not hold for this one."""
        if recording != self._recording:
            self._recording = recording
            for name, field in self.fields.items():
                field.clear()
                self._errors[name].hide()

    def show_units(self, units: UnitSystem) -> None:
        """Examples in a person's units."""
        for name, (_words, examples, _parse) in FIELDS.items():
            self.fields[name].setPlaceholderText(examples[0 if units is US else 1])

    def read(self) -> PassOptions | None:
        """What is typed; None where something of it is wrong."""
        found: dict[str, Any] = {}
        for name, (_words, _examples, parse) in FIELDS.items():
            text, error = self.fields[name].text().strip(), ""
            try:
                found[name] = parse(text) if text else None
            except WrongInput as wrong:
                error = Words().say(wrong)
            say(self._errors[name], error)
            self._errors[name].setVisible(bool(error))
        return PassOptions(**found) if len(found) == len(FIELDS) else None
