"""Which file, asked for on the page Records."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtWidgets import QWidget

from workbench.base.files import name_for
from workbench.gui.parts.files import ask_open, ask_save
from workbench.models.records.listing import RecordEntry
from workbench.reports.stored import REPORTED
from workbench.words.language import _


def ask_where(parent: QWidget, entry: RecordEntry, title: str) -> Path | None:
    """Where a line's tables, report or numbers go, under a name that tells what it is."""
    kind, ending = _("Tables (*.csv)"), ".csv"
    if entry.is_result:
        reported = entry.kind in REPORTED
        kind = _("Report (*.pdf *.html *.json)") if reported else _("Numbers (*.json)")
        ending = ".pdf" if reported else ".json"
    job, day = f"{entry.kind_word} {entry.number}", entry.when_utc[:10]
    path = ask_save(parent, title, name_for(entry.machine, job, ending, day), kind)
    return path if path is None or path.suffix else path.with_suffix(ending)


def ask_backup(parent: QWidget) -> Path | None:
    """The backup to be restored."""
    kinds = _("Backups (*.db);;All files (*)")
    return next(iter(ask_open(parent, _("Restore which backup?"), kinds, several=False)), None)
