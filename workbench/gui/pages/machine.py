"""The machine: its file as a form, the drive line drawn from it, what follows from it."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QComboBox,
    QFileDialog,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from workbench.errors import BenchError
from workbench.gui.theme import GRID_PX, Theme
from workbench.gui.widgets.basics import button, card, label, row
from workbench.gui.widgets.drive_line import DriveLineDrawing
from workbench.machine import load_machine
from workbench.models.bench import Bench
from workbench.models.machine_form import MachineForm
from workbench.units import SPEED_UNITS_MPS

FIELDS: dict[str, dict[str, str]] = {
    "Machine": {"name": "Name"},
    "Drive line": {
        "drive.target_teeth": "Teeth of the target wheel",
        "drive.turns_per_target_turn": "Shaft turns a target wheel turn",
        "drive.kind": "Belt driven by",
        "drive.sprocket_teeth": "Sprocket teeth",
        "drive.rod_pitch_m": "Rod pitch",
        "drive.roll_diameter_m": "Roll diameter",
        "drive.pitch_line_offset_m": "Half the belt's thickness",
    },
    "Belt": {"belt.lap_length_m": "Length of one lap", "belt.u_lap_length_m": "Known to ±"},
    "Readout": {
        "readout.unit": "Shows",
        "readout.step": "Smallest step shown",
        "readout.setting": "Setting",
        "readout.setting_unit": "Unit of the setting",
        "readout.setting_step": "Smallest step of the setting",
        "readout.reads": "A larger setting reads",
    },
    "Pickup": {
        "pickup.kind": "Kind",
        "pickup.gap_best_m": "Best gap",
        "pickup.gap_max_m": "Largest gap",
    },
    "Limits": {
        "limits.ratio_low": "Lowest ratio belt ÷ ground",
        "limits.ratio_high": "Highest ratio belt ÷ ground",
        "limits.speed_low_mps": "Lowest working speed",
        "limits.speed_high_mps": "Highest working speed",
        "limits.readout_error": "Largest error of the readout",
    },
}
CHOICES: dict[str, dict[str, str]] = {
    "drive.kind": {"sprocket": "sprocket", "roll": "roll"},
    "readout.unit": {unit: unit for unit in SPEED_UNITS_MPS},
    "readout.reads": {"direct": "higher", "inverse": "lower"},
    "pickup.kind": {
        "variable-reluctance": "variable reluctance",
        "hall": "Hall",
        "inductive": "inductive",
    },
}
NAME_PX = 18 * GRID_PX
"""One width for the names of all entries, so that the entries stand in line."""

ONLY_FOR = {
    "drive.sprocket_teeth": "sprocket",
    "drive.rod_pitch_m": "sprocket",
    "drive.roll_diameter_m": "roll",
    "drive.pitch_line_offset_m": "roll",
}


class MachinePage(QWidget):
    """What is known of the machine, and what follows from it."""

    def __init__(self, bench: Bench, theme: Theme) -> None:
        super().__init__()
        self._bench = bench
        self._form = MachineForm(bench.settings.units, bench.machine)
        self._shown = bench.machine
        self._entries: dict[str, QLineEdit | QComboBox] = {}
        self._names: dict[str, QLabel] = {}
        self._units: dict[str, QLabel] = {}
        self._errors: dict[str, QLabel] = {}
        self._drawing = DriveLineDrawing(theme)
        self._follows = label("", "text")
        self._teeth = label("", "soft")
        self._said = label("", "soft")
        self._next = button("Use this machine", self._use, is_next=True)
        whole = QHBoxLayout(self)
        whole.setContentsMargins(3 * GRID_PX, 2 * GRID_PX, 3 * GRID_PX, 2 * GRID_PX)
        whole.setSpacing(3 * GRID_PX)
        whole.addWidget(self._form_side(), 5)
        whole.addLayout(self._picture_side(), 4)
        self._unsubscribe = self._form.subscribe(self._form_changed)
        self._fill()

    def set_theme(self, theme: Theme) -> None:
        self._drawing.set_theme(theme)

    def refresh(self) -> None:
        if self._form.units is not self._bench.settings.units:
            self._form.use_units(self._bench.settings.units)
            self._fill()
        if self._bench.machine is not self._shown:
            self._shown = self._bench.machine
            if self._shown is not None:
                self._form.show(self._shown)
                self._fill()

    def _form_side(self) -> QScrollArea:
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.setContentsMargins(0, 0, 2 * GRID_PX, 0)
        column.setSpacing(2 * GRID_PX)
        for section, fields in FIELDS.items():
            grid_holder = QWidget()
            grid = QGridLayout(grid_holder)
            grid.setContentsMargins(0, 0, 0, 0)
            grid.setHorizontalSpacing(GRID_PX)
            grid.setVerticalSpacing(4)
            grid.setColumnStretch(1, 1)
            grid.setColumnMinimumWidth(0, NAME_PX)
            grid.setColumnMinimumWidth(2, 4 * GRID_PX)
            for index, (key, words) in enumerate(fields.items()):
                self._add_field(grid, 2 * index, key, words)
            column.addWidget(card(label(section, "text"), grid_holder))
        area = QScrollArea()
        area.setWidgetResizable(True)
        area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        area.setWidget(inside)
        return area

    def _add_field(self, grid: QGridLayout, at: int, key: str, words: str) -> None:
        name, unit, error = label(words), label("", "soft", wrap=False), label("", "error")
        entry: QLineEdit | QComboBox
        if key in CHOICES:
            entry = QComboBox()
            for value, shown in {"": "not given", **CHOICES[key]}.items():
                entry.addItem(shown, value)
            entry.activated.connect(
                lambda _at, key=key, box=entry: self._form.type(key, str(box.currentData()))
            )
        else:
            entry = QLineEdit()
            entry.textEdited.connect(lambda text, key=key: self._form.type(key, text))
        name.setFixedWidth(NAME_PX)
        entry.setAccessibleName(words)
        name.setBuddy(entry)
        error.hide()
        grid.addWidget(name, at, 0)
        grid.addWidget(entry, at, 1)
        grid.addWidget(unit, at, 2)
        grid.addWidget(error, at + 1, 1, 1, 2)
        self._entries[key], self._names[key] = entry, name
        self._units[key], self._errors[key] = unit, error

    def _picture_side(self) -> QVBoxLayout:
        column = QVBoxLayout()
        column.setSpacing(2 * GRID_PX)
        column.addWidget(label("What turns the belt?", "title"))
        column.addWidget(self._drawing, 1)
        column.addWidget(self._follows)
        column.addWidget(self._teeth)
        column.addWidget(self._said)
        files = row(button("Open file", self._open), button("Save as", self._save_as))
        column.addWidget(files)
        column.addWidget(self._next)
        return column

    def _fill(self) -> None:
        """Write the form's entries into the fields."""
        for key, entry in self._entries.items():
            text = self._form.entries.get(key, "")
            if isinstance(entry, QComboBox):
                entry.setCurrentIndex(max(0, entry.findData(text)))
            elif entry.text() != text:
                entry.setText(text)
                entry.setCursorPosition(0)
        self._form_changed()

    def _form_changed(self) -> None:
        kind = self._form.entries.get("drive.kind", "")
        for key, error in self._errors.items():
            said = self._form.errors.get(key, "")
            error.setText(said)
            seen = ONLY_FOR.get(key, kind) == kind
            for widget in (self._entries[key], self._names[key], self._units[key]):
                widget.setVisible(seen)
            error.setVisible(bool(said) and seen)
            self._units[key].setText(self._form.unit(key))
        self._drawing.show_machine(self._form.machine, self._form.units)
        self._follows.setText(self._figures())
        self._next.setEnabled(self._form.machine is not None)

    def _figures(self) -> str:
        derived, units = self._form.derived(), self._form.units
        if self._form.machine is None:
            left = len(self._form.errors)
            return f"{left} {'entry needs' if left == 1 else 'entries need'} a look."
        per_pulse = derived.metre_per_pulse_m / units.gap_m
        u = 2 * derived.u_metre_per_pulse_m / units.gap_m
        return (
            f"{per_pulse:.4f} ± {u:.4f} {units.gap} of belt a pulse\n"
            f"{derived.pulses_a_course:.1f} pulses in 100 {units.length}\n"
            f"{derived.pulse_rate_hz:.1f} pulses a second at working speed\n"
            f"One step of the readout is {100 * derived.step_rel:.1f} % there"
        )

    def _use(self) -> None:
        machine = self._form.machine
        if machine is not None:
            self._shown = machine
            self._bench.use_machine(machine)
            self._said.setText("In use. Save it to keep it for the next start.")

    def _open(self) -> None:
        name, _ = QFileDialog.getOpenFileName(self, "Open a machine file", "", "Machine (*.toml)")
        if name:
            self.open_file(Path(name))

    def open_file(self, path: Path) -> None:
        """Show a machine file in the form; a wrong one says what is wrong with it."""
        try:
            self._form.show(load_machine(path))
        except BenchError as error:
            self._said.setText(str(error))
            return
        self._fill()
        self._said.setText(f"{path.name} is open.")

    def _save_as(self) -> None:
        name, _ = QFileDialog.getSaveFileName(self, "Save the machine", "", "Machine (*.toml)")
        if name:
            self.save_file(Path(name).with_suffix(".toml"))

    def save_file(self, path: Path) -> None:
        """Write the form to a machine file and remember it."""
        try:
            self._form.save(path)
            self._bench.open_machine(path)
        except BenchError as error:
            self._said.setText(str(error))
            return
        self._shown = self._bench.machine
        self._said.setText(f"Saved as {path.name}.")
