"""The first start: the picture that moves, and three plain choices."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from PySide6.QtWidgets import QVBoxLayout, QWidget

from workbench.gui.theme import GRID_PX, Theme
from workbench.gui.widgets.basics import button, label, row
from workbench.gui.widgets.pace_strip import PaceStrip
from workbench.models.bench import Bench
from workbench.models.pace import PaceModel
from workbench.models.wording import speed_text

CHOICES = {
    "Calibrate a readout": "Calibrate",
    "Check a pass": "Pass",
    "Check pickup gaps": "Gap",
}


class StartPage(QWidget):
    """Belt and ground, running, and what to do with them."""

    def __init__(self, bench: Bench, theme: Theme, go: Callable[[str], object]) -> None:
        super().__init__()
        self._bench, self._pace = bench, PaceModel(bench)
        self._strip = PaceStrip(theme)
        self._words = label("", "text")
        column = QVBoxLayout(self)
        column.setContentsMargins(*[3 * GRID_PX] * 4)
        column.setSpacing(3 * GRID_PX)
        column.addWidget(label("Do belt and ground keep pace?", "title"))
        column.addWidget(self._strip)
        column.addWidget(self._words)
        column.addStretch(1)
        column.addWidget(label("What would you like to do?", "text"))
        choices = [button(text, partial(go, place)) for text, place in CHOICES.items()]
        choices[0].setProperty("role", "next")
        column.addWidget(row(*choices))

    def set_theme(self, theme: Theme) -> None:
        self._strip.set_theme(theme)

    def refresh(self) -> None:
        units = self._bench.settings.units
        pace = self._pace.now()
        self._strip.set_marks(units.length_m if units.length == "m" else 0.3048, units.length)
        self._strip.show_distances(
            pace.belt_m, pace.ground_m, belt_lost=pace.belt_lost, ground_lost=pace.ground_lost
        )
        self._words.setText(
            f"Belt {speed_text(pace.belt_mps, units)}, ground {speed_text(pace.ground_mps, units)}."
        )
