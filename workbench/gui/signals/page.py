"""The signals: what comes in and how well, tooth by tooth; inputs, wiring, recording.

A narrow window shows one view at a time; a wide one the table and the chart on the left
and one of the others beside it.
"""

from __future__ import annotations

from enum import StrEnum

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QButtonGroup,
    QPushButton,
    QSizePolicy,
    QWidget,
)

from workbench.gui.parts.basics import button, label, say
from workbench.gui.parts.layout import TALL_PAGE, Pages, column_of, line_of
from workbench.gui.plot.plot import Plot
from workbench.gui.plot.save import tell_simulated
from workbench.gui.signals.edge_panel import EdgePanel
from workbench.gui.signals.input_list import InputList
from workbench.gui.signals.record_bar import RecordBar
from workbench.gui.signals.table import SignalTable
from workbench.gui.signals.wiring_help import WiringHelp
from workbench.gui.theme import GRID_PX, Theme
from workbench.live.streams import Stream
from workbench.models.bench import Bench
from workbench.models.plot.streams import SHOWN_S, strip_picture
from workbench.models.signals.advice import Look, SignalAdvice, advice
from workbench.models.signals.inputs import InputsModel
from workbench.models.signals.plugged import PluggedModel
from workbench.models.signals.rows import (
    ATTENTION,
    BAD,
    GOOD,
    NO_DATA,
    InputLine,
    table,
)
from workbench.words.language import N_, _

WIDE_PX = 1240
"""From this width of the page on, two views stand side by side."""

FRAMES = 6
"""Numbers that change 30 times a second cannot be read: every so manieth frame is shown."""

SHAPES = {GOOD: "●", ATTENTION: "▲", BAD: "✕", NO_DATA: "○"}


class SignalView(StrEnum):
    """What can be looked at."""

    ALL = N_("All signals")
    EDGES = N_("Single edges")
    INPUTS = "Inputs"
    WIRING = N_("Wiring help")


LOOK_AT = {
    Look.INPUTS: SignalView.INPUTS,
    Look.EDGES: SignalView.EDGES,
    Look.WIRING: SignalView.WIRING,
}
ACTIONS = {
    Look.INPUTS: N_("See the inputs"),
    Look.EDGES: N_("Look at the edges"),
    Look.WIRING: N_("See what to check"),
}


