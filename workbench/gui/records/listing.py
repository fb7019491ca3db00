"""The list of all that is kept: two lines a row, drawn only where they are seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import (
    QAbstractListModel,
    QItemSelectionModel,
    QModelIndex,
    QPersistentModelIndex,
    QRect,
    QRectF,
    QSize,
    Qt,
    Signal,
)
from PySide6.QtGui import QFontMetrics, QKeyEvent, QPainter
from PySide6.QtWidgets import (
    QAbstractItemView,
    QListView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QWidget,
)

from workbench.gui.icons import ICON_PX, paint_icon
from workbench.gui.parts.basics import VERDICT_COLORS
from workbench.gui.theme import GRID_PX, SMALL_PX, Theme, font, grown
from workbench.models.records.listing import RecordEntry
from workbench.words.language import _

ROW_PX = 60
NAME_PX = 16
TAG_PX = 22
Index = QModelIndex | QPersistentModelIndex


@dataclass(frozen=True, slots=True)
class Tag:
    """A word in a rounded box: filled for a verdict, an outline for a state."""

    text: str
    color: str
    filled: bool


class RecordListModel(QAbstractListModel):
    """The entries in the order they are shown."""

    def __init__(self) -> None:
        super().__init__()
        self.entries: list[RecordEntry] = []

    def show(self, entries: list[RecordEntry]) -> None:
        self.beginResetModel()
        self.entries = entries
        self.endResetModel()

    def rowCount(self, parent: Index | None = None) -> int:  # noqa: N802
        return 0 if parent is not None and parent.isValid() else len(self.entries)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        entry = self.entries[index.row()]
        if role == Qt.ItemDataRole.DisplayRole:
            return entry.words
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return spoken(entry)
        if role == Qt.ItemDataRole.ToolTipRole:
            return "\n".join(part for part in (entry.words, entry.machine, entry.note) if part)
        return None


def spoken(entry: RecordEntry) -> str:
    """The whole row as one text."""
    parts = [entry.words, entry.when, entry.machine, *(tag.text for tag in tags(entry))]
    return ", ".join(part for part in parts if part)


def tags(entry: RecordEntry) -> list[Tag]:
    """The words at a row's right end, the verdict first."""
    found = []
    if entry.verdict:
        found.append(Tag(entry.verdict_word, VERDICT_COLORS[entry.verdict], filled=True))
    if entry.found:
        found.append(Tag(entry.found_word, VERDICT_COLORS[entry.found], filled=False))
    if entry.state_words:
        found.append(Tag(entry.state_words, "bad", filled=False))
    if entry.simulated:
        found.append(Tag(_("simulated"), "attention", filled=False))
    return found


class RecordDelegate(QStyledItemDelegate):
    """Paints a row: icon, what it is and its verdict; below, when, whose, and simulated."""

    def __init__(self, theme: Theme, parent: QWidget) -> None:
        super().__init__(parent)
        self.theme = theme

    def sizeHint(self, option: QStyleOptionViewItem, index: Index) -> QSize:  # noqa: N802
        return QSize(200, grown(ROW_PX))

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        model = index.model()
        assert isinstance(model, RecordListModel)
        entry, theme = model.entries[index.row()], self.theme
        box: QRect = option.rect
        state: QStyle.StateFlag = option.state
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if state & QStyle.StateFlag.State_Selected:
            painter.fillRect(box, theme.color("belt", 40))
            painter.fillRect(QRect(box.left(), box.top(), 4, box.height()), theme.color("belt"))
        elif state & QStyle.StateFlag.State_MouseOver:
            painter.fillRect(box, theme.color("belt", 14))
        if state & QStyle.StateFlag.State_HasFocus:
            painter.setPen(theme.color("belt"))
            painter.drawRect(box.adjusted(0, 0, -1, -1))
        painter.setPen(theme.color("line"))
        painter.drawLine(box.left() + 48, box.bottom(), box.right(), box.bottom())
        middle = box.top() + (box.height() - ICON_PX) / 2
        spot = QRectF(box.left() + 2 * GRID_PX - 2, middle, ICON_PX, ICON_PX)
        paint_icon(painter, spot, entry.kind, theme.soft_ink)
        self._lines(painter, box.adjusted(48, 8, -GRID_PX, -8), entry)
        painter.restore()

    def _lines(self, painter: QPainter, box: QRect, entry: RecordEntry) -> None:
        """Two lines; tags stand at the right of the one they belong to."""
        half = box.height() // 2
        upper = QRect(box.left(), box.top(), box.width(), half)
        lower = QRect(box.left(), box.top() + half, box.width(), half)
        words = {False: lower, True: upper}
        for tag in tags(entry):
            line = words[tag.filled]
            words[tag.filled] = self._tag(painter, line, tag)
        ink = "soft_ink" if entry.deleted_utc else "ink"
        _text(painter, words[True], entry.words, NAME_PX, self.theme, ink, bold=True)
        below = " · ".join(part for part in (entry.when, entry.machine) if part)
        _text(painter, words[False], below, SMALL_PX, self.theme, "soft_ink")

    def _tag(self, painter: QPainter, line: QRect, tag: Tag) -> QRect:
        """Draw a tag at the right end of a line; what is left of the line."""
        made = font(SMALL_PX, bold=tag.filled)
        width = QFontMetrics(made).horizontalAdvance(tag.text) + 2 * GRID_PX
        top = line.top() + (line.height() - grown(TAG_PX)) / 2
        box = QRectF(line.right() - width, top, width, grown(TAG_PX))
        painter.setFont(made)
        color = self.theme.color(tag.color)
        painter.setPen(Qt.PenStyle.NoPen if tag.filled else color)
        painter.setBrush(color if tag.filled else Qt.BrushStyle.NoBrush)
        radius = grown(TAG_PX) / 2 if tag.filled else 4
        painter.drawRoundedRect(box, radius, radius)
        painter.setPen(self.theme.color("ground") if tag.filled else color)
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, tag.text)
        return line.adjusted(0, 0, -width - GRID_PX, 0)


