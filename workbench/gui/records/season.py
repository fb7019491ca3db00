"""A machine over the season: one quantity against days, and what the row of visits says."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QComboBox,
    QWidget,
)

from workbench.base.units import UnitSystem
from workbench.gui.parts.basics import label
from workbench.gui.parts.layout import column_of, lay_beside, line_of, row, scrolled
from workbench.gui.plot.plot import Plot
from workbench.gui.plot.save import tell_simulated
from workbench.gui.theme import GRID_PX, TOUCH_PX, Theme
from workbench.jobs.season.answer import QuantitySeason, SeasonAnswer
from workbench.words.language import N_, _
from workbench.words.pictures.season import season_picture
from workbench.words.season import season_title
from workbench.words.words import Words

NARROW_PX = 1000
NOTHING = N_(
    "Nothing was measured of this machine yet. Judge a pass, calibrate its readout or check its "
    "gaps: each visit becomes a point here."
)
HOW = N_("Points with their uncertainty (k = 2). Choose a point to open its result.")


class SeasonView(QWidget):
    """Which machine, which quantity; the chart; the words. `opens` takes a result's number."""

    def __init__(
        self,
        theme: Theme,
        units: UnitSystem,
        load: Callable[[str], object],
        opens: Callable[[int], object],
    ) -> None:
        super().__init__()
        self._words, self._opens = Words(units), opens
        self._season: Sequence[QuantitySeason] = ()
        self.machines, self.quantities = QComboBox(), QComboBox()
        for box, name in ((self.machines, _("Machine")), (self.quantities, _("Quantity"))):
            box.setMinimumHeight(TOUCH_PX)
            box.setAccessibleName(name)
            box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToContents)
        self.machines.textActivated.connect(load)
        self.quantities.activated.connect(self._show)
        self.chart = Plot(theme, _("Season plot"))
        self.chart.picked.connect(self._picked)
        self.words = label("", "text")
        self.words.setAlignment(Qt.AlignmentFlag.AlignTop)
        area = scrolled(self.words, _("What the season says"))
        self._body = line_of((self.chart, 5), (area, 2), gap=3 * GRID_PX)
        column = column_of(row(self.machines, self.quantities), (self._body, 1), on=self)
        how = label(HOW, "soft")
        self.chart.said.connect(how.setText)
        column.addWidget(how)

    def use_units(self, units: UnitSystem) -> None:
        self._words = Words(units)
        self._show()

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        lay_beside(self._body, wide=event.size().width() >= NARROW_PX)

    def offer(self, machines: Sequence[str], chosen: str) -> str:
        """Let one of these machines be chosen; which one is."""
        before = chosen or self.machines.currentText()
        self.machines.clear()
        self.machines.addItems(list(machines))
        self.machines.setCurrentIndex(max(0, self.machines.findText(before)))
        return self.machines.currentText()

    def show_season(self, season: SeasonAnswer) -> None:
        """Show what was measured; the quantity seen before stays where it is still there."""
        before = self.quantities.currentText()
        self._season = tuple(season.quantities.values())
        self.quantities.clear()
        self.quantities.addItems(list(map(season_title, self._season)))
        self.quantities.setCurrentIndex(max(0, self.quantities.findText(before)))
        self.quantities.setVisible(bool(self._season))
        self._show()

    def _show(self) -> None:
        at = self.quantities.currentIndex()
        if not 0 <= at < len(self._season):
            self.chart.hide()
            self.words.setText(_(NOTHING))
            return
        one = self._season[at]
        self.chart.show()
        tell_simulated(self.chart, one.simulated)
        self.chart.show_picture(season_picture(one), self._words.units, anew=True)
        self.words.setText("\n\n".join(self._words.say_all(one.changes)))

    def _picked(self, at: int) -> None:
        self._opens(self._season[self.quantities.currentIndex()].results[at])