class SignalsPage(QWidget):
    """Every stream as it is now; the close look, the inputs and the wiring beside it."""

    def __init__(self, bench: Bench, theme: Theme) -> None:
        super().__init__()
        self._bench, self._theme = bench, theme
        self._inputs, self._plugged = InputsModel(bench), PluggedModel()
        self._frames, self._opened_s = 0, bench.clock()
        self._addresses: list[str] = []
        self._picked: SignalView | None = None
        self._advice = SignalAdvice("")
        self._told = label("", "text")
        self._do = button("", self._follow_advice)
        self._table = SignalTable(theme)
        self._chart = Plot(theme, _("Speeds of the last two minutes"))
        self._no_chart = label("The speeds of the last two minutes will stand here.", "soft")
        self._no_chart.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self._edges, self._wiring = EdgePanel(bench, theme), WiringHelp(bench, theme)
        self._list = InputList(self._inputs, self._plugged)
        self._record = RecordBar(bench)
        self._overview, self._beside = QWidget(), Pages()
        self._views = QButtonGroup(self)
        self._buttons = {view: self._view_button(view) for view in SignalView}
        self._lay_out()
        self._table.chosen.connect(self._edges.choose)
        self._table.opened.connect(self._open_edges)
        self.refresh()

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self._advice = SignalAdvice("")

    def refresh(self) -> None:
        addresses = self._inputs.in_use
        if addresses != self._addresses:
            self._addresses, self._opened_s = addresses, self._bench.clock()
            self._picked = self._picked if addresses else None
        self._record.refresh()
        self._frames += 1
        # One part a frame, so that no frame has to draw them all.
        for at, show in enumerate((self._show_lines, self._show_chart, self._show_beside)):
            if self._frames % FRAMES == 1 + 2 * at:
                show()

    def show_view(self, view: SignalView) -> None:
        """What the person wants to see, until no input is left."""
        self._picked = view
        self._show_now()
        if view is SignalView.INPUTS and not self._plugged.searched:
            self._list.search()

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        self._arrange()

    @property
    def view(self) -> SignalView:
        """What is shown, or stands beside the table: as chosen, or what helps now."""
        if self._picked is not None:
            return self._picked
        if not self._bench.live.drivers:
            return SignalView.INPUTS
        return (
            SignalView.WIRING
            if self._advice.look is Look.WIRING and self._nothing
            else SignalView.ALL
        )

    @property
    def _nothing(self) -> bool:
        return not any(stream.edges for stream in self._bench.live.streams.values())

    @property
    def _wide(self) -> bool:
        return self.width() >= WIDE_PX

    # ---- laying out

    def _lay_out(self) -> None:
        column = column_of(on=self, edges=TALL_PAGE)
        top = line_of(
            (label("What comes in?", "title", wrap=False), 1), *self._buttons.values(), gap=GRID_PX
        )
        column.addLayout(top)
        said = line_of()
        self._told.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        said.addWidget(self._told, 1)
        said.addWidget(self._do)
        column.addLayout(said)
        inner = column_of(on=self._overview)
        # The table gets the room it needs first, the chart what is left, but never nothing.
        self._chart.setMinimumHeight(10 * GRID_PX)
        self._beside.setMinimumHeight(24 * GRID_PX)
        # Both take what there is: a page that asked for more would scroll on a small screen.
        for whole in (self._chart, self._beside):
            whole.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
        inner.addWidget(self._table, 9)
        inner.addWidget(self._chart, 1)
        inner.addWidget(self._no_chart, 1)
        for part in (self._edges, self._list, self._wiring):
            self._beside.addWidget(part)
        body = line_of((self._overview, 5), (self._beside, 4), gap=4 * GRID_PX)
        column.addLayout(body, 1)
        column.addWidget(self._record)

    def _view_button(self, view: SignalView) -> QPushButton:
        made = button(view.value, lambda: self.show_view(view))
        made.setCheckable(True)
        made.setProperty("role", "tab")
        self._views.addButton(made)
        return made

    def _arrange(self) -> None:
        """Show the view that is wanted, beside the table where there is room."""
        view, wide = self.view, self._wide
        beside = view
        if view is SignalView.ALL:
            beside = (
                LOOK_AT.get(self._advice.look, SignalView.EDGES)
                if self._nothing
                else SignalView.EDGES
            )
        self._buttons[SignalView.ALL].setVisible(not wide)
        self._buttons[beside if wide else view].setChecked(True)
        parts = {
            SignalView.EDGES: self._edges,
            SignalView.INPUTS: self._list,
            SignalView.WIRING: self._wiring,
        }
        self._beside.setCurrentWidget(parts[beside])
        self._overview.setVisible(wide or view is SignalView.ALL)
        self._beside.setVisible(wide or view is not SignalView.ALL)
        self._do.setVisible(self._advice.look in LOOK_AT and not self._seen(self._advice.look))
        self._table.set_roomy(wide)
        needed_px = self._table.needed_px()
        self._table.setMinimumHeight(min(needed_px, 10 * GRID_PX))
        self._table.setMaximumHeight(needed_px)

    def _seen(self, look: Look) -> bool:
        """Whether what the advice points to is in sight already."""
        view = LOOK_AT[look]
        return not self._beside.isHidden() and self._buttons[view].isChecked()

    # ---- showing

    def _show_now(self) -> None:
        self._show_lines()
        self._show_chart()
        self._show_beside()

    def _show_lines(self) -> None:
        self._show_advice(advice(self._bench, self._opened_s))
        lines = table(self._bench)
        self._table.show_lines(lines)
        self._list.refresh([line for line in lines if isinstance(line, InputLine)])
        self._arrange()

    def _show_chart(self) -> None:
        live = self._bench.live
        from_s = self._bench.clock() - SHOWN_S
        shown = {
            name: stream for name, stream in live.streams.items() if _has_speeds(stream, from_s)
        }
        self._chart.setVisible(bool(shown))
        self._no_chart.setHidden(bool(shown))
        if shown and self._chart.isVisible():
            tell_simulated(self._chart, live.simulated)
            picture = strip_picture(shown, self._bench.clock())
            self._chart.show_picture(picture, self._bench.settings.units)

    def _show_beside(self) -> None:
        if self._edges.isVisible():
            self._edges.refresh()
        if self._wiring.isVisible():
            self._wiring.refresh(self._advice.channel or self._edges.channel)

    def _show_advice(self, now: SignalAdvice) -> None:
        if now == self._advice:
            return
        self._advice = now
        say(self._told, f"{SHAPES[now.tone]} {now.text}")
        color = getattr(self._theme, now.tone if now.tone != NO_DATA else "ink")
        self._told.setStyleSheet(f"color: {color};")
        say(self._do, ACTIONS.get(now.look, ""))

    def _follow_advice(self) -> None:
        if self._advice.channel:
            self._edges.choose(self._advice.channel)
        if self._advice.look in LOOK_AT:
            self.show_view(LOOK_AT[self._advice.look])

    def _open_edges(self, channel: str) -> None:
        self._edges.choose(channel)
        self.show_view(SignalView.EDGES)


def _has_speeds(stream: Stream, from_s: float) -> bool:
    """Whether there is a line to draw: pulses without a machine, and marks, have no speed."""
    _, speed_mps = stream.history(from_s)
    return bool(np.isfinite(speed_mps).any())
