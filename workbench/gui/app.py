"""The bench as a program: one window, its log, and a clean end however it comes."""

from __future__ import annotations

import gc
import logging
import os
import signal
import sys
import threading
from collections.abc import Callable, Sequence
from importlib import import_module
from pathlib import Path
from types import FrameType, TracebackType

from platformdirs import user_log_path
from PySide6.QtCore import (
    QMessageLogContext,
    QObject,
    QTimer,
    QtMsgType,
    Signal,
    qInstallMessageHandler,
)
from PySide6.QtGui import QIcon
from PySide6.QtWidgets import QApplication, QWidget

from drivers.catalogue import listing
from workbench.base.log import LOG, start_log
from workbench.gui.one_window import Doorbell, bring_forward, name_of, raise_other
from workbench.gui.theme import Theme
from workbench.gui.window import BenchWindow, PageMaker
from workbench.models import first_look
from workbench.models.bench import Bench
from workbench.models.settings import Settings, default_path
from workbench.words.language import _

PACK_AFTER_MS = 10_000
"""By then the window has come up and is in use."""

PAGES = {
    "Machine": ("workbench.gui.machine.page", "MachinePage"),
    "Prepare": ("workbench.gui.prepare.page", "PreparePage"),
    "Signals": ("workbench.gui.signals.page", "SignalsPage"),
    "Calibrate": ("workbench.gui.calibrate.page", "CalibratePage"),
    "Gap": ("workbench.gui.gap.page", "GapPage"),
    "Pass": ("workbench.gui.passes.page", "PassPage"),
    "Records": ("workbench.gui.records.page", "RecordsPage"),
}
"""The pages in the order of the sidebar: module and class."""


def run(arguments: Sequence[str] = ()) -> int:
    """Open the bench; returns the exit status once its window is closed: 3 where a recording
    could not be sealed."""
    app = QApplication([sys.argv[0], *arguments])
    app.setApplicationName("evenpace")
    app.setApplicationDisplayName("Evenpace")
    app.setDesktopFileName("evenpace")
    app.setWindowIcon(QIcon(str(Path(__file__).parent / "icons" / "evenpace.svg")))
    app.setStyle("Fusion")
    name = name_of(os.path.realpath(os.environ.get("EVENPACE_STORE", "")))
    if raise_other(name):
        print(_("The bench is open already; its window is in front now."))
        return 0
    log_file = start_log(user_log_path("evenpace"))
    bench = Bench(Settings(default_path()))
    window = make_window(bench)
    hooks = ErrorHooks(window.say, log_file)
    hooks.install()
    Doorbell(name, lambda: bring_forward(window), window)
    _close_on_signals(app.closeAllWindows)
    if homeless := first_look.homeless(bench.settings, log_file):
        bench.tell(homeless)
    ended = threading.Event()
    # The window first: a device or its driver may take its time.
    QTimer.singleShot(0, bench.start)
    QTimer.singleShot(0, lambda: first_look.look_at_store(bench, ended))
    QTimer.singleShot(PACK_AFTER_MS, bench.recording.pack)
    QTimer.singleShot(0, lambda: make_ready(window))
    try:
        window.show()
        status = app.exec()
    finally:
        ended.set()
        hooks.remove()
    for sentence in bench.told:
        LOG.error(sentence)
        print(f"evenpace: {sentence}", file=sys.stderr)
    return 3 if bench.told else status


def make_window(bench: Bench) -> BenchWindow:
    """The window with all its pages."""

    def start_page(bench: Bench, theme: Theme) -> QWidget:
        from workbench.gui.start.page import StartPage

        return StartPage(bench, theme, lambda name: window.show_page(name))

    window = BenchWindow(bench, {"Start": start_page, **{name: _page(name) for name in PAGES}})
    return window


def _page(name: str) -> PageMaker:
    """A page whose module is imported when it is first seen, or by `warm_up` before."""

    def make(bench: Bench, theme: Theme) -> QWidget:
        module, maker = PAGES[name]
        made: QWidget = getattr(import_module(module), maker)(bench, theme)
        return made

    return make


def make_ready(window: BenchWindow) -> None:
    """Import and make the other pages, so that none keeps a person waiting later.

    They live as long as the program. The garbage collector is told so: each of its looks
    through all of them would hold the screen for a tenth of a second.
    """
    gc.disable()
    window.make_ahead(warm_up(), then=_keep_what_stands)


def _keep_what_stands() -> None:
    gc.freeze()
    gc.enable()


def warm_up() -> threading.Thread:
    """Import the other pages beside the screen."""

    def work() -> None:
        for module, _maker in PAGES.values():
            import_module(module)
        listing("sim")  # the simulator's scenarios, which Signals offers

    thread = threading.Thread(target=work, name="warm-up", daemon=True)
    thread.start()
    return thread


class ErrorHooks(QObject):
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
        where = (
            _("The log {log_file} tells more.").format(log_file=self._log_file)
            if self._log_file
            else ""
        )
        self._met.emit(
            _(
                "Something unexpected went wrong ({name__}: {error}). The bench goes on, and "
                "so does a recording. {where}"
            ).format(name__=kind.__name__, error=error, where=where)
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
        # Not here, in the middle of whatever was going on. Python gets here at the next
        # frame at the latest: Qt's loop alone would never let it.
        QTimer.singleShot(0, close)

    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), handle)
