"""The small button that saves a plot: a picture, or its numbers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Protocol

from PySide6.QtCore import QBuffer, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QPainter
from PySide6.QtSvg import QSvgGenerator
from PySide6.QtWidgets import QFileDialog, QGraphicsView, QMenu, QToolButton, QWidget

from workbench.gui.theme import TOUCH_PX, Theme
from workbench.gui.work_line import WorkLine
from workbench.models.plot_table import Column, write_table
from workbench.models.progress import Progress

PICTURES = {"PNG picture": ".png", "SVG drawing": ".svg"}


class Savable(Protocol):
    """What is saved."""

    def picture(self) -> QGraphicsView: ...
    def seen(self) -> tuple[float, float]: ...
    def columns(self) -> Sequence[Column]: ...
    def accessibleName(self) -> str: ...  # noqa: N802


class SavePlot(QToolButton):
    """'Save plot': a menu of PNG, SVG, and CSV of what is seen or of all there is."""

    said = Signal(str)

    def __init__(self, plot: QWidget) -> None:
        super().__init__(plot)
        self._plot: Savable = plot  # type: ignore[assignment]
        self._works = WorkLine(self)
        self.setText("Save plot")
        self.setAccessibleName("Save plot")
        self.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        menu = QMenu(self)
        for words, ending in PICTURES.items():
            menu.addAction(words, self._asking(ending))
        menu.addAction("CSV table of what is seen", self._asking(".csv"))
        menu.addAction("CSV table of everything", self._asking(".csv", everything=True))
        self.setMenu(menu)
        self.setFixedSize(QSize(2 * TOUCH_PX, TOUCH_PX))
        self.said.connect(self.setToolTip)
        self.destroyed.connect(self._works.wait)

    @property
    def works(self) -> WorkLine:
        """Tables are written away from the screen."""
        return self._works

    def dress(self, theme: Theme) -> None:
        """Flat, its words at the top: the rest of its 44 px lies over empty room."""
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
        drawn = _svg if ending == ".svg" else _png
        try:
            path.write_bytes(drawn(self._plot.picture(), self._plot.accessibleName()))
        except OSError as error:
            self._tell(f"{path} cannot be written: {error.strerror}.")
        else:
            self._tell(f"Saved as {path.name}.")

    def _save_table(self, path: Path, *, everything: bool) -> None:
        low, high = self._plot.seen()
        columns = list(self._plot.columns())
        if not everything:
            columns = [column.between(low, high) for column in columns]
        progress = Progress("Saving the plot …")
        self._works.add(
            lambda: write_table(columns, path, progress),
            lambda done: self._tell(f"Saved as {done.name}."),
            self._tell,
            progress,
        )

    def _tell(self, sentence: str) -> None:
        self.said.emit(sentence)

    def _asking(self, ending: str, *, everything: bool = False) -> Callable[[], None]:
        return lambda: self._ask(ending, everything=everything)

    def _ask(self, ending: str, *, everything: bool) -> None:
        name, _ = QFileDialog.getSaveFileName(
            self, "Save plot", f"plot{ending}", f"{ending[1:].upper()} (*{ending})"
        )
        if name:
            path = Path(name)
            self.save_to(path if path.suffix else path.with_suffix(ending), everything=everything)


def _png(picture: QGraphicsView, name: str) -> bytes:
    held = QBuffer()
    picture.grab().save(held, "PNG")
    return bytes(held.data().data())


def _svg(picture: QGraphicsView, name: str) -> bytes:
    held, drawing = QBuffer(), QSvgGenerator()
    drawing.setOutputDevice(held)
    drawing.setTitle(name)
    drawing.setSize(picture.size())
    drawing.setViewBox(picture.rect())
    painter = QPainter(drawing)
    picture.render(painter, QRectF(picture.rect()), picture.rect())
    painter.end()
    return bytes(held.data().data())
