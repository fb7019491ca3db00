"""What is set up before a pass, while the tractor stands: signals, by-itself, sounds."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSignalBlocker, Qt
from PySide6.QtWidgets import QComboBox, QGridLayout, QWidget

from workbench.gui.parts.basics import button, label, say
from workbench.gui.parts.layout import row
from workbench.gui.passes.cue_player import CuePlayer
from workbench.gui.theme import GRID_PX, TOUCH_PX
from workbench.live.streams import Stream
from workbench.models.bench import Bench
from workbench.models.passes.auto import rule_words
from workbench.models.passes.cues import Cue
from workbench.models.passes.job import PassJob
from workbench.models.passes.live import source_words
from workbench.words.language import N_, _

TALL_PX = 800
"""From this height of the page on there is room for how a pass goes."""
STEPS = (
    N_("How a pass goes"),
    N_("1   Stand, choose the signals above, and try the sounds."),
    N_(
        "2   Start the pass, drive off, and hold one even speed straight on; 30 s are often enough."
    ),
    N_("3   The sentence below says when it is settled; the sounds tell in band from out of band."),
    N_("4   Stop the pass. The answer is worked out from the record: why, what to do, where."),
)
BY_ITSELF = ""
"""The choice that leaves the source to the program."""


class PassReady(QWidget):
    """Belt pickup and ground source, the switch for start and stop by itself, the sounds."""

    def __init__(self, bench: Bench, job: PassJob, player: CuePlayer) -> None:
        super().__init__()
        self._bench, self._job, self._player = bench, job, player
        self.belt, self.ground = _choice(_("Belt signal")), _choice(_("Ground speed source"))
        self.belt.activated.connect(self._choose_belt)
        self.ground.activated.connect(self._choose_ground)
        self.by_itself = button("", self._switch_auto)
        self.by_itself.setCheckable(True)
        self.sound, self.try_sounds = button("", self._switch_sound), button("", self._try)
        self._rule, self._heard = label("", "soft"), label("", "soft")
        self._steps = label("\n".join(map(_, STEPS)), "text")
        self._lay_out()

    def refresh(self) -> None:
        """Show the models as they are now."""
        now_s, bench, pace = self._bench.clock(), self._bench, self._job.pace
        _offer(self.belt, pace.belts(), bench.belt_source, pace.belt(), now_s)
        _offer(self.ground, pace.grounds(), bench.ground_source, pace.ground(), now_s)
        on = self._job.auto.on
        self.by_itself.setChecked(on)
        say(
            self.by_itself,
            _("Start and stop by itself: on") if on else _("Start and stop by itself: off"),
        )
        say(self._rule, rule_words(bench.settings.units))
        say(self.sound, _("Sounds: on") if bench.settings.now.sounds else _("Sounds: off"))
        say(self.try_sounds, _("End the try") if self._player.trying else _("Try sounds"))

    def fit(self, height: int) -> None:
        """Use the room of a page of this height."""
        self._steps.setVisible(height >= TALL_PX)

    def say_cue(self, cue: Cue) -> None:
        """The words for a sound that is tried now."""
        say(self._heard, f"{self._player.words(cue)}.")

    def _lay_out(self) -> None:
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(3 * GRID_PX)
        grid.setVerticalSpacing(GRID_PX)
        for column, (name, widget) in enumerate(
            ((_("Belt"), self.belt), (_("Ground"), self.ground))
        ):
            title = label(name, "soft", wrap=False)
            title.setBuddy(widget)
            grid.addWidget(title, 0, column)
            grid.addWidget(widget, 1, column)
            grid.setColumnStretch(column, 1)
        top = Qt.AlignmentFlag.AlignTop
        grid.addWidget(self.by_itself, 2, 0)
        grid.addWidget(row(self.sound, self.try_sounds), 2, 1)
        grid.addWidget(self._rule, 3, 0, top)
        grid.addWidget(self._heard, 3, 1, top)
        grid.addWidget(self._steps, 4, 0, 1, 2)
        self._steps.setContentsMargins(0, 3 * GRID_PX, 0, 0)
        grid.setRowStretch(5, 1)
        say(
            self._heard,
            _(
                "They tell in band, out of band and lost apart without a look. Set the computer's "
                "loudness now, while standing."
            ),
        )

    def _choose_belt(self) -> None:
        self._bench.belt_source = self.belt.currentData()

    def _choose_ground(self) -> None:
        self._bench.ground_source = self.ground.currentData()

    def _switch_auto(self) -> None:
        self._job.auto.on = self.by_itself.isChecked()
        self.refresh()

    def _switch_sound(self) -> None:
        self._bench.settings.change(sounds=not self._bench.settings.now.sounds)
        self.refresh()

    def _try(self) -> None:
        if self._player.trying:
            self._player.stop()
            return
        cue = self._player.try_all()
        if cue is not None:
            self.say_cue(cue)


def _choice(name: str) -> QComboBox:
    made = QComboBox()
    made.setMinimumHeight(TOUCH_PX)
    made.setAccessibleName(name)
    made.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
    return made


def _offer(
    where: QComboBox, streams: Sequence[Stream], chosen: str, used: Stream | None, now_s: float
) -> None:
    """Fill a choice, but only where something changed: an open list must not be pulled away."""
    first = _("None is there")
    if used is not None:
        first = _("Chosen by itself: {source}").format(source=used.name)
    entries = [(first if not chosen else _("Choose by itself"), BY_ITSELF)]
    entries += [(source_words(one, now_s), one.name) for one in streams]
    names = [one.name for one in streams]
    known = [(where.itemText(at), where.itemData(at)) for at in range(where.count())]
    with QSignalBlocker(where):
        if [data for _text, data in known] != [data for _text, data in entries]:
            where.clear()
            for text, data in entries:
                where.addItem(text, data)
        elif known != entries:
            for at, (text, _data) in enumerate(entries):
                where.setItemText(at, text)
        where.setCurrentIndex(names.index(chosen) + 1 if chosen in names else 0)
    where.setEnabled(len(streams) > 0)
