"""Colours, sizes and the style sheet: bright for the sun, dark for a cab at night.

The hues are Okabe and Ito's colour-blind-safe set; each theme takes them dark or light
enough for 4.5:1 against its own ground where they carry text. Colour never stands alone:
a word or a shape says the same.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol, runtime_checkable

from PySide6.QtGui import QColor, QFont, QPalette
from PySide6.QtWidgets import QApplication, QWidget

SMALL_PX, TEXT_PX, TITLE_PX, CAB_PX = 14, 18, 28, 96
GRID_PX = 8
TOUCH_PX = 44
GROWS_BY = 0.2
"""Text grows in such steps: each dresses every widget anew."""
LEAST_SHARE, DESIGN_WIDE_PX = 0.015, 1200
"""Of a window's height, small text at least; and a width that pages have room in at growth 1."""
CAB_WIDE_PX, CAB_HIGH_PX, CAB_GROWTH = 512, 300, 2.0
"""In the cab a page is laid out as in so small a window, and drawn as large as it fits; text is
twice as large as at the desk at least."""


@dataclass(frozen=True, slots=True)
class Theme:
    """The colours of one theme, as #RRGGBB."""

    name: str
    ground: str
    raised: str
    ink: str
    soft_ink: str
    line: str
    edge: str
    belt: str
    earth: str
    in_band: str
    attention: str
    bad: str
    no_data: str

    def color(self, name: str, alpha: int = 255) -> QColor:
        """One of the colours by name, see-through where `alpha` is below 255."""
        color = QColor(getattr(self, name))
        color.setAlpha(alpha)
        return color


BRIGHT = Theme(
    name="bright",
    ground="#FAF8F4",
    raised="#FFFFFF",
    ink="#1F2328",
    soft_ink="#535B64",
    line="#DAD5CB",
    edge="#8C8579",
    belt="#0072B2",
    earth="#B34700",
    in_band="#00735A",
    attention="#8A5A00",
    bad="#A8281B",
    no_data="#6B7178",
)
DARK = Theme(
    name="dark",
    ground="#14171A",
    raised="#1D2125",
    ink="#E8E6E1",
    soft_ink="#A9AFB6",
    line="#363C42",
    edge="#6B737B",
    belt="#5DB7EC",
    earth="#FF8A4C",
    in_band="#3CCB9F",
    attention="#F0B23C",
    bad="#FF8A7D",
    no_data="#8D949B",
)
THEMES = {theme.name: theme for theme in (BRIGHT, DARK)}


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours (WCAG 2.2, relative luminance)."""
    lighter, darker = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(color: str) -> float:
    parts = [int(color[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


class _Growth:
    """How much larger than planned all text is now; one window, one growth."""

    now = 1.0


def growth_for(width: int, height: int, *, cab: bool = False) -> float:
    """Growth of the text in a window of this size."""
    wanted = math.ceil(LEAST_SHARE * height / SMALL_PX / GROWS_BY - 1e-9)
    steps = max(round(1 / GROWS_BY), min(wanted, int(width / DESIGN_WIDE_PX / GROWS_BY + 1e-9)))
    if not cab:
        return steps * GROWS_BY
    room = min(width / CAB_WIDE_PX, height / CAB_HIGH_PX)
    return max(CAB_GROWTH * steps * GROWS_BY, int(room / GROWS_BY + 1e-9) * GROWS_BY)


def grow(growth: float) -> bool:
    """Make all text that is drawn from now on so much larger; whether that is a change."""
    changed, _Growth.now = growth != _Growth.now, growth
    return changed


def grown(size_px: float) -> int:
    """A size planned for text, as it is now."""
    return round(size_px * _Growth.now)


def keep_width(widget: QWidget, width_px: int) -> None:
    """Give a widget a width planned for text; it grows with that, see `keep_widths`."""
    widget.setProperty("planned_px", width_px)
    widget.setFixedWidth(grown(width_px))


def keep_widths(within: QWidget) -> None:
    """The text has another growth: all widths within follow it."""
    for widget in within.findChildren(QWidget):
        planned_px = widget.property("planned_px")
        if planned_px is not None:
            widget.setFixedWidth(grown(planned_px))


def font(size_px: int, *, bold: bool = False) -> QFont:
    """The program's font at a planned size, grown as all text is."""
    return fitted_font(grown(size_px), bold=bold)


