"""What will be kept, while nothing is: each kind with the page that makes it."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import QSize
from PySide6.QtWidgets import QFrame, QPushButton, QWidget

from workbench.gui.icons import ICON_PX, ICON_ROOM_PX, icon
from workbench.gui.parts.basics import button, label
from workbench.gui.parts.layout import column_of, line_of
from workbench.gui.theme import GRID_PX, Theme
from workbench.gui.window import BenchWindow
from workbench.words.language import N_, _

KINDS = (
    ("Signals", N_("Recordings"), N_("All that comes in, pulse by pulse, to be judged again.")),
    ("Calibrate", N_("Calibrations"), N_("A readout's error and its certificate.")),
    ("Gap", N_("Gap checks"), N_("Each pickup's gap and teeth, and what to do.")),
    ("Pass", N_("Passes"), N_("Belt against ground, and why they came apart.")),
)


class NothingKept(QWidget):
    """A card a kind, which leads to its page."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        column = column_of(on=self, gap=GRID_PX)
        self._go: dict[str, QPushButton] = {}
        for place, name, about in KINDS:
            card = QFrame()
            card.setProperty("role", "card")
            words = _("Go to {page}").format(page=_(place))
            go = self._go[place] = button(words, partial(self._lead_to, place))
            go.setIconSize(QSize(ICON_ROOM_PX, ICON_PX))
            said = column_of(label(name, "text"), label(about, "soft"), gap=0)
            line_of((said, 1), go, on=card, edges=(2 * GRID_PX,) * 4)
            column.addWidget(card, 1)
        self.set_theme(theme)

    def set_theme(self, theme: Theme) -> None:
        for place, go in self._go.items():
            go.setIcon(icon(place.lower(), theme.ink))

    def _lead_to(self, place: str) -> None:
        window = self.window()
        if isinstance(window, BenchWindow):
            window.show_page(place)
