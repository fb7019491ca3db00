"""The bench as a program: one window, its log, and a clean end however it comes."""

from __future__ import annotations

import logging
import signal
import sys
import threading
from collections.abc import Callable, Sequence
from logging.handlers import RotatingFileHandler
from pathlib import Path
from types import FrameType, TracebackType

from platformdirs import user_log_path
from PySide6.QtCore import QMessageLogContext, QObject, QtMsgType, Signal, qInstallMessageHandler
from PySide6.QtWidgets import QApplication

from workbench.gui.pages.calibrate import CalibratePage
from workbench.gui.pages.gap import GapPage
from workbench.gui.pages.machine import MachinePage
from workbench.gui.pages.passing import PassPage
from workbench.gui.pages.records import RecordsPage
from workbench.gui.pages.signals import SignalsPage
from workbench.gui.pages.start import StartPage
from workbench.gui.theme import Theme
from workbench.gui.window import Window
from workbench.models.bench import Bench
from workbench.models.settings import Settings, default_path

LOG = logging.getLogger("evenpace")
LOG_BYTES = 1_000_000


def run(arguments: Sequence[str] = ()) -> int:
    """Open the bench; returns the exit status once its window is closed."""
    app = QApplication([sys.argv[0], *arguments])
    app.setApplicationName("evenpace")
    app.setApplicationDisplayName("Evenpace")
    app.setStyle("Fusion")
    log_file = start_log(user_log_path("evenpace"))
    bench = Bench(Settings(default_path()))
    bench.start()
    window = make_window(bench)
    watch = Watch(window.say, log_file)
    watch.install()
    _close_on_signals(window.close)
    try:
        window.show()
        return app.exec()
    finally:
        watch.remove()


def make_window(bench: Bench) -> Window:
    """The window with all its pages."""

    def start_page(bench: Bench, theme: Theme) -> StartPage:
        return StartPage(bench, theme, lambda name: window.show_page(name))

    window = Window(
        bench,
        {
            "Start": start_page,
            "Machine": MachinePage,
            "Signals": SignalsPage,
            "Calibrate": CalibratePage,
            "Gap": GapPage,
            "Pass": PassPage,
            "Records": RecordsPage,
        },
    )
    return window


def start_log(folder: Path) -> Path | None:
    """Write the program's log to a file in `folder`; None where none can be written."""
    path = folder / "evenpace.log"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handler = RotatingFileHandler(path, maxBytes=LOG_BYTES, backupCount=2, encoding="utf-8")
    except OSError:
        return None
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    LOG.addHandler(handler)
    LOG.setLevel(logging.INFO)
    return path


class Watch(QObject):
    """Sees unexpected errors of every thread: the log gets all, the person a sentence.

    Nothing is ended: a recording goes on.
    """

    _met = Signal(str)

    def __init__(self, say: Callable[[str], object], log_file: Path | None) -> None:
        super().__init__()
        self._log_file = log_file
        self._seen: set[tuple[type[BaseException], str, int]] = set()
        self._met.connect(say)

    def install(self) -> None:
        """Take over the hooks of Python and Qt."""
        sys.excepthook = self.error
        threading.excepthook = self._of_thread
        qInstallMessageHandler(self._of_qt)

    def remove(self) -> None:
        """Give the hooks back."""
        sys.excepthook = sys.__excepthook__
        threading.excepthook = threading.__excepthook__
        qInstallMessageHandler(None)

    def error(
        self, kind: type[BaseException], error: BaseException, trace: TracebackType | None
    ) -> None:
        """Log an error and say it, once for each place: a frame comes 30 times a second."""
        if issubclass(kind, KeyboardInterrupt):
            QApplication.quit()
            return
        place = _last_place(trace)
        if (kind, *place) in self._seen:
            return
        self._seen.add((kind, *place))
        LOG.error("unexpected error", exc_info=(kind, error, trace))
        where = f"The log {self._log_file} tells more." if self._log_file else ""
        self._met.emit(
            f"Something unexpected went wrong ({kind.__name__}: {error}). The bench goes on, and "
            f"so does a recording. {where}"
        )

    def _of_thread(self, args: threading.ExceptHookArgs) -> None:
        if args.exc_value is not None:
            self.error(args.exc_type, args.exc_value, args.exc_traceback)

    def _of_qt(self, kind: QtMsgType, _context: QMessageLogContext, text: str) -> None:
        level = logging.INFO if kind is QtMsgType.QtInfoMsg else logging.WARNING
        if kind is not QtMsgType.QtDebugMsg:
            LOG.log(level, "Qt: %s", text)


def _last_place(trace: TracebackType | None) -> tuple[str, int]:
    if trace is None:
        return "", 0
    while trace.tb_next is not None:
        trace = trace.tb_next
    return trace.tb_frame.f_code.co_filename, trace.tb_lineno


def _close_on_signals(close: Callable[[], object]) -> None:
    """Ctrl-C, a closed terminal and a polite kill close the window as its own button does."""

    def handle(_number: int, _frame: FrameType | None) -> None:
        close()

    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), handle)
