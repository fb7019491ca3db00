"""A file that was opened: what it holds, and which of its sources it is judged by."""

from __future__ import annotations

from PySide6.QtWidgets import QComboBox, QGridLayout, QWidget

from workbench.gui.parts.basics import label, say
from workbench.gui.parts.layout import column_of
from workbench.gui.theme import GRID_PX, TOUCH_PX
from workbench.models.open_file import ANY, OpenedFile
from workbench.words.language import _


class FileChoice(QWidget):
    """Shows `opened`; `chosen` tells what the person took."""

    def __init__(self) -> None:
        super().__init__()
        self.opened: OpenedFile | None = None
        self._title, self._said = label("", "title"), label("", "text")
        self._grid = QGridLayout()
        self._grid.setSpacing(GRID_PX)
        self._grid.setColumnStretch(2, 1)
        self._boxes: dict[str, QComboBox] = {}
        column_of(self._title, self._said, self._grid, 1, on=self, gap=2 * GRID_PX)

    @property
    def chosen(self) -> dict[str, str]:
        """What is asked -> the name of the source taken for it."""
        return {what: box.currentData() for what, box in self._boxes.items()}

    @property
    def first(self) -> QWidget | None:
        """The first choice, None where nothing is to be chosen."""
        return next(iter(self._boxes.values()), None)

    def show_file(self, opened: OpenedFile) -> None:
        """Offer its sources, the likeliest chosen."""
        self.opened, self._boxes = opened, {}
        while (item := self._grid.takeAt(0)) is not None:
            if (old := item.widget()) is not None:
                old.hide()
                old.deleteLater()
        say(self._title, opened.name)
        with_table = _("{what}, with {table}") if opened.shown[0] else "{what}"
        self.say(with_table.format(what=_(opened.what), table=opened.shown[0]))
        for row, (what, names) in enumerate(opened.choices.items()):
            if not names:
                continue
            box = self._boxes[what] = QComboBox()
            box.setMinimumHeight(TOUCH_PX)
            box.setMinimumContentsLength(16)
            box.setAccessibleName(_(what))
            for name in names:
                box.addItem(name or _(ANY), name)
            word = label(what, "text", wrap=False)
            word.setBuddy(box)
            self._grid.addWidget(word, row, 0)
            self._grid.addWidget(box, row, 1)

    def say(self, sentence: str) -> None:
        """A sentence below the name."""
        say(self._said, sentence)