def fitted_font(size_px: int, *, bold: bool = False) -> QFont:
    """The program's font at just this size, its figures all of one width: for what is fitted
    into the room there is."""
    made = QFont()
    made.setPixelSize(size_px)
    made.setFeature(QFont.Tag("tnum"), 1)
    if bold:
        made.setWeight(QFont.Weight.DemiBold)
    return made


def _arrow(theme: Theme) -> str:
    """The arrow of a choice, in the theme's ink; as a style sheet wants its path."""
    return (Path(__file__).parent / "icons" / f"arrow-{theme.name}.svg").as_posix()


def apply(app: QApplication, theme: Theme) -> None:
    """Give the whole program the theme's colours and font; `dress` does the rest."""
    palette = QPalette()
    for role, color in (
        (QPalette.ColorRole.Window, theme.ground),
        (QPalette.ColorRole.Base, theme.raised),
        (QPalette.ColorRole.WindowText, theme.ink),
        (QPalette.ColorRole.Text, theme.ink),
        (QPalette.ColorRole.ButtonText, theme.ink),
        (QPalette.ColorRole.Button, theme.raised),
        (QPalette.ColorRole.PlaceholderText, theme.soft_ink),
        (QPalette.ColorRole.Highlight, theme.belt),
        (QPalette.ColorRole.HighlightedText, theme.ground),
    ):
        palette.setColor(role, QColor(color))
    app.setPalette(palette)
    app.setFont(font(SMALL_PX))


def dress(widget: QWidget, theme: Theme) -> None:
    """Put the style sheet on a widget and all in it.

    Part by part, as each is seen: on the whole program it takes a second. The old one is
    taken off first: to change it takes five times as long as to put one on.
    """
    widget.setStyleSheet("")
    widget.setStyleSheet(style_sheet(theme))


@runtime_checkable
class Themed(Protocol):
    """A part that paints in colours of its own."""

    def set_theme(self, theme: Theme) -> None: ...


def recolor(page: QWidget, theme: Theme) -> None:
    """Every part of a page that paints in colours of its own takes a theme's."""
    for part in (page, *page.findChildren(QWidget)):
        if isinstance(part, Themed):
            part.set_theme(theme)


