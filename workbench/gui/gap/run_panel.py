"""A tooth run or a drop-out run: where its pulses come from, how far it is, what it found."""

from __future__ import annotations

import math
from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QComboBox,
    QProgressBar,
    QSizePolicy,
    QWidget,
)

from workbench.base.errors import WrongInput
from workbench.calibration.gap.answer import WheelAnswer
from workbench.gui.parts.basics import VerdictPill, button, label, say
from workbench.gui.parts.layout import column_of, row, scrolled
from workbench.gui.parts.rehearse import RehearseButton
from workbench.gui.theme import GRID_PX, TOUCH_PX, Theme
from workbench.models.bench import Bench
from workbench.models.gap.job import GapJob
from workbench.models.gap.run import FEWEST_LOST, WANTED_TURNS
from workbench.models.gap.store import KeptAnswer
from workbench.models.gap.words import drop_out_facts, kept_words
from workbench.models.records.listing import RecordEntry
from workbench.models.rehearsal import Rehearsal
from workbench.words.gap import details, headline_words
from workbench.words.language import N_, _, ngettext
from workbench.words.words import Words

LIVE = N_("Live signal")
HOW_TO = {
    False: N_(
        "Run the belt empty and steady. Half a minute, thirty turns of the target wheel, is "
        "enough to judge every tooth."
    ),
    True: N_(
        "Start at full speed, then slow the belt evenly over a minute or two until pulses go "
        "missing; raise the speed again and stop the run."
    ),
}


