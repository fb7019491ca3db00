"""The signals: what comes in, from where, how fresh; choose inputs, record them."""

from __future__ import annotations

import math

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractItemView,
    QComboBox,
    QHBoxLayout,
    QHeaderView,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from workbench.gui.theme import GRID_PX, TOUCH_PX, Theme
from workbench.gui.widgets.basics import button, label, say
from workbench.gui.widgets.strip_chart import StripChart
from workbench.models.bench import Bench
from workbench.models.live import Stream
from workbench.models.plugged import PluggedModel
from workbench.models.wording import NO_VALUE, speed_text

COLUMNS = ("Signal", "Speed", "Pulses/s", "Pulses", "Lost", "Last heard", "State")


class SignalsPage(QWidget):
    """Every stream as it is now, and a chart of the last two minutes."""

    def __init__(self, bench: Bench, theme: Theme) -> None:
        super().__init__()
        self._bench, self._plugged = bench, PluggedModel()
        self._frames = 0
        self._choice = QComboBox()
        self._choice.setMinimumHeight(TOUCH_PX)
        self._choice.setEditable(True)
        self._choice.setAccessibleName("Input to use")
        self._choice.setSizeAdjustPolicy(
            QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
        )
        self._find = button("Find inputs", self._plugged.find)
        self._use = button("Use this input", self._use_choice)
        self._record = button("Start recording", self._switch_recording, is_next=True)
        self._said = label("", "soft")
        self._table = _table()
        self._chart = StripChart(theme)
        column = QVBoxLayout(self)
        column.setContentsMargins(3 * GRID_PX, 2 * GRID_PX, 3 * GRID_PX, 2 * GRID_PX)
        column.setSpacing(2 * GRID_PX)
        column.addWidget(label("What comes in?", "title"))
        line = QHBoxLayout()
        line.setSpacing(2 * GRID_PX)
        line.addWidget(self._choice, 1)
        line.addWidget(self._use)
        line.addWidget(self._find)
        line.addWidget(self._record)
        column.addLayout(line)
        column.addWidget(self._said)
        column.addWidget(self._table, 3)
        column.addWidget(self._chart, 2)
        self._plugged.subscribe(self._show_offers)
        self._show_offers()

    def set_theme(self, theme: Theme) -> None:
        self._chart.set_theme(theme)

    def refresh(self) -> None:
        self._plugged.take()
        running = self._bench.recording.running
        say(self._record, "Stop recording" if running else "Start recording")
        say(self._said, self._sentence())
        self._said.setVisible(bool(self._said.text()))
        # Numbers that change 30 times a second cannot be read; every fifth frame is enough.
        self._frames += 1
        if self._frames % 5 == 1:
            self._show_streams()

    def _sentence(self) -> str:
        live = self._bench.live
        troubles = [
            f"{status.address}: {status.state.value}, {status.reason}"
            for status in live.statuses()
            if status.reason
        ]
        if live.problems or troubles:
            return "  ".join([*live.problems, *troubles])
        if not live.streams:
            return (
                "Nothing comes in yet. Find inputs, or type an address such as "
                "counter:/dev/ttyACM0, then use it. If a pickup stays silent, look at its gap, "
                "its plug and its supply."
            )
        return self._bench.recording.said

    def _show_streams(self) -> None:
        live, units, now_s = self._bench.live, self._bench.settings.units, self._bench.clock()
        streams = list(live.streams.values())
        self._table.setRowCount(len(streams))
        for at, stream in enumerate(streams):
            cells = (
                stream.name,
                speed_text(stream.speed_mps, units) if stream.name != "lap" else NO_VALUE,
                f"{stream.rate_hz:.1f}" if math.isfinite(stream.rate_hz) else NO_VALUE,
                str(stream.edges) if stream.is_pulses else NO_VALUE,
                str(stream.lost),
                _age(stream, now_s),
                "○ lost" if stream.silent(now_s) else "● live",
            )
            for column, text in enumerate(cells):
                self._cell(at, column, text)
        shown = {name: stream for name, stream in live.streams.items() if name != "lap"}
        self._chart.show_streams(shown, now_s, units)

    def _cell(self, at: int, column: int, text: str) -> None:
        item = self._table.item(at, column)
        if item is None:
            item = QTableWidgetItem()
            self._table.setItem(at, column, item)
        if item.text() != text:
            item.setText(text)

    def _show_offers(self) -> None:
        self._find.setText("Listening …" if self._plugged.listening else "Find inputs")
        self._find.setEnabled(not self._plugged.listening)
        typed = self._choice.currentText()
        self._choice.clear()
        for offer in self._plugged.offers:
            words = f"{offer.words} – {offer.problem}" if offer.problem else offer.words
            self._choice.addItem(words, offer.address)
        if typed and self._choice.findText(typed) < 0:
            self._choice.setEditText(typed)

    def _use_choice(self) -> None:
        at = self._choice.findText(self._choice.currentText())
        address = str(self._choice.itemData(at)) if at >= 0 else self._choice.currentText().strip()
        if address:
            self._bench.use_inputs([address])
            self._bench.settings.change(inputs=[address])

    def _switch_recording(self) -> None:
        recording = self._bench.recording
        recording.stop() if recording.running else recording.start()


def _age(stream: Stream, now_s: float) -> str:
    age_s = stream.age_s(now_s)
    return f"{age_s:.1f} s ago" if math.isfinite(age_s) else "never"


def _table() -> QTableWidget:
    table = QTableWidget(0, len(COLUMNS))
    table.setHorizontalHeaderLabels(list(COLUMNS))
    table.verticalHeader().hide()
    table.setShowGrid(False)
    table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
    table.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)
    table.horizontalHeader().setDefaultAlignment(Qt.AlignmentFlag.AlignLeft)
    table.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
    table.setAccessibleName("Signals")
    return table