def _text(
    painter: QPainter,
    box: QRect,
    text: str,
    size: int,
    theme: Theme,
    ink: str,
    *,
    bold: bool = False,
) -> None:
    made = font(size, bold=bold)
    painter.setFont(made)
    painter.setPen(theme.color(ink))
    shown = QFontMetrics(made).elidedText(text, Qt.TextElideMode.ElideRight, box.width())
    painter.drawText(box, Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, shown)


class RecordList(QListView):
    """Tells by `chosen_changed` when other lines are chosen, by `opened` when the person wants
    to look at them: by a click, or Enter. Two may be chosen, to compare them."""

    chosen_changed = Signal()
    opened = Signal()

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._model = RecordListModel()
        self._delegate = RecordDelegate(theme, self)
        self.setModel(self._model)
        self.setItemDelegate(self._delegate)
        self.setUniformItemSizes(True)
        self.setMouseTracking(True)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setAccessibleName(_("Recordings and results"))
        self.setFrameShape(QListView.Shape.NoFrame)
        self.clicked.connect(lambda _index: self.opened.emit())
        self.selectionModel().selectionChanged.connect(lambda *_: self.chosen_changed.emit())

    def set_theme(self, theme: Theme) -> None:
        self._delegate.theme = theme
        self.viewport().update()

    @property
    def shown(self) -> list[RecordEntry]:
        """The lines in the list, from the top."""
        return self._model.entries

    def chosen(self) -> list[RecordEntry]:
        """The lines chosen, from the top."""
        rows = sorted(index.row() for index in self.selectedIndexes())
        return [self.shown[row] for row in rows]

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.opened.emit()
        else:
            super().keyPressEvent(event)

    def show_entries(self, entries: list[RecordEntry]) -> None:
        """Show these lines; those chosen before stay chosen where they are still there."""
        before = [one.key for one in self.chosen()]
        self.selectionModel().blockSignals(True)
        self._model.show(entries)
        self.selectionModel().blockSignals(False)
        self.choose(before)

    def choose(self, keys: Sequence[tuple[bool, int]]) -> None:
        """Choose the lines of these keys and no other."""
        wanted, selection = set(keys), self.selectionModel()
        before = self.chosen()
        selection.blockSignals(True)
        selection.clearSelection()
        for row, entry in enumerate(self.shown):
            if entry.key in wanted:
                index = self._model.index(row)
                selection.select(index, QItemSelectionModel.SelectionFlag.Select)
                selection.setCurrentIndex(index, QItemSelectionModel.SelectionFlag.NoUpdate)
                self.scrollTo(index)
        selection.blockSignals(False)
        self.viewport().update()
        if before or self.chosen():
            self.chosen_changed.emit()
