"""The answer of a calibration: verdict, a sentence, what would settle it, the new setting."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QWidget

from workbench.gui.parts.basics import VerdictPill, label, say
from workbench.gui.parts.layout import column_of, line_of, row
from workbench.gui.parts.sketch import SketchView
from workbench.gui.theme import GRID_PX, Theme
from workbench.models.calibrate.job import CalibrateJob
from workbench.models.calibrate.words import advice_words, contradiction_words, setting_words
from workbench.words.language import _
from workbench.words.pictures.calibrate import verdict_sketch
from workbench.words.pictures.sketch import EMPTY
from workbench.words.words import Words

LINE_FROM_PX = (1100, 950)
"""Width of the strip and height of the window from which the number line finds room."""


class AnswerStrip(QWidget):
    """A strip of the page's width."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self.pill = VerdictPill(theme)
        self.sentence, self.said = label("", "text"), label("", "soft")
        self.doubt = label("", "text")
        self.setting, self._what = label("", "title", wrap=False), label("", "soft", wrap=False)
        self.setting.setAccessibleName(_("New setting of the readout"))
        words = column_of(self.doubt, self.sentence, self.said, gap=GRID_PX // 2)
        self.line = SketchView(theme, _("The error at work within what is allowed"))
        line = line_of((self.pill, Qt.AlignmentFlag.AlignTop), (words, 1), on=self)
        line.addWidget(self.line, 1, Qt.AlignmentFlag.AlignTop)
        self._new = row(self.setting, self._what, stretch=False)
        line.addWidget(self._new, 0, Qt.AlignmentFlag.AlignTop)
        self.setMinimumHeight(8 * GRID_PX)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        self._fit()

    def _fit(self) -> None:
        """The number line stands where there is room for it beside the words."""
        wide, high = LINE_FROM_PX
        roomy = self.width() >= wide and self.window().height() >= high
        self.line.setVisible(bool(self.line.sketch.shapes) and roomy)

    def show_job(self, job: CalibrateJob, words: Words, pending: bool, said: str) -> None:
        """`pending`: the answer to the last step is being worked out; `said` goes before
        advice."""
        answer = job.answer
        self.pill.setVisible(answer is not None and not pending)
        if pending:
            say(self.sentence, "Working it out …")
        elif answer is None:
            say(self.sentence, "The answer stands here after the first run.")
        else:
            self.pill.show_verdict(answer.latest.verdict)
            sentence = words.say(answer.latest.headline)
            if answer.as_left is not None:
                sentence = _("As left: {sentence}").format(sentence=sentence)
            say(self.sentence, sentence)
        doubt = "" if pending else contradiction_words(job, words)
        say(self.doubt, doubt)
        self.doubt.setVisible(bool(doubt))
        known = answer is not None and not pending
        self.line.show_sketch(verdict_sketch(answer, words) if known and answer else EMPTY)
        self._fit()
        advice = _("Three or more runs at different speeds are best.")
        if answer is not None:
            advice = advice_words(job, words)
        parts = (said or job.said, "" if pending else advice)
        say(self.said, " ".join(part for part in parts if part))
        setting, what = setting_words(job)
        self._new.setVisible(bool(setting) and not pending)
        say(self.setting, setting)
        say(self._what, what)
