"""For whom, by whom, under which conditions: on the certificate and on a page of their own."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QGridLayout, QLineEdit, QWidget

from workbench.gui.parts.basics import button, label, say
from workbench.gui.parts.layout import TALL_PAGE, column_of, line_of
from workbench.gui.theme import GRID_PX, TOUCH_PX
from workbench.jobs.particulars import Particulars
from workbench.models.bench import Bench
from workbench.words.language import N_, _

BETWEEN = "; "
FIELDS = {
    "customer": N_("Customer"),
    "field": N_("Field"),
    "job": N_("Job"),
    "by": N_("Who works"),
    "conditions": N_("Conditions (place, weather, oil)"),
    "references": N_("Tape, watch or instrument used"),
}
REMARKS = {"remarks": N_("Remarks")}
"""They speak of one answer, not of the next."""


class ParticularsForm(QWidget):
    """Entries with their names above; `typed` is called once one of them was changed."""

    def __init__(
        self, names: Mapping[str, str], typed: Callable[[], object], columns: int = 1
    ) -> None:
        super().__init__()
        self.entries = {name: QLineEdit() for name in names}
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(2 * GRID_PX)
        grid.setVerticalSpacing(GRID_PX // 2)
        for at, (name, words) in enumerate(names.items()):
            entry, caption = self.entries[name], label(words, "soft", wrap=False)
            entry.setMinimumHeight(TOUCH_PX)
            entry.setAccessibleName(_(words))
            entry.editingFinished.connect(typed)
            caption.setBuddy(entry)
            grid.addWidget(caption, 2 * (at // columns), at % columns)
            grid.addWidget(entry, 2 * (at // columns) + 1, at % columns)

    def show_said(self, said: Particulars) -> None:
        """Fill the entries."""
        for name, entry in self.entries.items():
            value = getattr(said, name)
            entry.setText(BETWEEN.join(value) if isinstance(value, tuple) else value)

    @property
    def said(self) -> Particulars:
        """What stands in the entries; references are told apart by semicolons."""
        typed = {name: entry.text().strip() for name, entry in self.entries.items()}
        used = tuple(filter(None, map(str.strip, typed.pop("references").split(BETWEEN.strip()))))
        return Particulars(**typed, references=used)


class ForWhomPage(QWidget):
    """What the next answers of the machine in use are kept with; each entry holds at once."""

    def __init__(self, bench: Bench, closed: Callable[[], object]) -> None:
        super().__init__()
        self._bench = bench
        self.form = ParticularsForm(FIELDS, self._typed, columns=2)
        self._told = label("", "text")
        column = column_of(
            label("For whom and by whom?", "title", wrap=False),
            self._told,
            self.form,
            on=self,
            gap=2 * GRID_PX,
            edges=TALL_PAGE,
        )
        column.addLayout(line_of(1, button("Done", closed, is_next=True)))
        column.addStretch(1)
        QShortcut(QKeySequence("Escape"), self, closed)

    def open(self) -> None:
        """Show what holds for the machine in use, the first entry in hand."""
        machine = self._bench.machine
        told = _(
            "Kept with every answer of {machine} from now on and printed on its reports, until it "
            "is changed here. The conditions hold for today."
        )
        say(self._told, told.format(machine=machine.name if machine else _("the bench")))
        self.form.show_said(self._bench.for_whom.of(machine))
        self.form.entries["customer"].setFocus()

    def _typed(self) -> None:
        self._bench.for_whom.say(self._bench.machine, self.form.said)
