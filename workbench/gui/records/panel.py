"""What is chosen on the page Records: its name, its picture, and what the person calls it."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QComboBox,
    QLineEdit,
    QWidget,
)

from workbench.base.units import UnitSystem
from workbench.gui.answers.result import ResultView
from workbench.gui.parts.basics import Elided, button, label, say
from workbench.gui.parts.layout import column_of, line_of, row, scrolled
from workbench.gui.parts.turns import Turns
from workbench.gui.plot.plot import Plot
from workbench.gui.plot.save import tell_simulated
from workbench.gui.records.compare import CompareView
from workbench.gui.records.nothing_kept import NothingKept
from workbench.gui.theme import GRID_PX, TOUCH_PX, Theme, keep_width
from workbench.jobs.passes.answer import PassOptions
from workbench.models.records.listing import RecordEntry
from workbench.models.records.speed_lines import SpeedLines, speeds_picture
from workbench.records.entries import StoredResult
from workbench.words.language import N_, _

AUTOMATIC = N_("the best there is")


class RecordPanel(QWidget):
    """Shows one entry, or two side by side; does no slow work itself.

    `judge_again` is called with a pass's options, `describe` with a title and
    a note.
    """

    def __init__(
        self,
        theme: Theme,
        judge_again: Callable[[PassOptions], object],
        describe: Callable[[str, str], object],
    ) -> None:
        super().__init__()
        self._describe, self._name_shown = describe, True
        self.name, self._facts = Elided("text"), Elided("soft")
        self.words = label("", "text")
        self.words.setAlignment(Qt.AlignmentFlag.AlignTop)
        self._kinds, self._only_words = NothingKept(theme), QWidget()
        column_of(self.words, (self._kinds, 1), 0, on=self._only_words, gap=3 * GRID_PX)
        self.speeds = Plot(theme, _("Speeds of the recording"))
        self.belt, self.ground = QComboBox(), QComboBox()
        self._sources = self._source_row()
        self.result = ResultView(theme, judge_again)
        self.compare = CompareView(theme)
        self._title, self._note = QLineEdit(), QLineEdit()
        self.naming = self._naming_form()
        self._recording = QWidget()
        column_of((self.speeds, 1), self._sources, on=self._recording)
        # A tall result scrolls within its place: what can be done with it stays in sight.
        self._scroll = scrolled(self.result)
        self.views = Turns()
        for view in (self._only_words, self._recording, self._scroll, self.compare):
            self.views.add(view)
        self._lay_out()
        self.head(None)

    def _lay_out(self) -> None:
        column = column_of(self.name, self._facts, self.naming, on=self, gap=GRID_PX // 2)
        column.addSpacing(GRID_PX // 2)
        column.addWidget(self.views, 1)

    def use_units(self, units: UnitSystem) -> None:
        """Show the same in other units."""
        for view in (self.speeds, self.result, self.compare):
            view.use_units(units)

    def head(self, entry: RecordEntry | None) -> None:
        """The name and the facts of one entry above its picture; None for none or two."""
        self.naming.hide()
        self._facts.setVisible(entry is not None)
        self.name.setText(entry.words if entry else "")
        tell_simulated(self.speeds, entry is not None and entry.simulated)
        self.show_name(shown=self._name_shown)
        if entry is None:
            return
        number = _("Recording {number}")
        if entry.is_result:
            number = _("Result {number} of recording {recording}")
        if entry.is_result and entry.recording is None:
            number = _("Result {number}")
        facts = (
            entry.note,
            entry.state_words,
            _("simulated") if entry.simulated else "",
            number.format(number=entry.number, recording=entry.recording),
            entry.when,
            entry.machine,
            entry.end_words,
        )
        self._facts.setText(" · ".join(part for part in facts if part))
        self._title.setText(entry.title)
        self._title.setPlaceholderText(entry.name)
        self._note.setText(entry.note)

    def show_name(self, *, shown: bool) -> None:
        """Whether the name stands here; where it stands elsewhere, it need not."""
        self._name_shown = shown
        self.name.setVisible(shown and bool(self.name.text()))

    def show_words(self, sentence: str, *, kinds: bool = False) -> None:
        """A sentence where no picture is; with the `kinds` of what will be kept."""
        say(self.words, sentence)
        self._kinds.setVisible(kinds)
        self.views.show_view(self._only_words)

    def show_speeds(self, lines: SpeedLines, units: UnitSystem) -> None:
        """A recording's speeds, and what it may be judged from."""
        self.speeds.show_picture(speeds_picture(lines), units, anew=True)
        for box in (self.belt, self.ground):
            box.clear()
            box.addItem(_(AUTOMATIC), "")
            for name in lines.lines:
                box.addItem(name, name)
        self._sources.setVisible(len(lines.lines) > 1)
        self.views.show_view(self._recording)

    def show_result(self, stored: StoredResult, units: UnitSystem) -> None:
        """A result at the picture of its page."""
        self.result.show_result(stored, units)
        self.views.show_view(self._scroll)

    def show_compared(self) -> None:
        """The two that `compare` was given."""
        self.views.show_view(self.compare)

    def start_naming(self) -> None:
        """Let the person give a title and a note."""
        self.naming.show()
        self._title.setFocus()
        self._title.selectAll()

    def name_it(self, title: str, note: str) -> None:
        """As if typed and saved."""
        self._title.setText(title)
        self._note.setText(note)
        self._save_name()

    def _save_name(self) -> None:
        self.naming.hide()
        self._describe(self._title.text(), self._note.text())

    def _naming_form(self) -> QWidget:
        for field, name in ((self._title, _("Name")), (self._note, _("Note"))):
            field.setMinimumHeight(TOUCH_PX)
            field.setAccessibleName(name)
            field.setMaxLength(200)
            field.returnPressed.connect(self._save_name)
        self._note.setPlaceholderText(_("Note: field, weather, what was changed …"))
        form = QWidget()
        column = column_of(on=form)
        for caption, field in ((_("Name"), self._title), (_("Note"), self._note)):
            line = line_of(gap=GRID_PX)
            word = label(caption, wrap=False)
            keep_width(word, 6 * GRID_PX)
            word.setBuddy(field)
            line.addWidget(word)
            line.addWidget(field, 1)
            column.addLayout(line)
        column.addWidget(row(button("Save name", self._save_name), button("Cancel", form.hide)))
        return form

    def _source_row(self) -> QWidget:
        pieces: list[QWidget] = []
        for caption, name, box in (
            (_("Belt from"), _("Belt from, for judging as a pass"), self.belt),
            (_("ground from"), _("Ground from, for judging as a pass"), self.ground),
        ):
            box.setMinimumHeight(TOUCH_PX)
            box.setMinimumContentsLength(10)
            box.setAccessibleName(name)
            word = label(caption, wrap=False)
            word.setBuddy(box)
            pieces += [word, box]
        return row(*pieces)
