"""What is true wherever one is: machine, simulated or not, inputs, recording, units, theme."""

from __future__ import annotations

import html

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from drivers.contract import ChannelKind
from workbench.base.units import UnitSystem
from workbench.gui.icons import ICON_PX, ICON_ROOM_PX, icon
from workbench.gui.parts.basics import Elided, button, label, say
from workbench.gui.theme import GRID_PX, Theme
from workbench.live.streams import Stream
from workbench.models.bench import Bench
from workbench.models.pace import PaceModel, doubt_words
from workbench.words.language import N_, _
from workbench.words.moments import duration_text

MOST_LETTERS = 20
"""Of a customer's name in the header."""
OTHER_UNITS = {"us": "metric", "metric": "us"}
UNIT_WORDS = {"us": N_("US customary"), "metric": N_("metric")}
OTHER_THEME = {"bright": "dark", "dark": "bright"}
THEME_WORDS = {"bright": N_("for the sun"), "dark": N_("for a cab at night")}


class Header(QWidget):
    """The line above every page. `asked_for_whom` where the person wants to say for whom."""

    asked_for_whom = Signal()

    def __init__(self, bench: Bench, theme: Theme) -> None:
        super().__init__()
        self._bench, self._theme, self._pace = bench, theme, PaceModel(bench)
        self.machine = Elided("text")
        self.simulated = label("Simulated", "simulated", wrap=False)
        self.inputs = label("", wrap=False)
        self.inputs.setTextFormat(Qt.TextFormat.RichText)
        self.light = label("", "light", wrap=False)
        self.for_whom = button("", self.asked_for_whom.emit)
        self.units = button("", self._switch_units)
        self.theme_switch = button("", self._switch_theme)
        for switch in (self.units, self.theme_switch):
            switch.setIconSize(QSize(ICON_ROOM_PX, ICON_PX))
        states = QHBoxLayout()
        states.setSpacing(2 * GRID_PX)
        states.addWidget(self.simulated)
        states.addWidget(self.inputs)
        states.addStretch(1)
        words = QVBoxLayout()
        words.setSpacing(0)
        words.addWidget(self.machine)
        words.addLayout(states)
        line = QHBoxLayout(self)
        line.setContentsMargins(2 * GRID_PX, GRID_PX // 2, 2 * GRID_PX, GRID_PX // 2)
        line.setSpacing(2 * GRID_PX)
        line.addLayout(words, 1)
        line.addWidget(self.light)
        line.addWidget(self.for_whom)
        line.addWidget(self.units)
        line.addWidget(self.theme_switch)
        self.set_theme(theme)

    def set_theme(self, theme: Theme) -> None:
        """Also after a change of the units: the switches say what they are at."""
        self._theme = theme
        now = self._bench.settings.now
        say(self.units, _speed_and_length(self._bench.settings.units))
        self.units.setIcon(icon("units", theme.ink))
        _tell(
            self.units,
            _("Units: {name}").format(name=_(UNIT_WORDS[now.units])),
            _("change to {name}").format(name=_(UNIT_WORDS[OTHER_UNITS[now.units]])),
        )
        say(self.theme_switch, theme.name.capitalize())
        self.theme_switch.setIcon(icon(theme.name, theme.ink))
        other_theme = OTHER_THEME[theme.name]
        _tell(
            self.theme_switch,
            f"Screen: {theme.name}, {THEME_WORDS[theme.name]}",
            _("change to {other_theme}, {theme_words}").format(
                other_theme=other_theme, theme_words=THEME_WORDS[other_theme]
            ),
        )

    def refresh(self) -> None:
        """Show the bench as it is now."""
        machine = self._bench.machine
        say(self.machine, machine.name if machine else _("No machine yet"))
        self._say_for_whom()
        live = self._bench.live
        self.simulated.setVisible(live.simulated and (live.running or bool(live.streams)))
        say(self.inputs, self._input_words())
        recording = self._bench.recording
        self.light.setVisible(recording.running)
        if recording.running:
            say(self.light, f"◉ {duration_text(recording.duration_s)} recorded\n{self._losses()}")

    def _say_for_whom(self) -> None:
        """Whom the next answers are for, cut where it is long; the whole stands in the tip."""
        customer = self._bench.for_whom.of(self._bench.machine).customer
        told = _("For {customer}").format(customer=customer) if customer else _("For whom …")
        if len(told) > MOST_LETTERS:
            told = f"{told[: MOST_LETTERS - 1].rstrip()}…"
        if self.for_whom.text() != told:
            say(self.for_whom, told)
            state = _("For {customer}").format(customer=customer or _("nobody named"))
            _tell(
                self.for_whom, state, _("say whom and what the next answers are for, and by whom")
            )

    def _losses(self) -> str:
        """Whether all waits for the store; else pulses lost on the way: of a signal that is away
        that one says nothing."""
        if self._bench.recording.delayed:
            return _("waits for the store")
        now_s = self._bench.clock()
        lost = sum(stream.lost for stream in self._bench.live.streams.values())
        if lost:
            return f"{lost} lost"
        used = [one for one in (self._pace.belt(), self._pace.ground()) if one is not None]
        away = any(stream.silent(now_s) for stream in used)
        return _("signal lost") if away else _("none lost")

    def _input_words(self) -> str:
        """The belt's and the ground's signal in words and colour, and how many more there are."""
        streams = self._bench.live.streams
        if not streams:
            return _("No signal yet") if self._bench.live.running else _("No input yet")
        belt, ground = self._pace.belt(), self._pace.ground()
        words = [
            self._state_words(name, stream, color)
            for name, stream, color in (
                ("belt", belt, self._theme.belt),
                ("ground", ground, self._theme.earth),
            )
        ]
        now_s = self._bench.clock()
        others = [s for s in streams.values() if s is not belt and s is not ground]
        steady = [s for s in others if s.kind is not ChannelKind.LAP_MARK]
        lost = sum(stream.silent(now_s) for stream in steady)
        if others:
            words.append(f"+{len(others)} more" + (f" ({lost} lost)" if lost else ""))
        tip = "\n".join(
            f"{stream.name}: {self._state(stream).partition(' ')[2]}" for stream in streams.values()
        )
        if self.inputs.toolTip() != tip:
            self.inputs.setToolTip(tip)
            self.inputs.setAccessibleName(tip)
        return "&nbsp;&nbsp; ".join(words)

    def _state_words(self, name: str, stream: Stream | None, color: str) -> str:
        if stream is None:
            return f'<span style="color:{self._theme.no_data}">○ no {name}</span>'
        if stream.silent(self._bench.clock()):
            color = self._theme.no_data
        elif stream.doubt is not None:
            color = self._theme.attention
        state = self._state(stream)
        return f'<span style="color:{color}">{html.escape(name)} {state}</span>'

    def _state(self, stream: Stream) -> str:
        """'● live', '○ lost', '▲ misses teeth'."""
        if stream.silent(self._bench.clock()):
            return "○ lost"
        return "● live" if stream.doubt is None else doubt_words(stream.doubt)

    def _switch_units(self) -> None:
        self._bench.settings.change(units=OTHER_UNITS[self._bench.settings.now.units])

    def _switch_theme(self) -> None:
        self._bench.settings.change(theme=OTHER_THEME[self._bench.settings.now.theme])


def _speed_and_length(units: UnitSystem) -> str:
    return f"{units.speed}, {units.length}"


def _tell(switch: QPushButton, state: str, press: str) -> None:
    """What a switch is at and what pressing it does, for a screen reader and as its tip."""
    switch.setAccessibleName(_("{state}. Press to {press}.").format(state=state, press=press))
    switch.setToolTip(_("{state}. Press to {press}.").format(state=state, press=press))
