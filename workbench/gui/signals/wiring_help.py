"""What to check where no pulse comes: the drawing, its numbered steps, the caution between."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QLabel, QScrollArea, QWidget

from workbench.base.cautions import Caution
from workbench.base.machine import Machine
from workbench.base.units import UnitSystem
from workbench.gui.parts.basics import CautionCard, label
from workbench.gui.parts.layout import column_of, line_of
from workbench.gui.signals.wiring_drawing import WiringDrawing
from workbench.gui.theme import GRID_PX, Theme
from workbench.models.bench import Bench
from workbench.models.signals.wiring_steps import (
    PINS,
    WiringStep,
    at_the_laptop,
    at_the_machine,
    gap_words,
    is_coil,
)
from workbench.words.language import _
from workbench.words.words import Words


class WiringHelp(QScrollArea):
    """Scrolls up and down only."""

    def __init__(self, bench: Bench, theme: Theme) -> None:
        super().__init__()
        self._bench = bench
        self._shown: tuple[Machine | None, UnitSystem] | None = None
        self._drawing = WiringDrawing(theme)
        self._machine_steps = column_of(gap=-1)
        self._after_caution = QWidget()
        self._after_caution.setLayout(self._machine_steps)
        self._machine_steps.setContentsMargins(0, 0, 0, 0)
        self._machine_steps.setSpacing(GRID_PX)
        body = QWidget()
        column = column_of(
            self._drawing,
            label("At the laptop and the board", "text"),
            on=body,
            gap=2 * GRID_PX,
            edges=(0, 0, GRID_PX, 0),
        )
        for step in at_the_laptop():
            column.addWidget(_step_row(step))
        column.addWidget(label("At the machine", "text"))
        read = self._bench.cautions_read
        self._caution = CautionCard(Caution.AT_THE_WHEEL, read, self._caution_read)
        column.addWidget(self._caution)
        column.addWidget(self._after_caution)
        column.addStretch(1)
        self.setWidget(body)
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setAccessibleName(_("What to check where no pulse comes"))

    def refresh(self, channel: str) -> None:
        """Follow the machine in use, the units and the channel that is looked at."""
        machine, units = self._bench.machine, self._bench.settings.units
        self._drawing.show_wiring(
            coil=is_coil(machine),
            pin=PINS.get(channel, PINS["left"]),
            gap=gap_words(machine, units),
        )
        self._caution.setVisible(not self._caution.is_read)
        self._after_caution.setVisible(self._caution.is_read)
        if (machine, units) != self._shown:
            self._shown = (machine, units)
            self._fill(at_the_machine(machine, units))

    def _fill(self, steps: Sequence[WiringStep]) -> None:
        while (item := self._machine_steps.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None:
                widget.hide()  # it is gone only once Qt comes to it, and would be drawn until then
                widget.deleteLater()
        for step in steps:
            self._machine_steps.addWidget(_step_row(step))
        self._machine_steps.addWidget(label(Words().say(Caution.AT_THE_WIRING), "soft"))

    def _caution_read(self) -> None:
        self._after_caution.show()
        self.setFocus()


def _step_row(step: WiringStep) -> QWidget:
    """The step's number, its place in bold, and what to look for."""
    holder = QWidget()
    line = line_of(on=holder)
    number = label(str(step.number), "text", wrap=False)
    number.setFixedWidth(3 * GRID_PX)
    number.setAlignment(Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignRight)
    text = QLabel(f"<b>{step.what}.</b> {step.text}")
    text.setTextFormat(Qt.TextFormat.RichText)
    text.setWordWrap(True)
    text.setAlignment(Qt.AlignmentFlag.AlignTop)
    line.addWidget(number)
    line.addWidget(text, 1)
    return holder
