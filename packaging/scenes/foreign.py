"""Units in a window's text that are not those of the person who reads it."""

from __future__ import annotations

import re
from collections.abc import Iterator

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QComboBox,
    QGraphicsView,
    QHeaderView,
    QLabel,
    QLineEdit,
    QTableView,
    QWidget,
)
from scenes.crowding import paints_itself, written_in

METRIC_UNITS = "mm|cm|µm|m|km|km/h|m/s|°C|kPa|MPa|bar|kg|m/pulse|mm/pulse"
US_UNITS = "in|ft|yd|mi|mph|ft/min|°F|psi|lb|thou|in/pulse|ft/pulse"
METRIC_WORDS = "metres?|meters?|(?:milli|centi|kilo)met(?:re|er)s?|Celsius"
US_WORDS = "inch(?:es)?|feet|foot|yards?|miles?|Fahrenheit"


def _pattern(units: str, words: str) -> re.Pattern[str]:
    """A unit after a number, or alone after a comma or in brackets, or its name."""
    number = rf"[\d⁄/½¼¾–] ?(?:{units})(?![\w/·])(?! \d)"
    alone = rf"[,(/] ?(?:{units})(?=$|[),.:;\n])"
    return re.compile(rf"{number}|{alone}|\b(?:{words})\b")


FOREIGN = {
    "us": _pattern(METRIC_UNITS, METRIC_WORDS),
    "metric": _pattern(US_UNITS, US_WORDS),
}


OF_THE_MACHINE = ("Readout shows, mph", "Shown, mph", "pulses per 100 ft")
"""What the readout itself is marked with is read as it stands there."""
ASKED_BACK = ("If it is in millimetres, type 1.6 mm.",)
"""What a number that cannot be was probably meant as."""


def foreign(window: QWidget, units: str) -> Iterator[str]:
    """A sentence for each text of a window with a unit of another system than `units`."""
    for text in sorted(set(_texts(window))):
        said = text
        for right in (*OF_THE_MACHINE, *ASKED_BACK):
            said = said.replace(right, "")
        if found := FOREIGN[units].search(said):
            yield f"{units}: {found[0]!r} in {text!r}"


def _texts(window: QWidget) -> Iterator[str]:
    for one in window.findChildren(QWidget):
        if not one.isVisible():
            continue
        yield from (one.toolTip(), one.accessibleName(), one.accessibleDescription())
        if isinstance(one, QLabel | QAbstractButton):
            yield one.text()
        elif isinstance(one, QLineEdit):
            yield one.placeholderText()
        elif isinstance(one, QComboBox):
            yield from (one.itemText(at) for at in range(one.count()))
        elif isinstance(one, QGraphicsView) or paints_itself(one):
            yield from (text for text, _place in written_in(one))
        elif isinstance(one, QAbstractItemView) and not isinstance(one, QHeaderView):
            yield from _cells(one)


def _cells(view: QAbstractItemView) -> Iterator[str]:
    model = view.model()
    columns = range(model.columnCount() if isinstance(view, QTableView) else 1)
    if isinstance(view, QTableView):
        yield from (str(model.headerData(at, Qt.Orientation.Horizontal)) for at in columns)
    for row in range(model.rowCount()):
        for column in columns:
            index = model.index(row, column)
            yield str(index.data() or "")
            yield str(index.data(Qt.ItemDataRole.ToolTipRole) or "")
