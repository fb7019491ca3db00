"""The recordings of the store, to choose one that is judged as a pass."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtCore import QSize, Qt
from PySide6.QtWidgets import QListWidget, QListWidgetItem, QWidget

from workbench.gui.parts.basics import label, say
from workbench.gui.parts.layout import column_of
from workbench.gui.theme import TOUCH_PX
from workbench.models.records.listing import RecordEntry
from workbench.words.language import _


class PassPast(QWidget):
    """A list, the newest first; `choose` is called where one is double clicked or entered."""

    def __init__(self, choose: Callable[[], object]) -> None:
        super().__init__()
        self._list = QListWidget()
        self._list.setAccessibleName(_("Recordings, the newest first"))
        self._list.itemActivated.connect(lambda _item: choose())
        self._said = label("", "text")
        column_of(
            label(_("Which recording is to be judged as a pass?"), "title"),
            self._said,
            (self._list, 1),
            on=self,
        )
        self.say("")

    @property
    def chosen(self) -> int | None:
        """The recording's number, None where none is chosen."""
        item = self._list.currentItem()
        return None if item is None else int(item.data(Qt.ItemDataRole.UserRole))

    def show_recordings(self, found: Sequence[RecordEntry]) -> None:
        self._list.clear()
        for one in found:
            item = QListWidgetItem(_words(one))
            item.setData(Qt.ItemDataRole.UserRole, one.number)
            item.setSizeHint(QSize(0, TOUCH_PX))
            self._list.addItem(item)
        self._list.setVisible(bool(found))
        empty = _(
            "The store holds no recording yet. Each pass is recorded; other recordings are made on "
            "the Signals page."
        )
        self.say("" if found else empty)
        if found:
            self._list.setCurrentRow(0)
            self._list.setFocus()

    def say(self, sentence: str) -> None:
        """A sentence above the list; '' for none."""
        say(self._said, sentence)
        self._said.setVisible(bool(sentence))


def _words(one: RecordEntry) -> str:
    parts = [f"{one.number}", one.name, one.when, one.machine or _("no machine")]
    return "   ·   ".join([*parts, _("simulated")] if one.simulated else parts)
