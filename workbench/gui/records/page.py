"""Everything that was kept: recordings and results, looked at, compared, verified, exported."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence, QResizeEvent, QShortcut, QShowEvent
from PySide6.QtWidgets import QVBoxLayout, QWidget

from workbench.gui.parts.basics import Elided, button, label, say
from workbench.gui.parts.files import ask_folder, ask_open, recordings_and_tables
from workbench.gui.parts.layout import PAGE, column_of, line_of
from workbench.gui.parts.turns import Turns
from workbench.gui.parts.work_bar import WorkBar
from workbench.gui.records.actions import RecordActions
from workbench.gui.records.asking import ask_backup, ask_where
from workbench.gui.records.buttons import Action, RecordButtons
from workbench.gui.records.filter import FilterRow
from workbench.gui.records.listing import RecordList
from workbench.gui.records.opener import RecordOpener
from workbench.gui.records.panel import RecordPanel
from workbench.gui.records.season import SeasonView
from workbench.gui.theme import GRID_PX, Theme
from workbench.gui.work_line import WorkLine
from workbench.jobs.passes.answer import PassOptions
from workbench.jobs.season.answer import SeasonOptions
from workbench.jobs.season.compute import compute as season
from workbench.models.bench import Bench
from workbench.models.records import listing
from workbench.models.records.listing import RecordEntry
from workbench.words.language import N_, _, ngettext

EMPTY = N_("Nothing is kept yet. What will be listed here, with all that is computed from it:")
NO_FIT = N_("Nothing here fits the filter.")
NONE_DELETED = N_("Nothing is deleted.")
CHOOSE = N_("Choose a line to look at it; hold Ctrl and choose a second one to compare the two.")
QUESTION = N_("What is kept?")
BACK, TO_SEASON = N_("Back to the list"), N_("Season of a machine")
NARROW_PX = 1000
"""Narrower than this, the list and what is chosen of it take turns."""
CHOOSE_OTHER = N_("Now choose the line to compare with this one: {entry}")


class RecordsPage(QWidget):
    """The list, and what is chosen of it; or a machine over the season."""

    def __init__(self, bench: Bench, theme: Theme) -> None:
        super().__init__()
        self._bench, self._units = bench, bench.settings.units
        self.works = WorkLine(self)
        self._entries: list[RecordEntry] = []
        self._trouble = ""
        self._compare_with: RecordEntry | None = None
        self._choose_next: tuple[bool, int] | None = None
        self._narrow = self._reading = self._stale = self._asked = False
        self.filter = FilterRow(theme, self._show_list)
        self.list = RecordList(theme)
        self.list.chosen_changed.connect(self._chosen)
        self.list.opened.connect(self._read)
        self.do = RecordActions(bench, self.works, self.chosen, self._say, self._reload_and_choose)
        self.panel = RecordPanel(theme, self.do.judge, self.do.describe)
        self.opener = RecordOpener(bench, self.works, self.panel, self._say)
        self.season = SeasonView(theme, self._units, self._load_season, self._open_result)
        self.title, self.count = Elided("title"), label("", "soft", wrap=False)
        self.said = label("", "soft")
        self.hint = label("", "text")
        self.undo = button("Undo delete", self.do.undo_delete)
        self.again = button("Try again", self.reload, is_next=True)
        self.aside = button(TO_SEASON, self._step_aside)
        self.open = button("Open file", self._ask_file)
        self.restore = button(Action.RESTORE, self._ask_restore)
        self.buttons = RecordButtons(self._what_is_done())
        compare = self.panel.compare
        for plot in (self.panel.speeds, *compare.speeds):
            plot.said.connect(self._say)
        for chart in compare.charts:
            chart.said.connect(self._say)
        self._body = Turns()
        self._left, self._right = QWidget(), QWidget()
        self._lay_out()
        self._bind_keys()
        self.destroyed.connect(self.works.wait)
        self.destroyed.connect(bench.recording.subscribe(self._recording_changed))
        self._show_list()

    def _bind_keys(self) -> None:
        for keys, do in (
            (QKeySequence(QKeySequence.StandardKey.Delete), self.buttons.delete.click),
            (QKeySequence(Qt.Key.Key_Escape), self._leave),
        ):
            shortcut = QShortcut(keys, self)
            shortcut.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
            shortcut.activated.connect(do)

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802
        super().showEvent(event)
        self.reload()

    def refresh(self) -> None:
        if self._units is not self._bench.settings.units:
            self._units = self._bench.settings.units
            self.panel.use_units(self._units)
            self.season.use_units(self._units)
        if self._stale:
            self.reload()

    def reload(self) -> None:
        """Read the store's list again."""
        self._stale = False
        read = partial(
            listing.all_entries, self._bench.store, under_way=self._bench.recording.under_way
        )
        self.works.add(read, self._take_list, self._no_list)
        if self._body.seen is self.season:
            self._load_season(self.season.machines.currentText())

    def chosen(self) -> list[RecordEntry]:
        """The lines chosen, in the list's order."""
        return self.list.chosen()

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        narrow = event.size().width() < NARROW_PX
        if narrow is not self._narrow:
            self._narrow = narrow
            self._reading = bool(self.chosen()) and self._asked
            self._show_sides()
            self._choose_newest()

    def heightForWidth(self, width: int) -> int:  # noqa: N802
        """What is needed at least: pictures and lists give way before the page must scroll."""
        column = self.layout()
        return column.minimumHeightForWidth(width) if column is not None else -1

    def _what_is_done(self) -> dict[Action, Callable[[], object]]:
        return {
            Action.BRING_BACK: lambda: self.do.bring_back(self.chosen()),
            Action.JUDGE: self._judge,
            Action.REPORT: self._ask_where,
            Action.NUMBERS: self._ask_where,
            Action.COMPARE: self._start_compare,
            Action.EXPORT: self._ask_where,
            Action.DELETE: self.do.delete,
            Action.MEASURE: self._measure,
            Action.VERIFY: self.do.verify,
            Action.NAME: self.panel.start_naming,
            Action.SEASON: self._season_of_chosen,
            Action.VERIFY_ALL: self.do.verify_all,
            Action.BACK_UP: self._ask_back_up,
            Action.RESTORE: self._ask_restore,
        }

    def _ask_back_up(self) -> None:
        if (folder := ask_folder(self, _("Back up to which folder?"))) is not None:
            self.do.back_up(folder)

    def _ask_restore(self) -> None:
        if (path := ask_backup(self)) is not None:
            self.do.restore(path)

    def _lay_out(self) -> None:
        head = line_of((self.title, 1), self.count, self.open, self.restore, self.aside)
        left = QVBoxLayout(self._left)
        right = QVBoxLayout(self._right)
        for side in (left, right):
            side.setContentsMargins(0, 0, 0, 0)
            side.setSpacing(GRID_PX)
        self.hint.hide()
        left.addWidget(self.hint)
        left.addWidget(self.list, 1)
        left.addWidget(self.undo, 0, Qt.AlignmentFlag.AlignLeft)
        right.addWidget(self.panel, 1)
        right.addWidget(self.said)
        right.addWidget(self.again, 0, Qt.AlignmentFlag.AlignLeft)
        right.addWidget(self.buttons)
        browse = QWidget()
        split = line_of((self._left, 4), (self._right, 7), gap=3 * GRID_PX)
        column_of(self.filter, (split, 1), on=browse)
        self._browse = browse
        self._body.add(browse)
        self._body.add(self.season)
        column_of(head, (self._body, 1), WorkBar(self.works), on=self, edges=PAGE)

    # The two sides

    def _show_sides(self) -> None:
        """Both where there is room; else the list, or what is read of it."""
        nothing = not self.list.shown
        self.list.setVisible(not nothing)
        alone = self._narrow and not nothing
        undo = bool(self.do.deleted) and not self._trouble
        self._left.setVisible(not self._reading if alone else not nothing or undo)
        self._right.setVisible(self._reading or not alone)
        self.filter.setVisible(not self._narrow or not self._reading)
        aside = self._body.seen is self.season or (self._narrow and self._reading)
        say(self.aside, BACK if aside else TO_SEASON)
        self.aside.setVisible(aside or bool(self._entries))
        # What is read alone takes the place of the question.
        alone = self._narrow and self._reading
        chosen = self.chosen()
        self.panel.show_name(shown=not alone)
        self.title.setText(_title(chosen) if alone else _(QUESTION))
        self.count.setVisible(bool(self._entries) and not alone)

    def _read(self) -> None:
        """Look at what is chosen."""
        if self._narrow and not self._reading and self.chosen():
            self._reading = True
            self._show_sides()
            self.opener.open(self.chosen())
            self.aside.setFocus()

    def _step_aside(self) -> None:
        """To the season, or back from wherever the list is not seen."""
        if not self._leave():
            chosen, wanted = self.chosen(), self.filter.wanted().machine
            self._show_season(wanted or (chosen[0].machine if chosen else ""))

    def _leave(self) -> bool:
        """Back to the list; whether it was not there."""
        away = self._body.seen is self.season
        if away:
            self._body.show_view(self._browse)
        elif self._narrow and self._reading:
            self._reading = False
            self._say("")
            away = True
        self._show_sides()
        if away:
            self.list.setFocus()
        return away

    # The list

    def _recording_changed(self) -> None:
        """One began, or was sealed: the list is read again when it is next seen."""
        self._stale = True

    def _take_list(self, entries: list[RecordEntry]) -> None:
        self._entries, self._trouble = entries, ""
        self.filter.offer_machines(sorted({one.machine for one in entries if one.machine}))
        self._show_list()
        if self._choose_next is not None:
            self._choose(self._choose_next)

    def _no_list(self, said: str) -> None:
        self._entries, self._trouble = [], said
        self._show_list()

    def _choose(self, key: tuple[bool, int]) -> None:
        """Choose the line of this key, whatever the filter left out."""
        self._choose_next = None
        if not any(one.key == key for one in self.list.shown):
            self.filter.show_everything()
        self.list.choose([key])
        self.list.setFocus()
        self._read()

    def _show_list(self) -> None:
        wanted = self.filter.wanted()
        shown = listing.filtered(self._entries, wanted)
        self.list.show_entries(shown)
        in_sight = sum(not one.deleted_utc for one in self._entries)
        counted = _("{shown} of {kept}") if not wanted.everything else _("{kept} kept")
        counted = _("{shown} deleted") if wanted.deleted else counted
        self.count.setText(counted.format(shown=len(shown), kept=in_sight))
        if not self.chosen():
            self._show_nothing()
        self._show_buttons()
        self._show_sides()
        self._choose_newest()

    def _choose_newest(self) -> None:
        """Where there is room beside the list, something of it is seen."""
        if self.list.shown and not (self._narrow or self.chosen() or self._choose_next):
            self.list.choose([self.list.shown[0].key])
            self._asked = False

    def _show_nothing(self) -> None:
        self._compare_with, self._reading = None, False
        self.panel.head(None)
        if self._trouble:
            self.panel.show_words(self._trouble)
        elif self.list.shown:
            self.panel.show_words(CHOOSE)
        elif self.filter.wanted().deleted:
            self.panel.show_words(NONE_DELETED)
        elif not self.filter.wanted().everything:
            self.panel.show_words(NO_FIT)
        else:
            self.panel.show_words(EMPTY, kinds=True)

    def _show_buttons(self) -> None:
        self.buttons.show_for(self.chosen(), any_kept=bool(self._entries))
        self.again.setVisible(bool(self._trouble))
        self.restore.setVisible(not self._entries)
        self.undo.setVisible(bool(self.do.deleted) and not self._trouble)
        self.hint.setVisible(self._compare_with is not None)
        if self.do.deleted:
            names = ", ".join(entry.words for entry in self.do.deleted[-1])
            self.undo.setToolTip(_("Brings back {names}").format(names=names))
            self.undo.setAccessibleName(_("Undo delete of {names}").format(names=names))

    # Opening

    def _chosen(self) -> None:
        self._asked = True
        chosen, first = self.chosen(), self._compare_with
        self.opener.cancel()
        if first is not None and len(chosen) == 1 and chosen[0].key != first.key:
            self._compare_with = None
            self.list.choose([first.key, chosen[0].key])
            return
        self._compare_with = None
        self._show_buttons()
        if not chosen:
            self._show_nothing()
        self._show_sides()
        if chosen and (self._reading or not self._narrow):
            self.opener.open(self.chosen())

    def _start_compare(self) -> None:
        self._leave()
        self._compare_with = self.chosen()[0]
        self.hint.setText(_(CHOOSE_OTHER).format(entry=self._compare_with.words))
        self._show_buttons()
        self.list.setFocus()

    # A file from elsewhere

    def _ask_file(self) -> None:
        title = _("Open a recording to keep")
        if paths := ask_open(self, title, recordings_and_tables()):
            self.open_files(paths)

    def open_files(self, paths: Sequence[Path]) -> None:
        """Keep recorded files, each as a recording of the machine in use, and look at the last."""
        self._leave()
        self.do.keep_files(paths)

    # The season

    def _season_of_chosen(self) -> None:
        self._show_season(self.chosen()[0].machine)

    def _show_season(self, machine: str) -> None:
        names = sorted({one.machine for one in self._entries if one.machine and one.is_result})
        name = self.season.offer(names, machine)
        self._body.show_view(self.season)
        self._show_sides()
        self._load_season(name)

    def _load_season(self, machine: str) -> None:
        self.works.add(
            partial(season, SeasonOptions(self._bench.store, machine)),
            self.season.show_season,
            self._say,
        )

    def _open_result(self, number: int) -> None:
        self._leave()
        self._choose((True, number))

    # What is done with what is chosen

    def _say(self, text: str) -> None:
        say(self.said, text)
        self.said.setVisible(bool(text))

    def _judge(self) -> None:
        belt, ground = (box.currentData() or None for box in (self.panel.belt, self.panel.ground))
        self.do.judge(PassOptions(belt, ground))

    def _measure(self) -> None:
        self.do.measure(self.panel.belt.currentData() or "")

    def _reload_and_choose(self, key: tuple[bool, int] | None) -> None:
        self._choose_next = key
        self.reload()

    def _ask_where(self) -> None:
        chosen = self.chosen()
        if chosen and (path := ask_where(self, chosen[0], self.buttons.next.text())) is not None:
            self.do.export_to(path)


def _title(chosen: Sequence[RecordEntry]) -> str:
    """What is read, above it."""
    if len(chosen) == 1:
        return chosen[0].words
    if len(chosen) == 2:
        return _("Two side by side")
    return ngettext("{count} chosen", "{count} chosen", len(chosen)).format(count=len(chosen))
