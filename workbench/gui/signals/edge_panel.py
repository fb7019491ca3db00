"""The close look at single edges: which channel, live or frozen, and what is seen in words."""

from __future__ import annotations

from PySide6.QtWidgets import QComboBox, QWidget

from workbench.gui.parts.basics import button, label, say
from workbench.gui.parts.layout import column_of, line_of
from workbench.gui.plot.plot import Plot
from workbench.gui.plot.save import tell_simulated
from workbench.gui.theme import GRID_PX, TOUCH_PX, Theme
from workbench.live.health import EdgeLook
from workbench.models.bench import Bench
from workbench.models.plot.streams import edge_picture
from workbench.models.signals.rows import wheel_channels
from workbench.words.language import _
from workbench.words.pictures.picture import NOTHING

TURNS = 2
UNKNOWN_TURN = 32
"""Pulses shown for a turn where no machine says how many teeth there are."""


class EdgePanel(QWidget):
    """Shows the last two turns of one pulse channel."""

    def __init__(self, bench: Bench, theme: Theme) -> None:
        super().__init__()
        self._bench = bench
        self.frozen, self._saved = False, ""
        self._choice = QComboBox()
        self._choice.setMinimumHeight(TOUCH_PX)
        self._choice.setMinimumWidth(16 * GRID_PX)
        self._choice.setAccessibleName(_("Channel to look at"))
        self._freeze = button("Freeze the picture", self.switch_freeze)
        empty = _("The time from tooth to tooth stands here once pulses come.")
        self.plot = Plot(theme, _("Time from tooth to tooth"), empty)
        self._words = label("", "soft")
        line = line_of(self._choice, self._freeze, 1)
        column_of(line, self._words, (self.plot, 1), on=self)
        self._choice.activated.connect(self._chosen_anew)
        self.plot.said.connect(self._tell_saved)

    @property
    def channel(self) -> str:
        """The channel looked at, '' where there is none."""
        return self._choice.currentText()

    def choose(self, channel: str) -> None:
        """Look at this channel from now on."""
        self._offer()
        at = self._choice.findText(channel)
        if at >= 0 and at != self._choice.currentIndex():
            self._choice.setCurrentIndex(at)
            self._chosen_anew()

    def switch_freeze(self) -> None:
        """Hold the picture as it is, or let it go on."""
        self.frozen, self._saved = not self.frozen, ""
        self._show_state()

    def refresh(self) -> None:
        """The newest edges, unless the picture is frozen."""
        self._offer()
        if self.frozen:
            return
        tell_simulated(self.plot, self._bench.live.simulated)
        stream = self._bench.live.streams.get(self.channel)
        machine = self._bench.machine
        teeth = machine.drive.target_teeth if machine else 0
        shown = TURNS * (teeth or UNKNOWN_TURN)
        if stream is None or stream.health is None:
            self.plot.show_picture(NOTHING, self._bench.settings.units)
            say(self._words, "")
        else:
            look = stream.health.look(shown)
            picture = edge_picture(look, teeth, shown) if look.tooth.size else NOTHING
            self.plot.show_picture(picture, self._bench.settings.units)
            silent = stream.silent(self._bench.clock())
            sentence = self._sentence(look, teeth, silent=silent)
            say(self._words, f"{sentence} {self._saved}".strip())
        self._show_state()

    def _tell_saved(self, outcome: str) -> None:
        """Told beside what is seen, until something else is done; a frozen picture too."""
        self._saved = outcome
        if self.frozen:
            say(self._words, outcome)

    def _chosen_anew(self) -> None:
        self.frozen, self._saved = False, ""
        self.refresh()

    def _offer(self) -> None:
        """The channels there are; a frozen picture keeps the one it shows."""
        names = [stream.name for stream in wheel_channels(list(self._bench.live.streams.values()))]
        have = [self._choice.itemText(at) for at in range(self._choice.count())]
        if names == have or (self.frozen and not names):
            return
        kept = self.channel
        self._choice.clear()
        self._choice.addItems(names)
        self._choice.setCurrentIndex(max(0, self._choice.findText(kept)))

    def _show_state(self) -> None:
        say(self._freeze, _("Go on live") if self.frozen else _("Freeze the picture"))
        self._freeze.setEnabled(self.frozen or bool(self.channel))

    def _sentence(self, look: EdgeLook, teeth: int, *, silent: bool) -> str:
        if not look.tooth.size:
            return _("Two turns of the wheel will stand here, a bar a tooth.")
        missed, extra = int(look.missed.sum()), int(look.extra_at.size)
        what = (
            _("The last {turns} turns").format(turns=TURNS)
            if teeth
            else _("The last {size} pulses").format(size=look.tooth.size)
        )
        if silent:
            what = _("Silent now. {what} before that").format(what=what)
        if not missed and not extra:
            return _("{what}: every tooth seen, and nothing else.").format(what=what)
        return f"{what}: {missed} missed, {extra} extra."