class GapRunPanel(QWidget):
    """Emits `go` when its one button is pressed."""

    go = Signal()

    def __init__(self, bench: Bench, job: GapJob, theme: Theme, *, drop_out: bool) -> None:
        super().__init__()
        self._bench, self._job, self._drop_out = bench, job, drop_out
        self._of = job.list.current.key
        self.source, self.channel = QComboBox(), QComboBox()
        for choice, words in (
            (self.source, _("Where the pulses come from")),
            (self.channel, _("By which channel its pulses come in")),
        ):
            choice.setMinimumHeight(TOUCH_PX)
            choice.setAccessibleName(words)
            choice.setSizeAdjustPolicy(
                QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
            )
        self.source.setMinimumContentsLength(16)
        self.channel.setMinimumContentsLength(6)
        self.channel.setPlaceholderText(_("Which?"))
        self.source.addItem(_(LIVE), None)
        self.start = button("", self.go.emit, is_next=True)
        self.rehearse = RehearseButton(bench)
        self.big = label("", "title")
        self.progress = QProgressBar()
        self.progress.setTextVisible(False)
        self.progress.setAccessibleName(_("How far the run is"))
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

    def offer(self, runs: Sequence[RecordEntry]) -> None:
        """The recordings of the store, behind the live signal; the choice stays as it was."""
        if [run.number for run in runs] == [
            self.source.itemData(at) for at in range(1, self.source.count())
        ]:
            return
        chosen = self.source.currentData()
        self.source.clear()
        self.source.addItem(_(LIVE), None)
        for run in runs:
            told = _("Recording {number}: {name}, {when}")
            if run.simulated:
                told = _("Recording {number}: {name}, {when}, simulated")
            name = told.format(number=run.number, name=run.name, when=run.when)
            self.source.addItem(name, run.number)
        at = self.source.findData(chosen) if chosen is not None else 0
        self.source.setCurrentIndex(max(at, 0))

    def show_job(self) -> None:
        """The run as it stands."""
        run, judged = self._job.run, self._job.run.judged
        running = run.running and run.drop_out is self._drop_out
        mine = judged is not None and judged.drop_out is self._drop_out and not running
        pickup = run.pickup if mine else None
        if self._of != self._job.list.current.key and not run.running:
            self._of = self._job.list.current.key
            self.source.setCurrentIndex(0)
        self._show_channels(answered=pickup is not None)
        self.source.setEnabled(not run.running)
        self.channel.setEnabled(not run.running and self.channel.count() > 0)
        say(self.start, self._start_words(running))
        to_choose = self.old_number is None and self.channel.count() > 0 and not self.live_channel
        self.start.setEnabled(running or not (run.running or to_choose))
        live_drop_out = self._drop_out and self.old_number is None and pickup is None
        self.rehearse.offer(Rehearsal.DROP_OUT, idle=live_drop_out and not run.running)
        self.progress.setVisible(running)
        self.big.setVisible(running)
        self.pill.setVisible(pickup is not None)
        self.said.setVisible(bool(run.said))
        say(self.said, run.said)
        if running:
            self._show_running()
        elif pickup is None or judged is None:
            say(self.sentence, self._question())
            say(self.details, HOW_TO[self._drop_out])
        else:
            self._show_answer(pickup, judged.kept)

    def _show_answer(self, pickup: WheelAnswer, kept: KeptAnswer) -> None:
        words = Words(self._bench.settings.units)
        self.pill.show_verdict(pickup.verdict)
        say(self.sentence, headline_words(pickup, words))
        lines = details(pickup, words)
        if self._drop_out and kept.machine is not None:
            facts = drop_out_facts(pickup, kept.machine.limits.speed_low_mps, words)
            lines = [facts, *lines] if facts else lines
        note = kept_words([kept])
        if kept.answer.simulated:
            note = f"{_('Simulated.')} {note}"
        if not self._job.channel_of([one.pickup for one in self._job.run.pickups()]):
            told = _("Choose which of its channels is {pickup}: until then nothing is noted.")
            lines = [told.format(pickup=self._job.list.current.name), *lines]
        say(self.details, "\n".join([*lines, note]))

    def _show_running(self) -> None:
        run, so_far = self._job.run, self._job.run.so_far
        turns, missed = (so_far.turns, so_far.missed) if so_far else (0.0, 0)
        if self._drop_out:
            words = Words(self._bench.settings.units)
            say(self.big, words.number("speed", run.speed_mps()))
            done, wanted = missed, FEWEST_LOST
            text = ngettext(
                "{count} pulse missing so far in {turns} turns.",
                "{count} pulses missing so far in {turns} turns.",
                missed,
            ).format(count=missed, turns=round(turns))
            hint = _("Slow the belt evenly, little by little.")
            if missed >= FEWEST_LOST:
                hint = _("Enough: raise the speed again and stop the run.")
        else:
            told = _("{turns} of {wanted} turns") if turns < WANTED_TURNS else _("{turns} turns")
            say(self.big, told.format(turns=round(turns), wanted=WANTED_TURNS))
            done, wanted = min(round(turns), WANTED_TURNS), WANTED_TURNS
            left_s = run.seconds_left()
            text = _("Keep the belt running steadily.")
            hint = _("Enough: stop the run.")
            if not math.isfinite(left_s):
                hint = _("No pulses come in right now.")
            elif left_s > 0:
                hint = _("About {seconds} s more.").format(seconds=round(left_s))
        self.progress.setRange(0, wanted)
        self.progress.setValue(min(done, wanted))
        by = _("{pickup}, by '{channel}'.").format(pickup=self._job.run_of, channel=run.channel)
        say(self.sentence, f"{by} {text}")
        say(self.details, hint)

    def _show_channels(self, *, answered: bool) -> None:
        """The channels there are, and the one bound to the pickup at hand, if any."""
        run, live = self._job.run, self.old_number is None
        names = run.channels() if live else [one.pickup for one in run.pickups()]
        if names != [self.channel.itemText(at) for at in range(self.channel.count())]:
            self.channel.clear()
            self.channel.addItems(names)
        its = run.channel if run.running else self._job.channel_of(names)
        if answered and run.pickup is not None:
            its = run.pickup.pickup
        self.channel.setCurrentIndex(self.channel.findText(its))

    def _channel_chosen(self) -> None:
        try:
            self._job.choose_channel(self.channel.currentText())
        except WrongInput as error:
            self._job.run.failed(Words().say(error))

    def _source_chosen(self) -> None:
        self._job.run.forget()

    def _start_words(self, running: bool) -> str:
        if running:
            return _("Stop run")
        if self.old_number is not None:
            return _("Judge recording {number}").format(number=self.old_number)
        return _("Start drop-out run") if self._drop_out else _("Start tooth run")

    def _question(self) -> str:
        name, channel = self._job.list.current.name, self.live_channel
        asked = _("Is every tooth of the wheel at {pickup} sound?")
        if self._drop_out:
            asked = _("At what belt speed does {pickup} lose its pulses?")
        told = [asked.format(pickup=name)]
        if channel:
            told.append(_("Its pulses come in by '{channel}'.").format(channel=channel))
        elif self.channel.count():
            told.append(_("Choose by which channel its pulses come in."))
        return " ".join(told)

    def _lay_out(self) -> None:
        column = column_of(
            row(self.source, self.channel, stretch=False, spacing=GRID_PX),
            self.start,
            self.rehearse,
            self.said,
            self.big,
            self.progress,
            self.pill,
            self.sentence,
            on=self,
        )
        rest = scrolled(self.details, _("What speaks for it"))
        rest.setMinimumHeight(8 * GRID_PX)
        rest.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Ignored)
        column.addWidget(rest, 1)
