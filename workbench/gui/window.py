"""The window: the header with what is always true, the places on the left, one page."""

from __future__ import annotations

import html
from collections.abc import Callable
from typing import Protocol

from PySide6.QtCore import QByteArray, Qt, QTimer, Signal
from PySide6.QtGui import QCloseEvent, QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QApplication,
    QButtonGroup,
    QHBoxLayout,
    QMainWindow,
    QPushButton,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from workbench.gui import theme as themes
from workbench.gui.theme import GRID_PX, THEMES, TOUCH_PX, Theme
from workbench.gui.widgets.basics import Elided, button, label, row, say
from workbench.gui.work_line import WorkLine
from workbench.gui.worker import Worker
from workbench.models.bench import Bench
from workbench.models.live import Stream
from workbench.models.pace import PaceModel
from workbench.models.wording import clock_text

FRAME_MS = 33
"""The screen looks at the inputs 30 times a second."""


class Page(Protocol):
    """What the window asks of a page."""

    def set_theme(self, theme: Theme) -> None: ...
    def refresh(self) -> None:
        """Show the models as they are now; called every frame while the page is seen."""


PageMaker = Callable[[Bench, Theme], QWidget]


class Window(QMainWindow):
    """The bench's one window."""

    frame = Signal()

    def __init__(self, bench: Bench, pages: dict[str, PageMaker]) -> None:
        super().__init__()
        self._bench, self._makers = bench, pages
        self._made: dict[str, QWidget] = {}
        self._dressed: Theme | None = None
        self.setWindowTitle("Evenpace")
        self.setMinimumSize(960, 540)
        self._stack = QStackedWidget()
        self._places = QButtonGroup(self)
        self._pace = PaceModel(bench)
        self._machine, self._inputs = Elided("text"), label("", wrap=False)
        self._inputs.setTextFormat(Qt.TextFormat.RichText)
        self._light = label("", "light", wrap=False)
        self._simulated = label("Simulated", "simulated", wrap=False)
        self._trouble = label("", "error")
        self._trouble_bar = row(
            self._trouble, button("Close message", self._close_trouble), stretch=False
        )
        self._trouble_bar.setContentsMargins(2 * GRID_PX, 0, 2 * GRID_PX, GRID_PX)
        self._trouble_bar.hide()
        self._units = button("", self._switch_units)
        self._theme_switch = button("", self._switch_theme)
        body = QWidget()
        column = QVBoxLayout(body)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self._header())
        column.addWidget(self._trouble_bar)
        below = QHBoxLayout()
        below.setSpacing(0)
        below.addWidget(self._sidebar())
        below.addWidget(self._stack, 1)
        column.addLayout(below, 1)
        self.setCentralWidget(body)
        self.timer = QTimer(self, interval=FRAME_MS)
        self.timer.timeout.connect(self.tick)
        self._unsubscribe = bench.settings.subscribe(self._settings_changed)
        self.resize(1024, 600)
        self.restoreGeometry(QByteArray.fromBase64(bench.settings.now.window.encode()))
        self._settings_changed()
        self.show_page(next(iter(pages)))
        self.timer.start()

    @property
    def theme(self) -> Theme:
        return THEMES[self._bench.settings.now.theme]

    def show_page(self, name: str) -> None:
        """Bring a page to the front; it is made when first seen."""
        if name not in self._made:
            page = self._makers[name](self._bench, self.theme)
            self._made[name] = page
            self._stack.addWidget(page)
        self._stack.setCurrentWidget(self._made[name])
        for place in self._places.buttons():
            place.setChecked(place.objectName() == name)
        self.tick()

    def page(self, name: str) -> QWidget:
        """A page, made if need be."""
        self.show_page(name)
        return self._made[name]

    def tick(self) -> None:
        """One frame: take in what came, show it on the page that is seen."""
        self._bench.live.update()
        self._bench.recording.watch()
        self._show_header()
        page = self._stack.currentWidget()
        if page is not None:
            page.refresh()  # type: ignore[attr-defined]
        self.frame.emit()

    def say(self, sentence: str) -> None:
        """Show a sentence above the page until it is closed."""
        self._trouble.setText(sentence)
        self._trouble_bar.show()

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802
        self.timer.stop()
        self._unsubscribe()
        place = bytes(self.saveGeometry().toBase64().data()).decode()
        self._bench.settings.change(window=place)
        self._bench.close()
        # A thread must not outlive the window that shows its outcome.
        for works in self.findChildren(WorkLine):
            works.wait()
        for worker in self.findChildren(Worker):
            worker.wait()
        super().closeEvent(event)

    def _close_trouble(self) -> None:
        self._trouble_bar.hide()

    def _header(self) -> QWidget:
        header = QWidget()
        line = QHBoxLayout(header)
        line.setContentsMargins(2 * GRID_PX, GRID_PX, 2 * GRID_PX, GRID_PX)
        line.setSpacing(2 * GRID_PX)
        line.addWidget(self._machine, 1)
        line.addWidget(self._simulated, 0, Qt.AlignmentFlag.AlignVCenter)
        line.addWidget(self._inputs)
        line.addWidget(self._light)
        line.addWidget(self._units)
        line.addWidget(self._theme_switch)
        return header

    def _sidebar(self) -> QWidget:
        sidebar = QWidget()
        sidebar.setFixedWidth(18 * GRID_PX)
        column = QVBoxLayout(sidebar)
        column.setContentsMargins(0, GRID_PX, 0, 0)
        column.setSpacing(0)
        for number, name in enumerate(self._makers, 1):
            place = QPushButton(name)
            place.setObjectName(name)
            place.setProperty("role", "place")
            place.setCheckable(True)
            place.setMinimumHeight(TOUCH_PX + GRID_PX)
            place.setToolTip(f"{name} (Ctrl+{number})")
            place.clicked.connect(lambda _checked=False, name=name: self.show_page(name))
            QShortcut(QKeySequence(f"Ctrl+{number}"), self).activated.connect(place.click)
            self._places.addButton(place)
            column.addWidget(place)
        column.addStretch(1)
        return sidebar

    def _show_header(self) -> None:
        machine = self._bench.machine
        say(self._machine, machine.name if machine else "No machine yet")
        self._simulated.setVisible(self._bench.live.simulated)
        say(self._inputs, self._input_words())
        recording = self._bench.recording
        self._light.setVisible(recording.running)
        if recording.running:
            lost = sum(stream.lost for stream in self._bench.live.streams.values())
            losses = f"{lost} lost" if lost else "none lost"
            say(self._light, f"◉ {clock_text(recording.duration_s)} recorded, {losses}")

    def _input_words(self) -> str:
        """The belt's and the ground's signal in words and colour, and how many more there are."""
        streams = self._bench.live.streams
        if not streams:
            return "No input yet"
        belt, ground = self._pace.belt(), self._pace.ground()
        words = [
            self._state_words(name, stream, color)
            for name, stream, color in (
                ("belt", belt, self.theme.belt),
                ("ground", ground, self.theme.earth),
            )
        ]
        now_s = self._bench.clock()
        others = [s for s in streams.values() if s is not belt and s is not ground]
        lost = sum(stream.silent(now_s) for stream in others if stream.name != "lap")
        if others:
            words.append(f"+{len(others)}" + (f" ({lost} lost)" if lost else ""))
        tip = "\n".join(
            f"{stream.name}: {'lost' if stream.silent(now_s) else 'live'}"
            for stream in streams.values()
        )
        if self._inputs.toolTip() != tip:
            self._inputs.setToolTip(tip)
            self._inputs.setAccessibleName(tip)
        return "&nbsp;&nbsp; ".join(words)

    def _state_words(self, name: str, stream: Stream | None, color: str) -> str:
        if stream is None:
            return f'<span style="color:{self.theme.no_data}">○ no {name}</span>'
        if stream.silent(self._bench.clock()):
            color, state = self.theme.no_data, "○ lost"
        else:
            state = "● live"
        return f'<span style="color:{color}">{html.escape(name)} {state}</span>'

    def _switch_units(self) -> None:
        now = self._bench.settings.now.units
        self._bench.settings.change(units="metric" if now == "us" else "us")

    def _switch_theme(self) -> None:
        now = self._bench.settings.now.theme
        self._bench.settings.change(theme="dark" if now == "bright" else "bright")

    def _settings_changed(self) -> None:
        app = QApplication.instance()
        # A style sheet makes every widget anew; the units alone need none of that.
        if isinstance(app, QApplication) and self._dressed is not self.theme:
            themes.apply(app, self.theme)
            self._dressed = self.theme
        self._units.setText(self._bench.settings.units.name)
        self._theme_switch.setText("Bright" if self.theme.name == "bright" else "Dark")
        for page in self._made.values():
            page.set_theme(self.theme)  # type: ignore[attr-defined]
        self.tick()
