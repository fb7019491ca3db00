"""Small pieces every page is made of."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QFontMetrics, QPainter, QPaintEvent, QPen, QResizeEvent
from PySide6.QtWidgets import (
    QFrame,
    QLabel,
    QPushButton,
    QSizePolicy,
    QWidget,
)

from workbench.base.cautions import Caution
from workbench.calibration.statistics.decision import Verdict
from workbench.gui.parts.layout import lay_beside, line_of
from workbench.gui.theme import (
    GRID_PX,
    SMALL_PX,
    TEXT_PX,
    TITLE_PX,
    TOUCH_PX,
    Theme,
    fitted_font,
    font,
    grown,
)
from workbench.words.language import _
from workbench.words.words import Words


def label(text: str, role: str = "", *, wrap: bool = True) -> QLabel:
    """Text, translated, in one of the style sheet's roles: '', 'text', 'title', 'soft', 'error'."""
    made = QLabel(_(text))
    made.setProperty("role", role)
    made.setWordWrap(wrap)
    made.setTextFormat(Qt.TextFormat.PlainText)
    return made


def button(text: str, do: Callable[[], object], *, is_next: bool = False) -> QPushButton:
    """A button: a verb and its object, translated. `is_next` fills the page's one next step."""
    made = QPushButton(text := _(text))
    made.setMinimumHeight(TOUCH_PX)
    made.setAccessibleName(text)
    made.setAutoDefault(True)  # Enter presses it, as the space bar does
    if is_next:
        made.setProperty("role", "next")
    made.clicked.connect(lambda: do())
    return made


def say(where: QLabel | QPushButton, text: str) -> None:
    """Set a text, translated, only where it changes: setting it costs a layout."""
    text = _(text)
    if where.text() != text:
        where.setText(text)
        if isinstance(where, QPushButton):
            where.setAccessibleName(text)


class Elided(QLabel):
    """One line of text that gives way where room is short; the whole of it as a tooltip."""

    def __init__(self, role: str = "") -> None:
        super().__init__()
        self.setProperty("role", role)
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Preferred)

    def setText(self, text: str) -> None:  # noqa: N802
        super().setText(text)
        self.setToolTip(text)
        self.setAccessibleName(text)

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        return QSize(10 * GRID_PX, super().minimumSizeHint().height())

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        painter = QPainter(self)
        text = self.fontMetrics().elidedText(self.text(), Qt.TextElideMode.ElideRight, self.width())
        painter.drawText(self.rect(), self.alignment(), text)
        painter.end()


class Fitted(Elided):
    """One line, as large as its place allows, up to a title; what is too long even in small
    letters gives way at its end."""

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        painter = QPainter(self)
        size_px, least_px = grown(TITLE_PX), grown(SMALL_PX)
        wide = QFontMetrics(fitted_font(size_px, bold=True)).horizontalAdvance(self.text())
        if wide > self.width():
            size_px = max(least_px, int(size_px * self.width() / wide))
        painter.setFont(fitted_font(size_px, bold=True))
        cut, room = Qt.TextElideMode.ElideRight, self.width()
        painter.drawText(
            self.rect(), self.alignment(), painter.fontMetrics().elidedText(self.text(), cut, room)
        )
        painter.end()


FOCUS_PX = 2


def draw_focus(painter: QPainter, widget: QWidget, theme: Theme) -> None:
    """The ring round a widget that paints itself, while it has the focus."""
    if widget.hasFocus():
        painter.setPen(QPen(theme.color("belt"), FOCUS_PX))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(widget.rect().adjusted(1, 1, -1, -1))


VERDICT_COLORS = {
    Verdict.PASS: "in_band",
    Verdict.CONDITIONAL_PASS: "in_band",
    Verdict.CONDITIONAL_FAIL: "attention",
    Verdict.FAIL: "bad",
    Verdict.CANNOT_TELL: "no_data",
}


class Painted(QWidget):
    """A widget that paints itself, in the theme in use."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._paint(painter)
        painter.end()

    def _paint(self, painter: QPainter) -> None:
        """Everything, on a painter that draws without steps."""
        raise NotImplementedError


class VerdictPill(Painted):
    """A verdict's word in a filled pill."""

    def __init__(self, theme: Theme) -> None:
        super().__init__(theme)
        self._verdict = Verdict.CANNOT_TELL
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.show_verdict(Verdict.CANNOT_TELL)

    def show_verdict(self, verdict: Verdict) -> None:
        self._verdict = verdict
        self.setAccessibleName(f"Verdict: {verdict.value}")
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(grown(16 * GRID_PX + 8 * len(self._verdict.value)), grown(5 * GRID_PX))

    def _paint(self, painter: QPainter) -> None:
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(self._theme.color(VERDICT_COLORS[self._verdict]))
        box = QRectF(self.rect())
        painter.drawRoundedRect(box, box.height() / 2, box.height() / 2)
        painter.setPen(self._theme.color("ground"))
        painter.setFont(font(TEXT_PX, bold=True))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, self._verdict.value)


BESIDE_PX = 640
"""Width of a caution from which its button stands beside the words."""


class CautionCard(QFrame):
    """A caution before a step: plain words, one acknowledgement a session, kept in `read`."""

    def __init__(
        self, caution: Caution, read: set[str], acknowledged: Callable[[], object]
    ) -> None:
        super().__init__()
        self._caution, self._read = caution, read
        self.setProperty("role", "caution")
        self.setAccessibleName("Caution")
        line = line_of(on=self, edges=(2 * GRID_PX,) * 4)
        sign = QLabel("⚠")
        sign.setStyleSheet("font-size: 40px;")
        sign.setAlignment(Qt.AlignmentFlag.AlignTop)
        line.addWidget(sign)
        self.understood = button("I have read this", self._done)
        said = label(Words().say(caution), "text")
        said.setAlignment(Qt.AlignmentFlag.AlignTop)
        self._said = line_of((said, 1))
        self._said.addWidget(self.understood, 0, Qt.AlignmentFlag.AlignBottom)
        line.addLayout(self._said, 1)
        self._acknowledged = acknowledged

    @property
    def is_read(self) -> bool:
        """Whether it was read, here or on another page."""
        return self._caution in self._read

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        lay_beside(self._said, wide=self.width() >= grown(BESIDE_PX))

    def _done(self) -> None:
        self._read.add(self._caution)
        self.hide()
        self._acknowledged()
