"""The run under way: big live speed, steady or not, laps still needed, what is shown."""

from __future__ import annotations

import math
from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent, QShortcut
from PySide6.QtWidgets import (
    QGridLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QSizePolicy,
    QWidget,
)

from workbench.base.errors import WrongInput
from workbench.base.numbers import plain
from workbench.gui.calibrate.lap_dots import LapDots
from workbench.gui.parts.basics import button, label, say
from workbench.gui.parts.layout import column_of, line_of, row
from workbench.gui.plot.plot import Plot
from workbench.gui.plot.save import tell_simulated
from workbench.gui.theme import GRID_PX, TOUCH_PX, Theme, fitted_font
from workbench.models.bench import Bench
from workbench.models.calibrate import words
from workbench.models.calibrate.job import CalibrateJob
from workbench.models.calibrate.runs import Reference
from workbench.models.pace import doubt_words
from workbench.words.language import N_, _
from workbench.words.pictures.calibrate import steadiness_picture
from workbench.words.words import Words

BIG_PX, BIGGEST_PX = 56, 128
TRACE_FROM_PX = 470
"""Height of the panel from which there is room for the last minute's speed."""

STEADY_WORDS = {
    None: N_("○ no signal"),
    True: N_("● steady"),
    False: N_("◐ not steady yet"),
}


