"""The run under way: big live speed, steady or not, laps still needed, what is shown."""

from __future__ import annotations

import math
from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtGui import QShortcut
from PySide6.QtWidgets import QGridLayout, QLabel, QLineEdit, QPushButton, QVBoxLayout, QWidget

from workbench.errors import WrongInput
from workbench.gui.theme import GRID_PX, TOUCH_PX, font
from workbench.gui.widgets.basics import button, label, row
from workbench.models.bench import Bench
from workbench.models.calibrate_job import CalibrateJob, Reference
from workbench.models.wording import speed_number

BIG_PX = 64
MOST_DOTS = 24
STEADY_WORDS = {None: "○ no signal", True: "● steady", False: "◐ not steady yet"}


class RunPanel(QWidget):
    """One run; `next` is the page's filled button, `arrows` the keys for flips."""

    def __init__(
        self,
        bench: Bench,
        job: CalibrateJob,
        keep: Callable[[], object],
        do_next: Callable[[], object],
    ) -> None:
        super().__init__()
        self._bench, self._job, self._frames = bench, job, 0
        self.arrows: list[QShortcut] = []
        self._which = label("", "text", wrap=False)
        self._speed = QLabel("–")
        self._speed.setStyleSheet(f"font-size: {BIG_PX}px; font-weight: 600;")
        self._speed.setFont(font(BIG_PX, bold=True))
        self._speed.setAccessibleName("Belt speed")
        self._steady, self._lamp = label("", "text", wrap=False), label("", "soft", wrap=False)
        self._laps, self._left = label("", "text"), label("", "soft")
        self._shown, self._reading, self._expanded = QLineEdit(), QLineEdit(), QLineEdit()
        self._names = [label("", wrap=False) for _ in range(3)]
        self._error = label("", "error")
        self.next = QPushButton()
        self.next.setProperty("role", "next")
        self.next.setMinimumHeight(TOUCH_PX + GRID_PX)
        # At the press, not at the release: a mark is a moment.
        self.next.pressed.connect(do_next)
        self._keep = button("Keep run (Enter)", keep)
        self._undo = button("Undo mark", job.undo_mark)
        self._drop = button("Drop run", job.drop_run)
        self._up = button("Flips up ↑", lambda: self.flip(up=True))
        self._down = button("Flips down ↓", lambda: self.flip(up=False))
        # The next press of the space bar is a mark again, not this button once more.
        for one in (self._keep, self._undo, self._drop, self._up, self._down):
            one.clicked.connect(self.next.setFocus)
        for entry in self.fields:
            entry.returnPressed.connect(keep)
            entry.textEdited.connect(lambda: self.complain(""))
        self._lay_out()

    @property
    def fields(self) -> tuple[QLineEdit, QLineEdit, QLineEdit]:
        """What is shown, the instrument's reading, its uncertainty."""
        return self._shown, self._reading, self._expanded

    def typed(self) -> tuple[str, str, str]:
        """What the readout showed, the instrument's reading, its uncertainty."""
        shown, reading, expanded = (entry.text() for entry in self.fields)
        return shown, reading, expanded

    def clear(self) -> None:
        """Ready for the next run."""
        self._shown.clear()
        self._reading.clear()
        self.complain("")

    def complain(self, said: str) -> None:
        """A sentence at the fields."""
        self._error.setText(said)
        self._error.setVisible(bool(said))

    def flip(self, *, up: bool) -> None:
        """The display's last digit changed now."""
        try:
            after = self._job.flip(self._shown.text(), up=up)
        except WrongInput as error:
            self.complain(str(error))
            return
        self._shown.setText(f"{after:g}")
        self.complain("")

    def show_job(self) -> None:
        """Words and buttons that go with the reference and the state of the run."""
        job, units = self._job, self._bench.settings.units
        laps, flips = job.reference is Reference.LAPS, job.reference is Reference.FLIPS
        reading = job.reference is Reference.READING
        left = " as left" if job.new_setting_used else ""
        self._which.setText(f"Run {len(job.series) + 1}{left}")
        words = {
            Reference.LAPS: "Mark lap (space)" if job.running else "Mark first passing (space)",
            Reference.FLIPS: "Stop ramp (space)" if job.running else "Start ramp (space)",
            Reference.READING: "Keep run (space)",
        }[job.reference]
        self.next.setText(words)
        self.next.setAccessibleName(words)
        unit = job.machine.readout.unit if job.machine else ""
        names = (
            "Readout shows, " + unit,
            f"Instrument, {units.speed}",
            f"its U (k = 2), {units.speed}",
        )
        for name, text in zip(self._names, names, strict=True):
            name.setText(text)
        for widget in (self._reading, self._expanded, *self._names[1:]):
            widget.setVisible(reading)
        self._keep.setVisible(laps)
        self._undo.setVisible(laps)
        self._drop.setVisible(not reading)
        for widget in (self._undo, self._drop):
            widget.setEnabled(job.running)
        for widget in (self._up, self._down):
            widget.setVisible(flips)
            widget.setEnabled(job.ramping)
        for arrow in self.arrows:
            arrow.setEnabled(job.ramping)
        self._laps.setText(self._lap_words())
        self._show_left()

    def refresh(self) -> None:
        """The live numbers; every fifth frame, for a number that dances cannot be read."""
        self._frames += 1
        if self._frames % 5 != 1:
            return
        units = self._bench.settings.units
        _say(self._speed, f"{speed_number(self._job.belt_mps(), units)} {units.speed}")
        steady = self._job.steady()
        _say(
            self._steady, {None: "○ no signal", True: "● steady", False: "◐ not steady yet"}[steady]
        )
        seen, shown = self._job.mark_seen(), self._job.shown_now()
        lamp = "" if seen is None else f"Lap pickup: {'■ mark' if seen else '□'}"
        if math.isfinite(shown):
            lamp += f"   The readout sends {shown:.4g}"
        _say(self._lamp, lamp.strip())
        self._show_left()

    def _lap_words(self) -> str:
        timer, job = self._job.timer, self._job
        if job.reference is Reference.FLIPS:
            return f"{len(job.flips)} flips" if job.running else "Change the speed slowly."
        if job.reference is Reference.READING:
            return "Read both at the same time."
        if timer is None or not timer.marks_s:
            return "Press as the mark on the belt passes."
        wanted = timer.laps_wanted or timer.laps
        dots = "●" * timer.laps + "○" * max(0, wanted - timer.laps)
        return f"Laps {dots}" if len(dots) <= MOST_DOTS else f"Laps {timer.laps} of {wanted}"

    def _show_left(self) -> None:
        timer = self._job.timer
        text = ""
        if self._job.reference is Reference.LAPS and timer is not None and timer.laps:
            so_far = f"{timer.time_s:.1f} s, ± {200 * timer.u_rel:.2f} % so far"
            left_s = timer.left_s(self._bench.clock())
            if timer.done:
                text = f"{so_far}. Enough: type what is shown and keep the run."
            elif left_s is None:
                text = f"{so_far}. The lap's length is not known well enough for more."
            else:
                laps = timer.laps_left
                text = (
                    f"{so_far}. {laps} more {'lap' if laps == 1 else 'laps'}, about {left_s:.0f} s."
                )
        _say(self._left, text)

    def _lay_out(self) -> None:
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(GRID_PX)
        column.addWidget(row(self._which, self._steady))
        column.addWidget(self._speed)
        column.addWidget(self._lamp)
        column.addWidget(self._laps)
        column.addWidget(self._left)
        grid = QGridLayout()
        grid.setHorizontalSpacing(2 * GRID_PX)
        for at, (name, entry) in enumerate(zip(self._names, self.fields, strict=True)):
            entry.setMinimumHeight(TOUCH_PX)
            name.setBuddy(entry)
            grid.addWidget(name, at, 0)
            grid.addWidget(entry, at, 1)
        self._shown.setAccessibleName("What the readout shows")
        self._reading.setAccessibleName("The instrument's reading")
        self._expanded.setAccessibleName("The instrument's expanded uncertainty")
        column.addLayout(grid)
        self._error.hide()
        column.addWidget(self._error)
        column.addWidget(row(self._keep, self._undo, self._up, self._down, self._drop))
        column.addWidget(self.next)
        column.addStretch(1)
        self.next.setFocusPolicy(Qt.FocusPolicy.StrongFocus)


def _say(where: QLabel, text: str) -> None:
    if where.text() != text:
        where.setText(text)
