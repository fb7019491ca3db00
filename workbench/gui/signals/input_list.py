"""The inputs as a list of offers: those in use, what is plugged in, an address, the simulator."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import (
    QFrame,
    QLabel,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from workbench.gui.parts.basics import Elided, button, label, say
from workbench.gui.parts.layout import column_of, line_of, row
from workbench.gui.theme import GRID_PX, TOUCH_PX
from workbench.models.signals.inputs import InputsModel
from workbench.models.signals.plugged import Offer, PluggedModel
from workbench.models.signals.rows import InputLine
from workbench.words.language import N_, _

NOTHING_YET = N_(
    "What is plugged in is named here once it was found: every port is listened to for about a "
    "second, and nothing is written to any device."
)
NOTHING_FOUND = N_(
    "Nothing is plugged in: no serial port and no CAN channel was found. Look at the USB cable, "
    "then find again."
)
REHEARSALS = {
    "pass": N_("For a pass"),
    "calibration": N_("For a calibration"),
    "gap": N_("For pickups and their wheels"),
}
MIXING = N_(
    "Made-up machines to rehearse with. One takes the place of all other inputs, and everything "
    "from it is marked simulated."
)


class InputList(QScrollArea):
    """One click uses an input, one takes it away again."""

    def __init__(self, inputs: InputsModel, plugged: PluggedModel) -> None:
        super().__init__()
        self._inputs, self._plugged = inputs, plugged
        self._used_plan: list[tuple[str, str]] | None = None
        self._filled = False
        self._states: dict[str, QLabel] = {}
        self._uses: dict[str, tuple[QPushButton, QLabel]] = {}
        self.find_button = button("Find what is plugged in", self.search)
        self.address = QLineEdit()
        self.address.setMinimumHeight(TOUCH_PX)
        self.address.setPlaceholderText(
            "counter:/dev/ttyACM0, gnss:/dev/ttyUSB0, can:socketcan:can0"
        )
        self.address.setAccessibleName(_("Address of an input"))
        self.address.returnPressed.connect(self.use_typed)
        self._said = label("", "error")
        self._used, self._found = _section(), _section()
        self._simulated = _section()
        self._lay_out()
        inputs.subscribe(self._show_said)
        plugged.subscribe(self._show_found)
        self._show_found()

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802
        # Two dozen scenarios are many widgets: they are made when first seen.
        if not self._filled:
            self._filled = True
            column = _emptied(self._simulated)
            for job, words in REHEARSALS.items():
                column.addWidget(label(words, "soft"))
                self._add(column, [o for o in self._plugged.simulated if o.rehearses == job])
        super().showEvent(event)

    def refresh(self, lines: Sequence[InputLine]) -> None:
        """The inputs in use as they are now."""
        self._plugged.take()
        plan = [(line.address, line.title) for line in lines]
        if plan != self._used_plan:
            self._used_plan = plan
            self._show_used(lines)
            self._mark_used()
        for line in lines:
            say(self._states[line.address], ", ".join(filter(None, (line.state, line.note))))

    def search(self) -> None:
        """Find what is plugged in, away from the screen."""
        self._plugged.find(self._inputs.in_use)

    def use_typed(self) -> None:
        """Use the address that was typed; it stays where it is wrong."""
        if self.address.text().strip() and self._inputs.add(self.address.text()):
            self.address.clear()

    def _lay_out(self) -> None:
        body = QWidget()
        column = column_of(on=body, edges=(0, 0, GRID_PX, 0))
        self._used_title = label("In use", "text")
        column.addWidget(self._used_title)
        column.addWidget(self._used)
        column.addSpacing(GRID_PX)
        column.addWidget(row(label("Plugged in", "text", wrap=False), self.find_button))
        column.addWidget(self._found)
        column.addSpacing(GRID_PX)
        use = button("Use this address", self.use_typed)
        column.addWidget(label("Or type its address", "text"))
        line = row(self.address, use, stretch=False)
        column.addWidget(line)
        column.addWidget(self._said)
        column.addSpacing(GRID_PX)
        badge = label("Simulated", "simulated", wrap=False)
        column.addWidget(row(label("To rehearse with", "text", wrap=False), badge))
        column.addWidget(label(MIXING, "soft"))
        column.addWidget(self._simulated)
        column.addStretch(1)
        self.setWidget(body)
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setAccessibleName("Inputs")
        self._show_said()

    def _show_used(self, lines: Sequence[InputLine]) -> None:
        column = _emptied(self._used)
        self._states = {}
        for line in lines:
            state = self._states[line.address] = label("", "soft")
            again = button("Try again", self._inputs.again)
            remove = button("Remove", self._remover(line.address))
            remove.setAccessibleName(f"Remove {line.title}")
            again.setAccessibleName(f"Try {line.title} again")
            column.addWidget(_entry(line.title, (state,), (again, remove)))
        self._used_title.setVisible(bool(lines))
        self._used.setVisible(bool(lines))
        # With nothing in use, finding something is the one next step.
        self.find_button.setProperty("role", "" if lines else "next")
        self.find_button.style().unpolish(self.find_button)
        self.find_button.style().polish(self.find_button)

    def _show_found(self) -> None:
        plugged = self._plugged
        say(self.find_button, "Listening …" if plugged.listening else _("Find what is plugged in"))
        self.find_button.setEnabled(not plugged.listening)
        gone = [address for address in self._uses if not address.startswith("sim:")]
        for address in gone:
            del self._uses[address]
        column = _emptied(self._found)
        self._add(column, plugged.found)
        if not plugged.found:
            column.addWidget(label(NOTHING_FOUND if plugged.searched else NOTHING_YET, "soft"))

    def _add(self, column: QVBoxLayout, offers: Sequence[Offer]) -> None:
        for offer in offers:
            column.addWidget(self._offer(offer))
        self._mark_used()

    def _mark_used(self) -> None:
        """What is in use says so in the place of its button."""
        for address, (use, used) in self._uses.items():
            uses = self._inputs.uses(address)
            use.setHidden(uses)
            used.setVisible(uses)

    def _offer(self, offer: Offer) -> QWidget:
        about = Elided("soft") if offer.simulated else label("", "soft")
        about.setText(offer.about)
        told: list[QWidget] = [about] if offer.about else []
        if offer.problem:
            told.append(label(f"▲ {offer.problem}", "error"))
        if not offer.address:
            return _entry(offer.name, told, ())
        use = button("Use", lambda: self._inputs.add(offer.address))
        use.setAccessibleName(f"Use {offer.name}")
        used = label("● in use", wrap=False)
        self._uses[offer.address] = use, used
        return _entry(offer.name, told, (use, used))

    def _remover(self, address: str) -> Callable[[], object]:
        return lambda: self._inputs.remove(address)

    def _show_said(self) -> None:
        self._said.setText(f"▲ {self._inputs.said}")
        self._said.setVisible(bool(self._inputs.said))
        if self._inputs.said:
            QTimer.singleShot(0, self._said, lambda: self.ensureWidgetVisible(self._said))


def _section() -> QWidget:
    holder = QWidget()
    column_of(on=holder)
    return holder


def _emptied(section: QWidget) -> QVBoxLayout:
    column = section.layout()
    assert isinstance(column, QVBoxLayout)
    while (item := column.takeAt(0)) is not None:
        widget = item.widget()
        if widget is not None:
            widget.hide()
            widget.deleteLater()
    return column


def _entry(name: str, told: Sequence[QWidget], buttons: Sequence[QWidget]) -> QWidget:
    """One input: its name in bold, what is told of it, and what can be done."""
    frame = QFrame()
    frame.setProperty("role", "card")
    line = line_of(on=frame, gap=GRID_PX, edges=(2 * GRID_PX, GRID_PX, GRID_PX, GRID_PX))
    words = column_of(gap=2)
    title = label(name)
    title.setStyleSheet("font-weight: 600;")
    words.addWidget(title)
    for widget in told:
        words.addWidget(widget)
    line.addLayout(words, 1)
    for one in buttons:
        line.addWidget(one, 0, Qt.AlignmentFlag.AlignVCenter)
    return frame
