"""The window: the header with what is always true, the places on the left, one page."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from PySide6.QtCore import QByteArray, QEvent, QObject, QSize, Qt, QTimer, Signal
from PySide6.QtGui import QCloseEvent, QDropEvent, QKeySequence, QResizeEvent, QShortcut, QShowEvent
from PySide6.QtWidgets import (
    QApplication,
    QButtonGroup,
    QFrame,
    QMainWindow,
    QPushButton,
    QScrollArea,
    QStackedWidget,
    QWidget,
)

from workbench.gui import theme as themes
from workbench.gui.header import Header
from workbench.gui.icons import ICON_PX, ICON_ROOM_PX, icon
from workbench.gui.parts.basics import button, label
from workbench.gui.parts.files import dropped
from workbench.gui.parts.layout import column_of, line_of
from workbench.gui.parts.particulars import ForWhomPage
from workbench.gui.parts.reading_order import order_by_eye
from workbench.gui.theme import GRID_PX, THEMES, Theme
from workbench.gui.work_line import Worker, WorkLine
from workbench.models.bench import Bench
from workbench.models.lookout import Lookout
from workbench.models.settings import Settings

if TYPE_CHECKING:
    from workbench.gui.parts.about import AboutPage

FRAME_MS = 30
"""The screen looks at the inputs 33 times a second: 30 with some to spare."""

SIDEBAR_PX = 18 * GRID_PX
MOST_SENTENCES = 3
"""As many of the newest sentences stand above the page until they are closed."""


class Page(Protocol):
    """What the window asks of a page."""

    def refresh(self) -> None:
        """Show the models as they are now; called every frame while the page is seen."""


PageMaker = Callable[[Bench, Theme], QWidget]


class BenchWindow(QMainWindow):
    """The bench's one window."""

    frame = Signal()

    def __init__(self, bench: Bench, pages: dict[str, PageMaker]) -> None:
        super().__init__()
        self._bench, self._makers = bench, pages
        self._made: dict[str, QWidget] = {}
        self._frames: dict[str, QScrollArea] = {}
        self._asking: QScrollArea | None = None
        self._seen = ""
        self._dressed: Theme | None = None
        self._dressed_pages: dict[str, Theme] = {}
        self._dressing: Iterator[None] = iter(())
        self.setWindowTitle("Evenpace")
        self.setMinimumSize(960, 540)
        self._stack = QStackedWidget()
        self._places = QButtonGroup(self)
        self._lookout = Lookout(bench)
        self.header = Header(bench, self.theme)
        self.header.asked_for_whom.connect(self._ask_for_whom)
        self._sentences: deque[str] = deque(maxlen=MOST_SENTENCES)
        self._trouble = label("", "text")
        self._trouble_bar = self._make_trouble_bar()
        body = QWidget()
        column = column_of(self.header, self._trouble_bar, on=body, gap=0)
        below = line_of(gap=0)
        self._places_column = self._sidebar()
        below.addWidget(self._places_column)
        below.addWidget(self._stack, 1)
        column.addLayout(below, 1)
        self.setCentralWidget(body)
        QShortcut(QKeySequence("Ctrl+Q"), self).activated.connect(self.close)
        QShortcut(QKeySequence("F11"), self).activated.connect(self.switch_cab)
        self.timer = QTimer(self, interval=FRAME_MS, timerType=Qt.TimerType.PreciseTimer)
        self.timer.timeout.connect(self.tick)
        self._unsubscribe = bench.settings.subscribe(self._settings_changed)
        self.resize(1024, 600)
        self.restoreGeometry(QByteArray.fromBase64(bench.settings.now.window.encode()))
        self._settings_changed()
        self.show_page(next(iter(pages)))
        self._places.buttons()[0].setFocus()
        self.timer.start()

    @property
    def settings(self) -> Settings:
        return self._bench.settings

    @property
    def theme(self) -> Theme:
        return THEMES[self._bench.settings.now.theme]

    def show_page(self, name: str) -> None:
        """Bring a page to the front; it is made when first seen."""
        if name not in self._made:
            self._make_page(name)
        if self._dressed_pages.get(name) is not self.theme:
            self._dress_page(name)
        self._stack.setCurrentWidget(self._frames[name])
        if self._asking is not None:
            self._stack.removeWidget(self._asking)
            self._asking.deleteLater()
            self._asking = None
        self._seen = name
        for place in self._places.buttons():
            place.setChecked(place.objectName() == name)
        self.tick()

    def make_ahead(self, imports: threading.Thread, then: Callable[[], object]) -> None:
        """Make the pages that were not seen yet, a piece a frame, once `imports` is through.

        `then` is called after the last.
        """
        pieces = self._pieces_ahead(imports)

        def make_piece() -> None:
            try:
                next(pieces)
            except StopIteration:
                self.timer.timeout.disconnect(made)
                then()

        made = self.timer.timeout.connect(make_piece)

    def page(self, name: str) -> QWidget:
        """A page, made if need be."""
        self.show_page(name)
        return self._made[name]

    @property
    def current(self) -> QWidget:
        """The page that is seen."""
        return self._made[self._seen]

    def tick(self) -> None:
        """One frame: take in what came, show it on the page that is seen."""
        self._bench.live.update()
        self._bench.recording.look()
        self._lookout.look()
        while self._bench.told:
            self.say(self._bench.told.popleft())
        self.header.refresh()
        next(self._dressing, None)
        if self._seen:
            self.current.refresh()  # type: ignore[attr-defined]
        self.frame.emit()

    def say(self, sentence: str) -> None:
        """Show a sentence above the page until it is closed."""
        if sentence not in self._sentences:
            self._sentences.append(sentence)
        self._trouble.setText("\n".join(self._sentences))
        self._trouble_bar.show()

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802
        super().showEvent(event)
        # Here, before a text field would take the file's name as something typed.
        self.windowHandle().installEventFilter(self)
        if self.settings.now.cab and not self.isFullScreen():
            self._show_cab()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802
        """Files dropped anywhere are opened by the page that is seen, else by Records."""
        if isinstance(event, QDropEvent) and (paths := dropped(event.mimeData())):
            event.acceptProposedAction()
            if event.type() == QEvent.Type.Drop:
                self.open_files(paths)
            return True
        return super().eventFilter(watched, event)

    def open_files(self, paths: Sequence[Path]) -> None:
        """Open files on the page that is seen, or on Records where it takes none."""
        if not hasattr(self.current, "open_files"):
            self.show_page("Records")
        self.current.open_files(paths)  # type: ignore[attr-defined]

    def _ask_for_whom(self) -> None:
        self._show_aside(ForWhomPage)

    def _show_about(self) -> None:
        from workbench.gui.parts.about import AboutPage  # and with it the store's whole room

        self._show_aside(AboutPage)

    def _show_aside(self, kind: type[ForWhomPage] | type[AboutPage]) -> None:
        """In place of the page that is seen; asked for once more, back to it."""
        shown = None if self._asking is None else self._asking.widget()
        if shown is not None:
            self.show_page(self._seen)
        if isinstance(shown, kind):
            return
        page = kind(self._bench, lambda: self.show_page(self._seen))
        self._asking = _scrolling(page)
        self._stack.setCurrentIndex(self._stack.addWidget(self._asking))
        themes.dress(self._asking, self.theme)
        page.open()

    def switch_cab(self) -> None:
        """To the cab's one page, which is read at 1.5 m, or back to the desk; kept."""
        self.settings.change(cab=not self.settings.now.cab)
        self._show_cab()

    def _show_cab(self) -> None:
        cab = self.settings.now.cab
        for part in (self.header, self._places_column):
            part.setVisible(not cab)
        if cab:
            self.show_page("Pass")
            self.showFullScreen()
        elif self.isFullScreen():
            self.showNormal()
        self._grow()

    def _grow(self) -> None:
        if themes.grow(themes.growth_for(self.width(), self.height(), cab=self.settings.now.cab)):
            self._dressed = None
            self._dressed_pages.clear()
            themes.keep_widths(self)
            self._settings_changed()

    def focusNextPrevChild(self, forward: bool) -> bool:  # noqa: N802
        order_by_eye(self.header, self._trouble_bar, self._places_column, self._frames[self._seen])
        return super().focusNextPrevChild(forward)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        self._grow()
        super().resizeEvent(event)

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802
        self.timer.stop()
        self._unsubscribe()
        themes.grow(1.0)
        self.hide()  # sealing a recording on a slow disk may take a while
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
        self._sentences.clear()
        self._trouble_bar.hide()

    def _make_trouble_bar(self) -> QFrame:
        bar = QFrame()
        bar.setProperty("role", "trouble")
        bar.setAccessibleName("Message")
        line_of(
            (self._trouble, 1),
            button("Close message", self._close_trouble),
            on=bar,
            edges=(2 * GRID_PX, GRID_PX, 2 * GRID_PX, GRID_PX),
        )
        bar.hide()
        return bar

    def _sidebar(self) -> QWidget:
        sidebar = QWidget()
        themes.keep_width(sidebar, SIDEBAR_PX)
        column = column_of(on=sidebar, gap=0, edges=(0, GRID_PX, 0, 0))
        for number, name in enumerate(self._makers, 1):
            place = QPushButton(name)
            place.setObjectName(name)
            place.setProperty("role", "place")
            place.setCheckable(True)
            place.setIconSize(QSize(ICON_ROOM_PX, ICON_PX))
            place.setToolTip(f"{name} (Ctrl+{number})")
            place.clicked.connect(lambda _checked=False, name=name: self.show_page(name))
            QShortcut(QKeySequence(f"Ctrl+{number}"), self).activated.connect(place.click)
            self._places.addButton(place)
            column.addWidget(place)
        column.addStretch(1)
        about = button("About", self._show_about)
        about.setProperty("role", "tab")
        column.addWidget(about)
        return sidebar

    def _settings_changed(self) -> None:
        app = QApplication.instance()
        # A style sheet makes every widget anew; the units alone need none of that, and the
        # pages come in the next frames.
        if isinstance(app, QApplication) and self._dressed is not self.theme:
            themes.apply(app, self.theme)
            for part in (self.header, self._trouble_bar, self._places_column, self._asking):
                if part is not None:
                    themes.dress(part, self.theme)
            for place in self._places.buttons():
                place.setIcon(icon(place.objectName().lower(), self.theme.ink))
            self._dressed = self.theme
        self.header.set_theme(self.theme)
        self.tick()
        self._dressing = self._dress_all()

    def _pieces_ahead(self, imports: threading.Thread) -> Iterator[None]:
        """The work of `make_ahead`, in pieces that are short enough to come between two frames."""
        while imports.is_alive():
            yield
        for name in self._makers:
            if name not in self._made:
                self._make_page(name)
                yield
            if name not in self._dressed_pages:
                self._dress_page(name)
                yield

    def _make_page(self, name: str) -> None:
        page = self._made[name] = self._makers[name](self._bench, self.theme)
        self._frames[name] = _scrolling(page)
        # In its place before it is dressed: a new parent would dress it again.
        self._stack.addWidget(self._frames[name])

    def _dress_page(self, name: str) -> None:
        for _piece in self._dress_in_pieces(name):
            pass

    def _dress_all(self) -> Iterator[None]:
        """The page that is seen, then the others; in pieces."""
        for name in filter(None, (self._seen, *self._made)):
            if self._dressed_pages.get(name) is not self.theme:
                yield from self._dress_in_pieces(name)
                yield

    def _dress_in_pieces(self, name: str) -> Iterator[None]:
        """Each short enough to come between two frames; the page is painted after the last.

        The old style sheet is taken off first, as in `themes.dress`.
        """
        frame, theme = self._frames[name], self.theme
        self._dressed_pages.pop(name, None)
        frame.setUpdatesEnabled(False)
        frame.setStyleSheet("")
        yield
        frame.setStyleSheet(themes.style_sheet(theme))
        yield
        themes.recolor(self._made[name], theme)
        yield
        frame.setUpdatesEnabled(True)
        self._dressed_pages[name] = theme


def _scrolling(page: QWidget) -> QScrollArea:
    """A page that scrolls where room is short: a small screen, large letters, a message."""
    frame = QScrollArea()
    frame.setWidgetResizable(True)
    frame.setFrameShape(QFrame.Shape.NoFrame)
    frame.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    frame.setWidget(page)
    return frame
