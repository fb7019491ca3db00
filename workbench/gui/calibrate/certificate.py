"""The certificate as it will be printed, what is to stand on it, and where it goes."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from PySide6.QtWidgets import QLineEdit, QWidget

from workbench.base.files import name_for
from workbench.gui.parts.basics import button, label, say
from workbench.gui.parts.files import ask_open, ask_save
from workbench.gui.parts.layout import column_of, line_of, row, scrolled
from workbench.gui.parts.paper import PaperView
from workbench.gui.parts.particulars import FIELDS, REMARKS, ParticularsForm
from workbench.gui.theme import GRID_PX, TOUCH_PX, keep_width
from workbench.gui.work_line import WorkLine
from workbench.jobs.particulars import Particulars
from workbench.jobs.xml_signature import DIGITAL
from workbench.models.bench import Bench
from workbench.models.calibrate.job import CalibrateJob
from workbench.models.calibrate.runs import run_table, save_runs
from workbench.models.calibrate.store import Certificate
from workbench.words.language import N_, _
from workbench.words.words import Words

SIDE_PX = 36 * GRID_PX


class CertificateView(PaperView):
    """Pages on the right, entries and buttons on the left."""

    def __init__(self, bench: Bench, job: CalibrateJob, works: WorkLine) -> None:
        self._bench, self._job = bench, job
        names = FIELDS | {"by": N_("Calibrated by")} | REMARKS
        self.form = ParticularsForm(names, self.draw)
        self._of: int | None = None
        self.key = button("Sign .xml with …", self._ask_key)
        self._key_words = label("", "soft")
        self.password = QLineEdit()
        self.password.setAccessibleName(_("Password of the key"))
        self.password.setEchoMode(QLineEdit.EchoMode.Password)
        self.password.setMinimumHeight(TOUCH_PX)
        verbs = N_("Save certificate"), N_("Print certificate"), N_("Back to the runs")
        super().__init__(works, N_("Certificate (*.pdf *.html *.json *.xml)"), verbs)

    def now(self) -> Certificate | None:
        """The certificate of the result kept, with what is typed once its own was shown."""
        number, store = self._job.state.result, self._bench.store
        if number is None:
            return None
        words, name = Words(self._bench.settings.units), self._name(_("certificate"), ".pdf")
        said = self.form.said if self._of == number else None
        key = (self._bench.settings.now.key_file, self.password.text())
        return Certificate(number, store, said, words, name, *key)

    def _name(self, job: str, ending: str) -> str:
        machine = self._bench.machine
        return name_for(machine.name if machine else "", job, ending)

    def draw(self) -> None:
        """The pages of the result kept, anew, where they can be seen; what is typed for it is
        what the next is kept with too."""
        certificate = self.now()
        if certificate is None or not self.isVisible():
            return
        if certificate.said is None:
            self.form.setEnabled(False)
            shown = partial(self.show_said, certificate.number)
            self._works.add(certificate.said_before, shown, self.say)
        else:
            self._bench.for_whom.say(self._bench.machine, certificate.said)
        self.open(certificate)

    def show_said(self, number: int, said: Particulars) -> None:
        """What is said of this result; the entries are its own from now on."""
        self._of = number
        self.form.show_said(said)
        self.form.setEnabled(True)

    def save_runs(self, path: Path) -> None:
        """Write the runs as a table that `evenpace calibrate` takes, those as left beside it."""
        self._works.add(partial(save_runs, run_table(self._job.runs), path), self.saved, self.say)
        left = run_table(self._job.left_runs)
        if left:
            stem = _("{name} as left").format(name=path.stem)
            beside = path.with_name(f"{stem}{path.suffix}")
            self._works.add(partial(save_runs, left, beside), self.saved, self.say)

    def lay_out(self) -> None:
        side = QWidget()
        keep_width(side, SIDE_PX)
        column = column_of(on=side)
        column.addWidget(self.save)
        column.addWidget(row(self.print, button("Save runs", self._ask_where_runs), stretch=False))
        column.addWidget(self.back)
        column.addWidget(self.said)
        column.addWidget(self.form)
        column.addSpacing(GRID_PX)
        column.addWidget(self._key_words)
        column.addWidget(self.password)
        column.addWidget(self.key)
        column.addStretch(1)
        self._show_key()
        line = line_of(on=self, gap=3 * GRID_PX)
        left = scrolled(side, in_turn=False)
        keep_width(left, SIDE_PX + 2 * GRID_PX)
        line.addWidget(left)
        line.addWidget(self.pages, 1)

    def save_as(self, path: Path) -> None:
        """As every report; that a digital certificate was signed, or was not, is said."""
        certificate = self.now()
        if certificate is None:
            return

        def saved(written: Path) -> None:
            self.saved(written)
            if written.suffix.lower() == DIGITAL:
                told = (
                    _("{said} Signed.") if certificate.signs(written) else _("{said} Not signed.")
                )
                self.say(told.format(said=self.said.text()))
            self.password.clear()  # it is kept nowhere

        self._work(partial(certificate.save, path), saved)

    def _ask_key(self) -> None:
        title, kinds = _("The shop's key"), _("Keys (*.p12 *.pfx)")
        for path in ask_open(self, title, kinds, several=False):
            self.use_key(path)

    def use_key(self, path: Path) -> None:
        """Sign digital certificates with the key in this PKCS#12 file, from start to start."""
        self._bench.settings.change(key_file=str(path))
        self._show_key()

    def _show_key(self) -> None:
        file = self._bench.settings.now.key_file
        told = _("Password of {file}, to sign the .xml").format(file=Path(file).name)
        say(self._key_words, told)
        for one in (self._key_words, self.password):
            one.setVisible(bool(file))

    def _ask_where_runs(self) -> None:
        title, kinds = _("Save the runs"), _("Runs (*.csv)")
        if path := ask_save(self, title, self._name("runs", ".csv"), kinds):
            self.save_runs(path)