class RunPanel(QWidget):
    """One run; `next` is the one key's button, `keep` keeps the run, `arrows` are the keys
    for flips."""

    def __init__(
        self,
        bench: Bench,
        job: CalibrateJob,
        theme: Theme,
        keep: Callable[[], object],
        do_next: Callable[[], object],
    ) -> None:
        super().__init__()
        self._bench, self._job, self._frames = bench, job, 0
        self.arrows: list[QShortcut] = []
        self._which, self._steady = label("", "text", wrap=False), label("", "text", wrap=False)
        self._speed, self._unit = QLabel("–"), label("", "soft", wrap=False)
        self._speed.setAccessibleName(_("Belt speed"))
        empty = _("The belt's speed of the last minute is drawn here.")
        self._trace = Plot(theme, _("Belt speed of the last minute"), empty)
        self._trace.setMinimumHeight(0)  # it takes what the entries leave
        keeps_place = QSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
        keeps_place.setRetainSizeWhenHidden(True)  # what is below it must not jump
        self._trace.setSizePolicy(keeps_place)
        self._dots = LapDots(theme)
        self._by_whom = label("", "soft", wrap=False)
        self._how, self._so_far = label("", "soft"), label("")
        self._shown, self._reading, self._expanded = QLineEdit(), QLineEdit(), QLineEdit()
        self._names = [label("", wrap=False) for _at in range(3)]
        self._error = label("", "error")
        self.next = QPushButton()
        self.next.setMinimumHeight(TOUCH_PX + GRID_PX)
        self.next.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        # At the press, not at the release: a mark is a moment.
        self.next.pressed.connect(do_next)
        self.keep = button("Keep run (Enter)", keep)
        self.keep.setMinimumHeight(TOUCH_PX + GRID_PX)
        self._take = button("", self._take_shown)
        self._take.setToolTip(_("The readout is an input itself, and sends this"))
        self._up = button("Flips up ↑", lambda: self.flip(up=True))
        self._down = button("Flips down ↓", lambda: self.flip(up=False))
        # The next press of the space bar is a mark again, not this button once more.
        for one in (self.keep, self._up, self._down):
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
            self.complain(Words().say(error))
            self._shown.setFocus()
            return
        self._shown.setText(f"{after:g}")
        self.complain("")

    def show_job(self) -> None:
        """Words and buttons that go with the reference and the state of the run."""
        job, units = self._job, self._bench.settings.units
        reference = job.state.reference
        laps, flips = reference is Reference.LAPS, reference is Reference.FLIPS
        reading = reference is Reference.READING
        which = _("Run {number}, as left") if job.state.setting_used else _("Run {number}")
        say(self._which, _("Ramp") if flips else which.format(number=len(job.series) + 1))
        unit = job.machine.readout.unit if job.machine else ""
        names = (
            _("Readout shows, {unit}").format(unit=unit),
            _("Instrument, {unit}").format(unit=units.speed),
            "± U (k = 2)",
        )
        for name, text in zip(self._names, names, strict=True):
            say(name, text)
        for widget in (self._reading, self._expanded, *self._names[1:]):
            widget.setVisible(reading)
        self._dots.setVisible(laps)
        say(self._how, words.how_words(job))
        self._how.setHidden(laps or job.ramping)
        self.next.setEnabled(job.machine is not None and not job.state.counting)
        for widget in (self._up, self._down):
            widget.setVisible(flips)
            widget.setEnabled(job.ramping)
        for arrow in self.arrows:
            arrow.setEnabled(job.ramping)
        self._show_live()

    def refresh(self) -> None:
        """The live numbers; every fifth frame, for a number that dances cannot be read."""
        self._frames += 1
        if self._frames % 5 == 1:
            self._show_live()

    def _show_live(self) -> None:
        job, units = self._job, self._bench.settings.units
        speed = Words(units).quantity("speed")
        say(self._speed, plain(speed.per_si * job.belt_mps(), speed.decimals))
        say(self._unit, speed.unit)
        doubt = job.doubt()
        say(self._steady, STEADY_WORDS[job.steady()] if doubt is None else doubt_words(doubt))
        if self._trace.isVisible():
            tell_simulated(self._trace, self._bench.live.simulated)
            self._trace.show_picture(steadiness_picture(*job.belt_history()), units)
        say(self.next, words.mark_words(job))
        say(self._by_whom, words.counter_words(job))
        laps = job.state.reference is Reference.LAPS
        reading = job.state.reference is Reference.READING
        self.keep.setVisible(reading or (laps and len(job.state.marks_s) > 1))
        enough = job.state.counting and words.next_step(job) is words.NextStep.KEEP_RUN
        self.next.setVisible(not (reading or enough))
        if laps:
            done = max(0, len(job.state.marks_s) - 1)
            self._dots.show_laps(done, words.laps_needed(job) or 0)
            say(self._so_far, words.lap_words(job))
        elif job.state.reference is Reference.FLIPS:
            say(self._so_far, words.flip_words(job, self._shown.text()))
        else:
            say(self._so_far, "")
        self._so_far.setHidden(reading)
        shown = job.shown_now()
        self._take.setVisible(math.isfinite(shown))
        if math.isfinite(shown):
            say(self._take, _("Take {shown:.4g}").format(shown=shown))

    def _take_shown(self) -> None:
        shown = self._job.shown_now()
        if math.isfinite(shown):
            self._shown.setText(f"{shown:.4g}")
            self._shown.setFocus()
            self.complain("")

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        self._trace.setVisible(self.height() >= TRACE_FROM_PX)
        size = min(max(BIG_PX, round(0.17 * self.height())), BIGGEST_PX)
        if self._speed.font().pixelSize() != size:
            self._speed.setStyleSheet(f"font-size: {size}px; font-weight: 600;")
            self._speed.setFont(fitted_font(size, bold=True))
        super().resizeEvent(event)

    def _lay_out(self) -> None:
        column = column_of(row(self._which, self._steady, self._by_whom), on=self)
        self._unit.setProperty("role", "title")
        column.addWidget(row(self._speed, self._unit))
        column.addWidget(self._trace, 1)
        column.addWidget(self._dots)
        column.addWidget(self._so_far)
        column.addWidget(self._how)
        column.addLayout(self._grid())
        self._error.hide()
        column.addWidget(self._error)
        column.addWidget(row(self.next, self.keep, stretch=False))
        ways = line_of(self._up, self._down)
        column.addLayout(ways)
        column.addStretch(0)

    def _grid(self) -> QGridLayout:
        grid = QGridLayout()
        grid.setHorizontalSpacing(GRID_PX)
        grid.setColumnStretch(1, 1)
        grid.setColumnStretch(3, 1)
        # The instrument's reading and its uncertainty are one quantity, in one row.
        places = ((0, 0), (1, 0), (1, 2))
        for place, name, entry in zip(places, self._names, self.fields, strict=True):
            entry.setMinimumHeight(TOUCH_PX)
            entry.setMinimumWidth(7 * GRID_PX)
            # What is left of the row: the words beside it must be whole.
            entry.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
            name.setBuddy(entry)
            line, column = place
            grid.addWidget(name, line, column)
            grid.addWidget(entry, line, column + 1)
        grid.addWidget(self._take, 0, 2, 1, 2)
        self._shown.setAccessibleName(_("What the readout shows"))
        self._reading.setAccessibleName(_("The instrument's reading"))
        self._expanded.setAccessibleName(_("The instrument's expanded uncertainty"))
        return grid
