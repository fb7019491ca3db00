"""Start and stop of a recording, its name and its note; the light itself is in the header."""

from __future__ import annotations

from PySide6.QtWidgets import QLineEdit, QWidget

from workbench.gui.parts.basics import Elided, button, label, say
from workbench.gui.parts.layout import column_of, line_of
from workbench.gui.theme import GRID_PX, TOUCH_PX
from workbench.gui.work_line import WorkLine
from workbench.models.bench import Bench
from workbench.records.store import open_store
from workbench.words.language import _


class RecordBar(QWidget):
    """The name is given before the start; the note may be written until the stop."""

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench = bench
        self._works = WorkLine(self)
        self.name = _entry(_("Name of the recording"), _('Name, such as "north field"'))
        self.note = _entry(_("Note on the recording"), _("Note, such as wet headland, third gear"))
        self.switch = button("Start recording", self.start_or_stop, is_next=True)
        self._said, self._runs = label("", "soft"), Elided("text")
        line = line_of((self.name, 2), (self._runs, 2), (self.note, 3), self.switch)
        column_of(self._said, line, on=self, gap=GRID_PX // 2)
        self.destroyed.connect(self._works.wait)

    def start_or_stop(self) -> None:
        """The button."""
        recording = self._bench.recording
        if not recording.running:
            recording.start(self.name.text().strip())
            return
        recording.stop()
        self._keep_note(self.note.text().strip())
        self.name.clear()
        self.note.clear()

    def refresh(self) -> None:
        """Follow the recording."""
        recording, live = self._bench.recording, self._bench.live
        say(self.switch, _("Stop recording") if recording.running else _("Start recording"))
        self.switch.setEnabled(recording.running or bool(live.drivers))
        self.name.setVisible(not recording.running)
        self._runs.setVisible(recording.running)
        say(self._runs if recording.running else self._said, recording.said)
        self._said.setVisible(bool(recording.said) and not recording.running)

    def _keep_note(self, note: str) -> None:
        """Write the note to the recording just stopped, once that is sealed."""
        if not note:
            return
        recording, address = self._bench.recording, self._bench.store

        def write() -> None:
            number = recording.last_number
            if number is not None:
                with open_store(address) as store:
                    store.describe(number, "", note)

        self._works.add(recording.sealed(write), lambda _done: None, self._bench.tell)


def _entry(name: str, placeholder: str) -> QLineEdit:
    made = QLineEdit()
    made.setMinimumHeight(TOUCH_PX)
    made.setAccessibleName(name)
    made.setPlaceholderText(placeholder)
    made.setMaxLength(200)
    return made
