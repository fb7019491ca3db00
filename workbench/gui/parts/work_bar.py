"""What a page's slow work is doing, how far it is, and the button that ends it."""

from __future__ import annotations

import math

from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QProgressBar, QWidget

from workbench.gui.parts.basics import button, label, say
from workbench.gui.parts.layout import line_of
from workbench.gui.work_line import WorkLine
from workbench.words.language import _

APPEARS_MS = 300
"""A work shorter than this is not worth a look."""
LOOK_MS = 100
STEPS = 1000


class WorkBar(QWidget):
    """Words, a bar and Cancel for the work of one line; hidden where nothing lasts."""

    def __init__(self, works: WorkLine, appears_ms: int = APPEARS_MS) -> None:
        super().__init__()
        self._works = works
        self._words = label("", "text", wrap=False)
        self._bar = QProgressBar()
        self._bar.setTextVisible(False)
        self._bar.setAccessibleName(_("How far the work is"))
        self.cancel = button("Cancel", self._cancel)
        line_of(self._words, (self._bar, 1), self.cancel, on=self)
        self.hide()
        self._appears = QTimer(self, singleShot=True, interval=appears_ms)
        self._appears.timeout.connect(self._appear)
        self._look = QTimer(self, interval=LOOK_MS)
        self._look.timeout.connect(self._show)
        works.changed.connect(self._changed)

    def _changed(self) -> None:
        if not self._works.busy:
            self._appears.stop()
            self._look.stop()
            self.hide()
        elif not self._look.isActive() and not self._appears.isActive():
            self._appears.start()

    def _appear(self) -> None:
        self._show()
        self.show()
        self._look.start()

    def _show(self) -> None:
        progress = self._works.progress
        fraction = progress.fraction if progress else math.nan
        known = math.isfinite(fraction)
        self._bar.setRange(0, STEPS if known else 0)  # 0 to 0 is drawn as going on
        if known:
            self._bar.setValue(round(STEPS * min(max(fraction, 0.0), 1.0)))
        self.cancel.setVisible(progress is not None)
        ending = progress is not None and progress.cancelled
        self.cancel.setEnabled(not ending)
        words = progress.words if progress else "Working …"
        say(self._words, "Ending …" if ending else words)

    def _cancel(self) -> None:
        progress = self._works.progress
        if progress is not None:
            progress.cancel()
            self._show()
