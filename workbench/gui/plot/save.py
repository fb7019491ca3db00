"""The small button that saves a plot: a picture, or its numbers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Protocol

from PySide6.QtCore import QBuffer, QPoint, QRect, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFontMetrics, QPainter, QPixmap
from PySide6.QtSvg import QSvgGenerator
from PySide6.QtWidgets import QMenu, QToolButton, QWidget

from workbench.base.errors import StoreError
from workbench.base.files import name_for, write_file
from workbench.gui.parts.files import ask_save
from workbench.gui.theme import BRIGHT, GRID_PX, SMALL_PX, TOUCH_PX, Theme, font, grown, keep_width
from workbench.gui.work_line import WorkLine
from workbench.models.plot.table import write_table
from workbench.models.progress import Progress
from workbench.words.language import N_, _
from workbench.words.pictures.picture import Column

SHARPNESS = 2
"""Pixels of a saved picture to one of the screen."""

WORD = "Simulated"
PICTURES = {N_("PNG picture"): ".png", N_("SVG drawing"): ".svg"}


SIMULATED = "simulated"
"""Property of a plot that draws simulated data; see `tell_simulated`."""


def tell_simulated(plot: QWidget, simulated: bool) -> None:
    """Whether what a plot draws is simulated: whatever is saved of it then says so."""
    plot.setProperty(SIMULATED, simulated)


class Savable(Protocol):
    """What is saved."""

    def size(self) -> QSize: ...
    def paint_picture(self, painter: QPainter) -> None:
        """Everything but the button that lies on it, in as much room as `size` says."""

    def seen(self) -> tuple[float, float]: ...
    def columns(self) -> Sequence[Column]: ...
    def accessibleName(self) -> str: ...  # noqa: N802
    def property(self, name: str) -> object: ...


class SavePlot(QToolButton):
    """'Save plot': a menu of PNG, SVG, and CSV of what is seen or of all there is."""

    said = Signal(str)

    def __init__(self, plot: QWidget) -> None:
        super().__init__(plot)
        self._plot: Savable = plot  # type: ignore[assignment]
        self._works, self._theme = WorkLine(self), BRIGHT
        self.setText(_("Save plot"))
        self.setAccessibleName(_("Save plot"))
        self.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        menu = QMenu(self)
        for words, ending in PICTURES.items():
            menu.addAction(_(words), self._asking(ending))
        menu.addAction(_("CSV table of what is seen"), self._asking(".csv"))
        menu.addAction(_("CSV table of everything"), self._asking(".csv", everything=True))
        self.setMenu(menu)
        wide_px = 2 * TOUCH_PX + GRID_PX
        self.setFixedSize(QSize(grown(wide_px), TOUCH_PX))
        keep_width(self, wide_px)
        self.said.connect(self.setToolTip)
        self.destroyed.connect(self._works.wait)

    @property
    def works(self) -> WorkLine:
        """Tables are written away from the screen."""
        return self._works

    def dress(self, theme: Theme) -> None:
        """Flat, its words at the top: the rest of its 44 px lies over empty room."""
        self._theme = theme
        self.setStyleSheet(
            f"QToolButton {{ border: none; background: transparent; color: {theme.soft_ink};"
            f" min-height: 0; padding: 0 4px {TOUCH_PX // 2}px 4px; text-decoration: underline; }}"
            f"QToolButton:hover {{ color: {theme.ink}; }}"
            f"QToolButton:focus {{ border: 2px solid {theme.belt}; }}"
            "QToolButton::menu-indicator { image: none; }"
        )

    def save_to(self, path: Path, *, everything: bool = False) -> None:
        """Write the plot; its ending says as what. The outcome is told by `said`."""
        ending = path.suffix.casefold()
        if ending == ".csv":
            self._save_table(path, everything=everything)
            return
        drawn = self._svg() if ending == ".svg" else self._png()
        try:
            self._tell(_("Saved as {name}.").format(name=write_file(path, drawn).name))
        except StoreError as error:
            self._tell(str(error))

    def _save_table(self, path: Path, *, everything: bool) -> None:
        low, high = self._plot.seen()
        columns = list(self._plot.columns())
        if not everything:
            columns = [column.between(low, high) for column in columns]
        progress, simulated = Progress(_("Saving the plot …")), self._simulated
        self._tell(progress.words)
        self._works.add(
            lambda: write_table(columns, path, progress, simulated=simulated),
            lambda done: self._tell(_("Saved as {name}.").format(name=done.name)),
            self._tell,
            progress,
        )

    def _png(self) -> bytes:
        held, pixels = QBuffer(), QPixmap(self._plot.size() * SHARPNESS)
        pixels.setDevicePixelRatio(SHARPNESS)
        self._paint(QPainter(pixels))
        pixels.save(held, "PNG")
        return bytes(held.data().data())

    def _svg(self) -> bytes:
        held, drawing = QBuffer(), QSvgGenerator()
        drawing.setOutputDevice(held)
        drawing.setTitle(self._plot.accessibleName())
        drawing.setSize(self._plot.size())
        drawing.setViewBox(QRect(QPoint(), self._plot.size()))
        self._paint(QPainter(drawing))
        return bytes(held.data().data())

    def _paint(self, painter: QPainter) -> None:
        try:
            painter.fillRect(QRect(QPoint(), self._plot.size()), self._theme.color("ground"))
            self._plot.paint_picture(painter)
            self._mark(painter, self._plot.size().width())
        finally:
            painter.end()

    @property
    def _simulated(self) -> bool:
        return bool(self._plot.property(SIMULATED))

    def _mark(self, painter: QPainter, width: int) -> None:
        """'Simulated' in the middle of the top of a picture, where it draws simulated data."""
        if not self._simulated:
            return
        painter.setFont(font(SMALL_PX, bold=True))
        wide = QFontMetrics(painter.font()).horizontalAdvance(WORD) + 2 * GRID_PX
        pill = QRectF((width - wide) / 2, 2, wide, grown(SMALL_PX) + GRID_PX)
        painter.fillRect(pill, self._theme.color("attention"))
        painter.setPen(self._theme.color("ground"))
        painter.drawText(pill, Qt.AlignmentFlag.AlignCenter, WORD)

    def _tell(self, sentence: str) -> None:
        self.said.emit(sentence)

    def _asking(self, ending: str, *, everything: bool = False) -> Callable[[], None]:
        return lambda: self._ask(ending, everything=everything)

    def _ask(self, ending: str, *, everything: bool) -> None:
        kinds = f"{ending[1:].upper()} (*{ending})"
        if path := ask_save(self, _("Save plot"), name_for("", _("plot"), ending), kinds):
            self.save_to(path if path.suffix else path.with_suffix(ending), everything=everything)
