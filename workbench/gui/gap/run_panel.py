"""A tooth run or a drop-out run: where its pulses come from, how far it is, what it found."""

from __future__ import annotations

import math
from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QComboBox,
    QProgressBar,
    QScrollArea,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from workbench.calibration.statistics.decision import Verdict
from workbench.gui.parts.basics import VerdictPill, button, label, row, say
from workbench.gui.theme import GRID_PX, TOUCH_PX, Theme
from workbench.models.bench import Bench
from workbench.models.gap.job import GapJob
from workbench.models.gap.run import FEWEST_LOST, WANTED_TURNS
from workbench.models.gap.words import drop_out_facts, wheel_details, wheel_sentence
from workbench.models.records.old_recordings import OldRecording
from workbench.words.words import Words

LIVE = "Live signal"
HOW_TO = {
    False: "Run the belt empty and steady. Half a minute, thirty turns of the target wheel, is "
    "enough to judge every tooth.",
    True: "Start at full speed, then slow the belt evenly over a minute or two until pulses go "
    "missing; raise the speed again and stop the run.",
}


class GapRunPanel(QWidget):
    """Emits `go` when its one button is pressed."""

    go = Signal()

    def __init__(self, bench: Bench, job: GapJob, theme: Theme, *, drop_out: bool) -> None:
        super().__init__()
        self._bench, self._job, self._drop_out = bench, job, drop_out
        self.source, self.channel = QComboBox(), QComboBox()
        for choice, words in (
            (self.source, "Where the pulses come from"),
            (self.channel, "Which pickup"),
        ):
            choice.setMinimumHeight(TOUCH_PX)
            choice.setAccessibleName(words)
            choice.setSizeAdjustPolicy(
                QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
            )
        self.source.setMinimumContentsLength(16)
        self.channel.setMinimumContentsLength(6)
        self.source.addItem(LIVE, None)
        self.start = button("", self.go.emit, is_next=True)
        self.big = label("", "title")
        self.progress = QProgressBar()
        self.progress.setTextVisible(False)
        self.progress.setAccessibleName("How far the run is")
        self.pill, self.sentence = VerdictPill(theme), label("", "text")
        self.said = label("", "error")
        self.details = label("", "soft")
        self.details.setAlignment(Qt.AlignmentFlag.AlignTop)
        self._lay_out()
        self.channel.activated.connect(self._channel_chosen)
        self.source.activated.connect(lambda _at: self._source_chosen())

    @property
    def old_number(self) -> int | None:
        """The stored recording chosen, None for the signal that comes in now."""
        number = self.source.currentData()
        return int(number) if number is not None else None

    @property
    def live_channel(self) -> str:
        return self.channel.currentText()

    def set_theme(self, theme: Theme) -> None:
        self.pill.set_theme(theme)

    def offer(self, runs: Sequence[OldRecording]) -> None:
        """The recordings of the store, behind the live signal; the choice stays as it was."""
        if [run.number for run in runs] == [
            self.source.itemData(at) for at in range(1, self.source.count())
        ]:
            return
        chosen = self.source.currentData()
        self.source.clear()
        self.source.addItem(LIVE, None)
        for run in runs:
            name = f"Recording {run.number}: {run.name}, {run.when}"
            self.source.addItem(f"{name}, simulated" if run.simulated else name, run.number)
        at = self.source.findData(chosen) if chosen is not None else 0
        self.source.setCurrentIndex(max(at, 0))

    def show_job(self) -> None:
        """The run as it stands."""
        run, mine = self._job.run, self._job.run.judged_drop_out is self._drop_out
        running = run.running and run.drop_out is self._drop_out
        pickup = run.pickup if mine and not running else None
        self._show_channels(answered=pickup is not None)
        self.source.setEnabled(not run.running)
        self.channel.setEnabled(not run.running and self.channel.count() > 0)
        say(self.start, self._start_words(running))
        self.start.setEnabled(not run.running or running)
        self.progress.setVisible(running)
        self.big.setVisible(running)
        self.pill.setVisible(pickup is not None)
        self.said.setVisible(bool(run.said))
        say(self.said, run.said)
        if running:
            self._show_running()
        elif pickup is None or run.answer is None:
            say(self.sentence, self._question())
            say(self.details, HOW_TO[self._drop_out])
        else:
            units = self._bench.settings.units
            self.pill.show_verdict(Verdict(pickup["verdict"]))
            marked = bool(pickup.get("marked"))
            say(self.sentence, wheel_sentence(pickup, marked=marked, units=units))
            lines = wheel_details(pickup, units)
            machine = run.machine
            if self._drop_out and machine is not None:
                facts = drop_out_facts(pickup, units, machine.limits.speed_low_mps)
                lines = [*([f"Drop-out at {facts}."] if facts else []), *lines]
            note = f"Kept as result {run.answer['result']}."
            if run.answer["simulated"]:
                note = f"Simulated. {note}"
            say(self.details, "\n".join([*lines, note]))

    def _show_running(self) -> None:
        run, units = self._job.run, self._bench.settings.units
        so_far = run.so_far
        turns, missed = (so_far.turns, so_far.missed) if so_far else (0.0, 0)
        if self._drop_out:
            say(self.big, Words(units).number("speed", run.speed_mps()))
            done, wanted = missed, FEWEST_LOST
            text = f"{missed} pulses missing so far in {turns:.0f} turns."
            enough = missed >= FEWEST_LOST
            hint = (
                "Enough: raise the speed again and stop the run."
                if enough
                else "Slow the belt evenly, little by little."
            )
        else:
            say(
                self.big,
                f"{turns:.0f} of {WANTED_TURNS} turns" if turns < 30 else f"{turns:.0f} turns",
            )
            done, wanted = min(round(turns), WANTED_TURNS), WANTED_TURNS
            left_s = run.seconds_left()
            text = "Keep the belt running steadily."
            hint = f"About {left_s:.0f} s more." if left_s > 0 else "Enough: stop the run."
            if not math.isfinite(left_s):
                hint = "No pulses come in right now."
        self.progress.setRange(0, wanted)
        self.progress.setValue(min(done, wanted))
        say(self.sentence, text)
        say(self.details, hint)

    def _show_channels(self, *, answered: bool) -> None:
        run = self._job.run
        names = [one["pickup"] for one in run.pickups()] if answered else []
        if not names:
            names = run.channels() if self.old_number is None else []
        shown = [self.channel.itemText(at) for at in range(self.channel.count())]
        if names != shown:
            chosen = self.channel.currentText()
            self.channel.clear()
            self.channel.addItems(names)
            wanted = self._side() if self._side() in names else chosen
            self.channel.setCurrentIndex(max(0, self.channel.findText(wanted)))
        if answered and run.pickup is not None:
            self.channel.setCurrentText(str(run.pickup["pickup"]))

    def _side(self) -> str:
        """The side of the pickup at hand: its channel is often called the same."""
        entry = self._job.list.current
        return entry.pickup.side if entry else ""

    def _channel_chosen(self) -> None:
        if self._job.run.pickup is not None and not self._job.run.running:
            self._job.choose_pickup_of_run(self.channel.currentText())

    def _source_chosen(self) -> None:
        self._job.run.forget()

    def _start_words(self, running: bool) -> str:
        if running:
            return "Stop run"
        if self.old_number is not None:
            return f"Judge recording {self.old_number}"
        return "Start drop-out run" if self._drop_out else "Start tooth run"

    def _question(self) -> str:
        entry = self._job.list.current
        name = entry.pickup.name if entry else "this pickup"
        if self._drop_out:
            return f"At what belt speed does {name} lose its pulses?"
        return f"Is every tooth of the wheel at {name} sound?"

    def _lay_out(self) -> None:
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(GRID_PX)
        chosen = row(self.source, self.channel, stretch=False)
        layout = chosen.layout()
        assert layout is not None
        layout.setSpacing(GRID_PX)
        column.addWidget(chosen)
        column.addWidget(self.start)
        column.addWidget(self.said)
        column.addWidget(self.big)
        column.addWidget(self.progress)
        column.addWidget(self.pill)
        column.addWidget(self.sentence)
        rest = QScrollArea()
        rest.setWidgetResizable(True)
        rest.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        rest.setWidget(self.details)
        rest.setAccessibleName("What speaks for it")
        rest.setMinimumHeight(8 * GRID_PX)
        rest.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Ignored)
        column.addWidget(rest, 1)
