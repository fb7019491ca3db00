"""The machine: its file as a form, the drive line drawn from it, what follows from it."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtGui import QHideEvent, QResizeEvent
from PySide6.QtWidgets import (
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QScrollArea,
    QSizePolicy,
    QWidget,
)

from workbench.base.files import write_file
from workbench.base.machine import Machine, load_machine
from workbench.gui.machine.card import CardColumns, MachineCard
from workbench.gui.machine.drive_line import DriveLineDrawing
from workbench.gui.parts.basics import button, label, say
from workbench.gui.parts.files import ask_open, ask_save
from workbench.gui.parts.layout import TALL_PAGE, column_of, line_of, row, scrolled
from workbench.gui.parts.work_bar import WorkBar
from workbench.gui.theme import GRID_PX, SMALL_PX, TEXT_PX, TITLE_PX, Theme, grown
from workbench.gui.work_line import WorkLine
from workbench.models.bench import Bench
from workbench.models.machine.drive_parts import parts
from workbench.models.machine.fields import SECTIONS
from workbench.models.machine.figures import figures, standing
from workbench.models.machine.form import MachineForm
from workbench.models.signals.tooth_count import ToothCount, count_teeth
from workbench.words.language import N_, _

TEETH = "drive.target_teeth"
LEFT_CARDS = 4
"""Cards in the first column where there are two."""
ROOMY_PX, TIGHT_PX = 1400, 1000
WIDEST_EM = 10.6
"""Width of the longest figure, '0.53333 ± 0.00063', in sizes of its type."""
USE, SAVE, DONE = N_("Use this machine"), N_("Save machine file"), N_("In use and saved")
WRONG, NEEDED = N_("Show wrong entry"), N_("Show needed entry")
FILES = N_("Machine file (*.toml)")


class MachinePage(QWidget):
    """What is known of the machine, and what follows from it."""

    def __init__(self, bench: Bench, theme: Theme) -> None:
        super().__init__()
        self._bench, self._teeth = bench, ToothCount(bench)
        self._form = MachineForm(bench.settings.units, bench.machine, bench.machine_path)
        self._form.remember(bench.settings.now.machine_draft)
        self._followed: Machine | None = bench.machine
        self._work, self._counting = WorkLine(self), WorkLine(self)
        self._drawing = DriveLineDrawing(theme)
        self._numbers: list[tuple[QLabel, QLabel]] = []
        self._signal = label("", "soft")
        self._use_teeth = button("", self._take_teeth)
        self._signal.setMinimumWidth(10 * GRID_PX)  # its words wrap before the button gives way
        self._standing, self._said = label(""), label("", "soft")
        self._in_use = button("Show machine in use", self._show_in_use)
        self._back = button("Bring back draft", self._form.bring_back)
        self._next = button(USE, self._do_next, is_next=True)
        self._said.hide()
        self._cards = self._make_cards()
        self._area = _scrolling(CardColumns(self._cards, LEFT_CARDS))
        self._lay_out()
        self._form.subscribe(self._show_form)
        self._show_form()

    def refresh(self) -> None:
        if self._form.units is not self._bench.settings.units:
            self._form.use_units(self._bench.settings.units)
        if self._bench.machine is not self._followed:
            self._followed = self._bench.machine
            self._form.follow(self._bench.machine, self._bench.machine_path)
        self._count_teeth()
        self._show_standing()

    def hideEvent(self, event: QHideEvent) -> None:  # noqa: N802
        draft = self._form.to_remember()
        if draft != self._bench.settings.now.machine_draft:
            self._bench.settings.change(machine_draft=draft)
        super().hideEvent(event)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        roomy, tight = self.width() >= ROOMY_PX, self.width() < TIGHT_PX
        for number, words in self._numbers:
            size = grown(TITLE_PX if roomy else SMALL_PX if tight else TEXT_PX)
            number.setStyleSheet(f"font-size: {size}px; font-weight: 600;")
            words.setStyleSheet(f"font-size: {grown(TEXT_PX if roomy else SMALL_PX)}px;")
            # One width, so that nothing moves as the figures come and go.
            number.setMinimumWidth(round(WIDEST_EM * size))

    def _make_cards(self) -> list[MachineCard]:
        beside = row(self._signal, self._use_teeth, stretch=False)
        self._signal.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        return [
            MachineCard(heading, names, self._type, {TEETH: beside})
            for heading, names in SECTIONS.items()
        ]

    def _lay_out(self) -> None:
        column = column_of(label("What turns the belt?", "title"), on=self, edges=TALL_PAGE)
        body = line_of((self._area, 6), gap=3 * GRID_PX)
        picture = column_of((self._drawing, 1), self._figure_table())
        body.addLayout(picture, 5)
        column.addLayout(body, 1)
        column.addLayout(self._standing_line())
        column.addWidget(WorkBar(self._work))
        files = row(
            button("New machine", self._new),
            button("Open machine file", self._ask_open),
            button("Duplicate", self._duplicate),
            button("Save as", self._ask_save),
        )
        column.addWidget(row(files, self._next, stretch=False))

    def _standing_line(self) -> QHBoxLayout:
        words = column_of(self._standing, self._said, gap=0)
        return line_of((words, 1), self._in_use, self._back)

    def _figure_table(self) -> QWidget:
        table = QWidget()
        grid = QGridLayout(table)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(GRID_PX)
        grid.setVerticalSpacing(4)
        grid.setColumnStretch(1, 1)
        for at, _figure in enumerate(figures(None, self._form.units)):
            number, words = label("", wrap=False), label("", "soft", wrap=False)
            number.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignBottom)
            grid.addWidget(number, at, 0)
            grid.addWidget(words, at, 1, Qt.AlignmentFlag.AlignBottom)
            self._numbers.append((number, words))
        return table

    def _show_form(self) -> None:
        for card in self._cards:
            card.show_form(self._form)
        self._drawing.show_parts(parts(self._form), self._form.units)
        rows = figures(self._form.machine, self._form.units)
        for (number, words), figure in zip(self._numbers, rows, strict=True):
            say(number, figure.number)
            say(words, f"{figure.unit} {figure.words}")
        self._show_standing()

    def _show_standing(self) -> None:
        form, machine = self._form, self._bench.machine
        say(self._standing, standing(form, machine))
        in_use = form.machine is not None and form.machine == machine
        self._in_use.setVisible(machine is not None and not in_use)
        self._back.setVisible(form.can_bring_back)
        if form.machine is None:
            say(self._next, WRONG if form.errors else NEEDED)
        else:
            say(self._next, (DONE if form.saved else SAVE) if in_use else USE)
        self._next.setEnabled(not (in_use and form.saved))

    def _count_teeth(self) -> None:
        """Look at new pulses in the background; say what the last look found."""
        due = None if self._counting.busy else self._teeth.due()
        if due is not None:
            self._counting.add(lambda: count_teeth(due), self._teeth.found, self._say)
        typed = self._form.value(TEETH)
        teeth = typed if isinstance(typed, int) else None
        say(self._signal, self._teeth.sentence(teeth))
        offer = self._teeth.to_use(teeth)
        self._use_teeth.setVisible(offer is not None)
        say(self._use_teeth, f"Use {offer}")

    def _take_teeth(self) -> None:
        typed = self._form.value(TEETH)
        offer = self._teeth.to_use(typed if isinstance(typed, int) else None)
        if offer is not None:
            self._form.type(TEETH, str(offer))

    def _do_next(self) -> None:
        machine, path = self._form.machine, self._form.path
        if machine is None:
            self._show_lacking()
        elif machine != self._bench.machine:
            self._followed = machine
            self._bench.use_machine(machine, path if self._form.saved else None)
            self._remember_file()
        elif path is not None:
            self.save_file(path)
        else:
            self._ask_save()

    def _show_lacking(self) -> None:
        """Bring the first entry into sight that keeps the form from being a machine."""
        lacking = self._form.errors or self._form.needed
        for key, entry in ((k, e) for card in self._cards for k, e in card.entries.items()):
            if key in lacking:
                entry.setFocus()
                self._area.ensureWidgetVisible(entry, 0, 8 * GRID_PX)
                return

    def _remember_file(self) -> None:
        """The machine in use lies in a file: the next start opens it."""
        form = self._form
        if form.saved and form.machine is not None and form.machine == self._bench.machine:
            self._bench.machine_path = form.path
            self._bench.settings.change(machine_file=str(form.path))

    def _show_in_use(self) -> None:
        if self._bench.machine is not None:
            self._form.show(self._bench.machine, self._bench.machine_path)

    def _new(self) -> None:
        self._form.clear()
        self._name_it(_("A new machine: fill in what is marked as needed."))

    def _duplicate(self) -> None:
        self._form.duplicate()
        self._name_it(_("A copy, in no file yet: give it a name."))

    def _name_it(self, sentence: str) -> None:
        self._say(sentence)
        name = self._cards[0].entries["name"]
        name.setFocus()
        if isinstance(name, QLineEdit):
            name.selectAll()

    def _type(self, key: str, text: str) -> None:
        self._say("")
        self._form.type(key, text)

    def _say(self, sentence: str) -> None:
        say(self._said, sentence)
        self._said.setVisible(bool(sentence))

    def _ask_open(self) -> None:
        for path in ask_open(self, _("Open a machine file"), FILES, several=False):
            self.open_file(path)

    def open_file(self, path: Path) -> None:
        """Show a machine file in the form; a wrong one says what is wrong with it."""

        def shown(machine: Machine) -> None:
            self._form.show(machine, path)
            self._remember_file()
            self._say(_("{name} is open.").format(name=path.name))

        self._work.add(lambda: load_machine(path), shown, self._say)

    def _ask_save(self) -> None:
        path = ask_save(self, _("Save the machine"), self._file_name(), FILES)
        if path and path != _whole(path) and _whole(path).exists():
            # The dialog asked about the name as typed, not about the one with its ending.
            self._say(
                _("{name} exists already: choose it to write over it.").format(
                    name=_whole(path).name
                )
            )
        elif path:
            self.save_file(path)

    def _file_name(self) -> str:
        if self._form.path is not None:
            return str(self._form.path)
        name = "".join(c if c.isalnum() or c in " -_" else " " for c in self._form.text("name"))
        return f"{' '.join(name.split()) or 'machine'}.toml"

    def save_file(self, path: Path) -> None:
        """Write the form to a machine file; the next start opens it if it is in use."""
        path = _whole(path)
        if self._form.machine is None:
            self._say(_("The machine is not complete yet, so it was not saved."))
            return
        text, content = self._form.to_toml(), self._form.content()

        def saved(_nothing: None) -> None:
            self._form.was_saved(path, content)
            self._remember_file()
            self._say(_("Saved as {name}.").format(name=path.name))

        self._work.add(lambda: write_file(path, text), saved, self._say)


def _scrolling(inside: QWidget) -> QScrollArea:
    area = scrolled(inside, in_turn=False)
    area.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
    return area


def _whole(path: Path) -> Path:
    """The path with the ending of a machine file."""
    return path if path.suffix == ".toml" else path.with_name(f"{path.name}.toml")
