"""About: which program this is, where what it keeps lies, and a file for whoever helps."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

from PySide6.QtCore import Qt, QUrl
from PySide6.QtGui import QDesktopServices, QKeySequence, QShortcut
from PySide6.QtWidgets import QCheckBox, QGridLayout, QWidget

from workbench.base.errors import Message
from workbench.base.files import name_for
from workbench.base.version import program_version
from workbench.gui.parts.basics import Elided, button, label, say
from workbench.gui.parts.files import ask_save
from workbench.gui.parts.layout import TALL_PAGE, column_of, line_of
from workbench.gui.parts.work_bar import WorkBar
from workbench.gui.theme import GRID_PX, TOUCH_PX
from workbench.gui.work_line import WorkLine
from workbench.models import about
from workbench.models.bench import Bench
from workbench.models.progress import Progress
from workbench.words.language import N_, _

LICENCE = N_(
    "MIT licence. It stands on other people's libraries, each under its own; the screens are Qt's, "
    "under the LGPL."
)


class AboutPage(QWidget):
    """In place of the page that is seen, and back to it."""

    def __init__(self, bench: Bench, closed: Callable[[], object]) -> None:
        super().__init__()
        self._bench, self._works = bench, WorkLine(self)
        self._said = label("", "text")
        self.with_data = QCheckBox(_("with all recordings and results"))
        self.with_data.setMinimumHeight(TOUCH_PX)
        column = column_of(
            label("About Evenpace", "title", wrap=False),
            label(_("Version {version}").format(version=program_version()), "text"),
            label(LICENCE),
            on=self,
            gap=2 * GRID_PX,
            edges=TALL_PAGE,
        )
        column.addLayout(self._folders())
        column.addWidget(
            label(
                "Asked for help? One file holds the log, the versions and what is plugged in; "
                "no measurement data unless you tick it."
            )
        )
        column.addLayout(line_of(button("Save diagnosis", self._ask_where), self.with_data, 1))
        column.addWidget(WorkBar(self._works))
        column.addWidget(self._said)
        self.done = button("Done", closed, is_next=True)
        column.addLayout(line_of(1, self.done))
        column.addStretch(1)
        QShortcut(QKeySequence("Escape"), self, closed)
        self.destroyed.connect(self._works.wait)

    def open(self) -> None:
        """The way back in hand."""
        self.done.setFocus()

    def _folders(self) -> QGridLayout:
        """Where all lies, with a button each."""
        grid = QGridLayout()
        grid.setHorizontalSpacing(2 * GRID_PX)
        grid.setVerticalSpacing(GRID_PX)
        grid.setColumnStretch(1, 1)
        found = about.folders(self._bench)
        if (licences := about.licence_folder()) is not None:
            found[N_("Licences")] = licences
        for row, (name, folder) in enumerate(found.items()):
            path = Elided()
            path.setText(str(folder))
            path.setTextInteractionFlags(Qt.TextInteractionFlag.NoTextInteraction)
            opener = button("Open folder", partial(self._show, folder))
            opener.setAccessibleName(_("Open the folder of: {name}").format(name=_(name)))
            grid.addWidget(label(name, "soft", wrap=False), row, 0)
            grid.addWidget(path, row, 1)
            grid.addWidget(opener, row, 2)
        return grid

    def _show(self, folder: Path) -> None:
        """In the system's own browser of files."""
        if not folder.is_dir():
            say(self._said, _("There is no folder {path} yet.").format(path=folder))
        elif not QDesktopServices.openUrl(QUrl.fromLocalFile(str(folder))):
            said = _("This system shows no folders from here; it is {path}.")
            say(self._said, said.format(path=folder))

    def _ask_where(self) -> None:
        name = name_for("", _("evenpace diagnosis"), ".zip")
        path = ask_save(self, _("Save the diagnosis"), name, _("Diagnosis (*.zip)"))
        if path is None:
            return
        progress = Progress(Message("Collecting …"))
        work = partial(
            about.save_diagnosis,
            self._bench,
            path,
            progress,
            with_data=self.with_data.isChecked(),
        )
        say(self._said, "")
        self._works.add(work, self._tell, self._tell, progress)

    def _tell(self, said: str) -> None:
        say(self._said, said)
