"""The window: the header with what is always true, the places on the left, one page."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from PySide6.QtCore import QTimer, Signal
from PySide6.QtGui import QCloseEvent, QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QApplication,
    QButtonGroup,
    QHBoxLayout,
    QLabel,
    QMainWindow,
    QPushButton,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from workbench.gui import theme as themes
from workbench.gui.theme import GRID_PX, THEMES, TOUCH_PX, Theme
from workbench.gui.widgets.basics import button, label
from workbench.models.bench import Bench

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
        self.setWindowTitle("Evenpace")
        self.setMinimumSize(960, 540)
        self._stack = QStackedWidget()
        self._places = QButtonGroup(self)
        self._machine, self._inputs = label("", "text", wrap=False), label("", wrap=False)
        self._simulated = label("Simulated", "error", wrap=False)
        self._units = button("", self._switch_units)
        self._theme_switch = button("", self._switch_theme)
        body = QWidget()
        column = QVBoxLayout(body)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self._header())
        below = QHBoxLayout()
        below.setSpacing(0)
        below.addWidget(self._sidebar())
        below.addWidget(self._stack, 1)
        column.addLayout(below, 1)
        self.setCentralWidget(body)
        self._timer = QTimer(self, interval=FRAME_MS)
        self._timer.timeout.connect(self.tick)
        self._unsubscribe = bench.settings.subscribe(self._settings_changed)
        self.show_page(next(iter(pages)))
        self._settings_changed()
        self._timer.start()

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
        self._show_header()
        page = self._stack.currentWidget()
        if page is not None:
            page.refresh()  # type: ignore[attr-defined]
        self.frame.emit()

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802
        self._timer.stop()
        self._unsubscribe()
        self._bench.close()
        super().closeEvent(event)

    def _header(self) -> QWidget:
        header = QWidget()
        line = QHBoxLayout(header)
        line.setContentsMargins(2 * GRID_PX, GRID_PX, 2 * GRID_PX, GRID_PX)
        line.setSpacing(3 * GRID_PX)
        line.addWidget(self._machine)
        line.addWidget(self._simulated)
        line.addStretch(1)
        line.addWidget(self._inputs)
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
        _say(self._machine, machine.name if machine else "No machine yet")
        self._simulated.setVisible(self._bench.live.simulated)
        now_s = self._bench.clock()
        words = [
            f"{stream.name} {'○ lost' if stream.silent(now_s) else '● live'}"
            for stream in self._bench.live.streams.values()
        ]
        _say(self._inputs, "   ".join(words) or "No input yet")

    def _switch_units(self) -> None:
        now = self._bench.settings.now.units
        self._bench.settings.change(units="metric" if now == "us" else "us")

    def _switch_theme(self) -> None:
        now = self._bench.settings.now.theme
        self._bench.settings.change(theme="dark" if now == "bright" else "bright")

    def _settings_changed(self) -> None:
        app = QApplication.instance()
        if isinstance(app, QApplication):
            themes.apply(app, self.theme)
        self._units.setText(self._bench.settings.units.name)
        self._theme_switch.setText("Bright" if self.theme.name == "bright" else "Dark")
        for page in self._made.values():
            page.set_theme(self.theme)  # type: ignore[attr-defined]
        self.tick()


def _say(where: QLabel, text: str) -> None:
    """Set a label's text only where it changes: setting it costs a layout."""
    if where.text() != text:
        where.setText(text)