def style_sheet(theme: Theme) -> str:
    """Qt style sheet of the common widgets."""
    return f"""
    QWidget {{ color: {theme.ink}; font-size: {grown(SMALL_PX)}px; }}
    QMainWindow, QStackedWidget, QScrollArea, QScrollArea > QWidget > QWidget {{
        background: {theme.ground}; border: none; }}
    QLabel[role="title"] {{ font-size: {grown(TITLE_PX)}px; font-weight: 600; }}
    QLabel[role="text"] {{ font-size: {grown(TEXT_PX)}px; }}
    QLabel[role="soft"] {{ color: {theme.soft_ink}; }}
    QLabel[role="error"], QLabel[role="light"] {{ color: {theme.bad}; }}
    QLabel[role="simulated"] {{ color: {theme.ground}; background: {theme.attention};
        border-radius: 4px; padding: 0 {GRID_PX}px; font-weight: 600; }}
    QPushButton, QToolButton {{ min-height: {TOUCH_PX - 10}px; min-width: {TOUCH_PX - 34}px;
        padding: 4px 16px; border: 1px solid {theme.edge}; border-radius: 6px;
        background: {theme.raised}; }}
    QPushButton:hover, QToolButton:hover {{ border-color: {theme.ink}; }}
    QPushButton:focus, QToolButton:focus {{ border: 2px solid {theme.belt};
        padding: 3px 15px; }}
    QLineEdit:focus, QComboBox:focus, QSpinBox:focus, QDoubleSpinBox:focus,
    QPlainTextEdit:focus {{ border: 2px solid {theme.belt}; padding: 3px 7px; }}
    QAbstractItemView:focus {{ border: 2px solid {theme.belt}; }}
    QCheckBox, QRadioButton {{ min-height: {TOUCH_PX}px; spacing: {GRID_PX}px; }}
    QCheckBox::indicator {{ width: {2 * GRID_PX}px; height: {2 * GRID_PX}px;
        border: 2px solid {theme.edge}; border-radius: 4px; background: {theme.raised}; }}
    QCheckBox::indicator:checked {{ background: {theme.ink}; border-color: {theme.ink}; }}
    QCheckBox:focus, QRadioButton:focus {{ border: 2px solid {theme.belt}; border-radius: 6px; }}
    QPushButton:disabled {{ color: {theme.no_data}; }}
    QPushButton[role="next"] {{ background: {theme.ink}; color: {theme.ground};
        border-color: {theme.ink}; font-size: {grown(TEXT_PX)}px; font-weight: 600; }}
    QPushButton[role="next"]:focus {{ border: 3px solid {BRIGHT.belt}; padding: 2px 14px; }}
    QPushButton[role="next"]:disabled {{ background: {theme.line}; color: {theme.soft_ink};
        border-color: {theme.line}; }}
    QPushButton[role="place"] {{ text-align: left; border: none; border-radius: 0;
        background: transparent; font-size: {grown(TEXT_PX)}px; min-height: {TOUCH_PX}px;
        padding: 4px 0 4px 10px; border-left: 4px solid transparent; }}
    QPushButton[role="place"]:checked {{ border-left-color: {theme.ink}; font-weight: 600; }}
    QPushButton[role="place"]:focus {{ border: 2px solid {theme.belt}; padding: 2px 0 2px 12px;
        border-radius: 6px; }}
    QPushButton[role="tab"] {{ border: 2px solid transparent; border-radius: 0;
        background: transparent; color: {theme.soft_ink}; font-size: {grown(TEXT_PX)}px;
        padding: 4px 12px; }}
    QPushButton[role="tab"]:checked {{ color: {theme.ink};
        border-bottom: 3px solid {theme.ink}; }}
    QPushButton[role="tab"]:focus {{ border: 2px solid {theme.belt}; }}
    QLineEdit, QComboBox, QSpinBox, QDoubleSpinBox, QPlainTextEdit {{
        min-height: {TOUCH_PX - 10}px; padding: 4px 8px; background: {theme.raised};
        border: 1px solid {theme.edge}; border-radius: 6px; }}
    QLineEdit[wrong="true"], QComboBox[wrong="true"] {{ border: 2px solid {theme.bad}; }}
    QComboBox {{ combobox-popup: 0; }}
    QComboBox::drop-down {{ border: none; width: {4 * GRID_PX}px; }}
    QComboBox::down-arrow {{ image: url({_arrow(theme)}); width: 12px; height: 12px; }}
    QComboBox QLineEdit {{ border: none; padding: 0; min-height: 0; background: transparent; }}
    QComboBox QAbstractItemView {{ background: {theme.raised}; color: {theme.ink};
        border: 1px solid {theme.line}; selection-background-color: {theme.belt};
        selection-color: {theme.ground}; outline: none; }}
    QComboBox QAbstractItemView::item {{ min-height: {TOUCH_PX}px; padding: 0 8px; }}
    QScrollBar {{ background: transparent; border: none; margin: 0; }}
    QScrollBar:vertical {{ width: 12px; }}
    QScrollBar:horizontal {{ height: 12px; }}
    QScrollBar::handle {{ background: {theme.line}; border-radius: 4px; margin: 2px; }}
    QScrollBar::handle:vertical {{ min-height: {TOUCH_PX}px; }}
    QScrollBar::handle:horizontal {{ min-width: {TOUCH_PX}px; }}
    QScrollBar::handle:hover {{ background: {theme.no_data}; }}
    QScrollBar::add-line, QScrollBar::sub-line {{ width: 0; height: 0; }}
    QScrollBar::add-page, QScrollBar::sub-page {{ background: transparent; }}
    QMenu {{ background: {theme.raised}; color: {theme.ink}; border: 1px solid {theme.edge}; }}
    QMenu::item {{ min-height: {TOUCH_PX}px; padding: 0 {3 * GRID_PX}px; }}
    QMenu::item:selected {{ background: {theme.belt}; color: {theme.ground}; }}
    QToolTip {{ background: {theme.raised}; color: {theme.ink}; border: 1px solid {theme.line};
        padding: 4px; }}
    QProgressBar {{ background: {theme.line}; border: none; border-radius: 4px;
        min-height: {GRID_PX}px; max-height: {GRID_PX}px; }}
    QProgressBar::chunk {{ background: {theme.ink}; border-radius: 4px; }}
    QTableView, QTableWidget, QListWidget {{ background: {theme.raised}; border: none;
        gridline-color: {theme.line}; alternate-background-color: {theme.ground}; }}
    QHeaderView::section {{ background: {theme.ground}; color: {theme.soft_ink}; border: none;
        border-bottom: 1px solid {theme.line}; padding: 8px; }}
    QFrame[role="card"] {{ background: {theme.raised}; border-radius: 8px; }}
    QFrame[role="trouble"] {{ background: {theme.raised};
        border-left: 8px solid {theme.bad}; }}
    QFrame[role="caution"] {{ background: {theme.raised};
        border-left: 8px solid {theme.attention}; }}
    """
