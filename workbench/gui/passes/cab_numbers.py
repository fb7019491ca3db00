"""The cab's three numbers, to be read from 1.5 m: as large as the room allows, never below 96 px.

They are drawn in the theme's ink, which has the most contrast; belt and ground are told
apart by their place, the bar above each and its word. What is lost is grey and says so.
"""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QBrush, QFont, QFontMetricsF, QPainter
from PySide6.QtWidgets import QSizePolicy, QWidget

from workbench.gui.parts.basics import Painted
from workbench.gui.parts.layout import line_of
from workbench.gui.theme import CAB_PX, GRID_PX, TEXT_PX, Theme, fitted_font, font, grown
from workbench.match.ratio import BandSays
from workbench.models.passes.live import Health, Reading
from workbench.words.language import _

MOST_PX = 320
DIGITS_SHARE = 0.78
"""Height of the figures in their font's size; the room above and below them stays unused."""
BAR_PX = 6
TIGHT = 0.92
"""The figures stand a little closer than the font has them: all must fit at 96 px."""
PLAIN, SIGNED = "8.88", "−8.88"
"""The widest that the numbers show."""


class CabNumber(Painted):
    """One number with its bar above and its caption below."""

    def __init__(self, name: str, color: str, theme: Theme) -> None:
        super().__init__(theme)
        self._name, self._color = name, color
        self._unit, self._reading = "", Reading("", Health.MISSING)
        self._size_px = CAB_PX
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    @property
    def text(self) -> str:
        return self._reading.text

    def number_font(self) -> QFont:
        """The font the number is drawn in."""
        made = fitted_font(self._size_px, bold=True)
        made.setLetterSpacing(QFont.SpacingType.PercentageSpacing, 100 * TIGHT)
        return made

    @property
    def _is_live(self) -> bool:
        """Whether a number is shown, be it a doubtful one."""
        return self._reading.health in (Health.LIVE, Health.DOUBTFUL)

    def ink(self) -> str:
        """The colour the number is drawn in, as #RRGGBB."""
        return self._theme.ink if self._is_live else self._theme.no_data

    def set_size(self, size_px: int) -> None:
        """Font size of the number."""
        if size_px != self._size_px:
            self._size_px = size_px
            self.updateGeometry()

    def show_reading(self, reading: Reading, unit: str) -> None:
        if (reading, unit) != (self._reading, self._unit):
            self._reading, self._unit = reading, unit
            self.setAccessibleName(f"{self._name}: {reading.text} {unit} {reading.note}".strip())
            self.update()

    def sizeHint(self) -> QSize:  # noqa: N802
        caption = grown(TEXT_PX) + GRID_PX
        return QSize(160, round(BAR_PX + GRID_PX + DIGITS_SHARE * self._size_px + caption))

    def _paint(self, painter: QPainter) -> None:
        live = self._is_live
        bar = self._bar_color() if live else "no_data"
        painter.fillRect(QRectF(0, 0, self.width(), BAR_PX), self._theme.color(bar))
        if self._reading.health is Health.DOUBTFUL:
            above = self.height() - grown(TEXT_PX) - GRID_PX - BAR_PX
            hatch = QBrush(self._theme.color("attention", 130), Qt.BrushStyle.BDiagPattern)
            painter.fillRect(QRectF(0, BAR_PX, self.width() - 2 * GRID_PX, above), hatch)
        painter.setPen(self._theme.color("ink" if live else "no_data"))
        shown = self.number_font()
        room = self.width() - 6 * GRID_PX  # so that two words do not run together
        too_wide = QFontMetricsF(shown).horizontalAdvance(self._reading.text) / room
        if too_wide > 1:  # a word; the figures are made to fit
            shown.setPixelSize(int(self._size_px / too_wide))
        painter.setFont(shown)
        base = BAR_PX + GRID_PX + DIGITS_SHARE * self._size_px - 2
        painter.drawText(0, round(base), self._reading.text)
        self._caption(painter, live=live)

    def _bar_color(self) -> str:
        if self._reading.health is Health.DOUBTFUL:
            return "attention"
        if self._color:
            return self._color
        if self._reading.band is None:
            return "no_data"
        return "in_band" if self._reading.band is BandSays.IN_BAND else "attention"

    def _caption(self, painter: QPainter, *, live: bool) -> None:
        """Name and unit, and the source or the band's word at the right."""
        tall = grown(TEXT_PX) + GRID_PX
        box = QRectF(0, self.height() - tall, self.width(), tall)
        shown, side = font(TEXT_PX, bold=True), Qt.AlignmentFlag.AlignVCenter
        name = self._theme.color(self._color or "ink") if live else self._theme.color("no_data")
        # At the difference, which sign and place tell, they give way to what is said of it.
        used, noted = 0.0, QFontMetricsF(shown).horizontalAdvance(self._reading.note) + GRID_PX
        for text, kind, ink in (
            (self._name, shown, name),
            (self._unit, font(TEXT_PX), self._theme.color("soft_ink")),
        ):
            wide = QFontMetricsF(kind).horizontalAdvance(f"{text} ")
            if not self._color and used + wide + noted > box.width():
                break
            painter.setFont(kind)
            painter.setPen(ink)
            painter.drawText(box.adjusted(used, 0, 0, 0), side, text)
            used += wide
        painter.setFont(font(TEXT_PX))
        painter.setPen(self._theme.color("soft_ink"))
        doubtful = self._reading.health is Health.DOUBTFUL
        if live and (doubtful or not self._color):
            painter.setFont(shown)
            painter.setPen(self._theme.color(self._bar_color()))
        room = box.adjusted(used + GRID_PX, 0, 0, 0)
        if (
            self._color
            and painter.fontMetrics().horizontalAdvance(self._reading.note) > room.width()
        ):
            return  # a source's name of which only the beginning is seen tells nothing
        note = painter.fontMetrics().elidedText(
            self._reading.note, Qt.TextElideMode.ElideRight, int(room.width())
        )
        painter.drawText(room, side | Qt.AlignmentFlag.AlignRight, note)


class CabNumbers(QWidget):
    """Belt, ground and difference side by side."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self.belt = CabNumber(_("belt"), "belt", theme)
        self.ground = CabNumber(_("ground"), "earth", theme)
        self.difference = CabNumber(_("difference"), "", theme)
        line = line_of(on=self)
        # The difference has a sign before it and needs the room for it.
        for number, share in zip(self.all, (3, 3, 4), strict=True):
            line.addWidget(number, share)

    @property
    def all(self) -> tuple[CabNumber, CabNumber, CabNumber]:
        return self.belt, self.ground, self.difference

    def show_readings(self, readings: tuple[Reading, Reading, Reading], unit: str) -> None:
        for number, reading in zip(self.all, readings, strict=True):
            number.show_reading(reading, unit)

    def fit(self, width: int, height: int) -> None:
        """Make the numbers as large as a page of this size allows."""
        metrics = QFontMetricsF(fitted_font(100, bold=True))
        room = width - 10 * GRID_PX
        by_width = min(
            share * room / (0.01 * TIGHT * metrics.horizontalAdvance(widest))
            for share, widest in ((0.3, PLAIN), (0.4, SIGNED))
        )
        # Where there is room for more than the least, some is left between the numbers.
        size_px = int(min(0.92 * by_width, 0.22 * height, MOST_PX))
        for number in self.all:
            number.set_size(max(size_px, CAB_PX))
