"""How pieces are laid out: below one another or side by side."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt
from PySide6.QtWidgets import (
    QBoxLayout,
    QHBoxLayout,
    QLayout,
    QScrollArea,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from workbench.gui.theme import GRID_PX

Piece = QWidget | QLayout
Place = Piece | int | tuple[Piece, int] | tuple[QWidget, Qt.AlignmentFlag]
"""A piece; with its share of the room to spare or its side; or a number, an empty share."""
Edges = tuple[int, int, int, int]

FLUSH: Edges = (0, 0, 0, 0)
PAGE: Edges = (3 * GRID_PX, GRID_PX, 3 * GRID_PX, 2 * GRID_PX)
TALL_PAGE: Edges = (3 * GRID_PX, 2 * GRID_PX, 3 * GRID_PX, 2 * GRID_PX)
"""Room round what is laid out, px: left, top, right, bottom."""


def column_of(
    *places: Place, on: QWidget | None = None, gap: int = GRID_PX, edges: Edges = FLUSH
) -> QVBoxLayout:
    """Pieces one below the other, `gap` px apart (-1: as the style has it), on a widget."""
    made = QVBoxLayout() if on is None else QVBoxLayout(on)
    _fill(made, places, gap, edges)
    return made


def line_of(
    *places: Place, on: QWidget | None = None, gap: int = 2 * GRID_PX, edges: Edges = FLUSH
) -> QHBoxLayout:
    """Pieces side by side, see `column_of`."""
    made = QHBoxLayout() if on is None else QHBoxLayout(on)
    _fill(made, places, gap, edges)
    return made


def _fill(layout: QBoxLayout, places: tuple[Place, ...], gap: int, edges: Edges) -> None:
    layout.setContentsMargins(*edges)
    layout.setSpacing(gap)
    for place in places:
        piece, how = place if isinstance(place, tuple) else (place, 0)
        if isinstance(piece, int):
            layout.addStretch(piece)
        elif isinstance(piece, QLayout):
            layout.addLayout(piece, int(how))
        elif isinstance(how, Qt.AlignmentFlag):
            layout.addWidget(piece, 0, how)
        else:
            layout.addWidget(piece, how)


class Pages(QStackedWidget):
    """One page at a time, which takes the height it is given. It asks for the room of the one that
    is seen: one behind it may have been laid out for a larger window."""

    def hasHeightForWidth(self) -> bool:  # noqa: N802
        return False

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        seen = self.currentWidget()
        return super().minimumSizeHint() if seen is None else seen.minimumSizeHint()


def held(layout: QLayout) -> QWidget:
    """A widget with this layout and nothing else."""
    holder = QWidget()
    holder.setLayout(layout)
    return holder


def scrolled(inside: QWidget, name: str = "", *, in_turn: bool = True) -> QScrollArea:
    """Something that may be taller than its place; `name` says what it is to who cannot see
    it, and Tab stops there only where it is `in_turn`."""
    area = QScrollArea()
    area.setWidgetResizable(True)
    area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    area.setWidget(inside)
    area.setAccessibleName(name)
    if not in_turn:
        area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    return area


def emptied(layout: QLayout) -> None:
    """Take the widgets in a layout away."""
    while (item := layout.takeAt(0)) is not None:
        if (widget := item.widget()) is not None:
            widget.hide()
            widget.deleteLater()


def row(*widgets: QWidget, stretch: bool = True, spacing: int = 2 * GRID_PX) -> QWidget:
    """Pieces side by side, left edges together."""
    return held(line_of(*widgets, *([1] if stretch else []), gap=spacing))


def lay_beside(body: QBoxLayout, *, wide: bool) -> None:
    """Lay what is in `body` side by side where there is room, one below the other where not."""
    side, below = QBoxLayout.Direction.LeftToRight, QBoxLayout.Direction.TopToBottom
    body.setDirection(side if wide else below)
