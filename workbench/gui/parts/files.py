"""Files a person names: dialogues that begin where the person last was, and what is dropped."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from PySide6.QtCore import QMimeData
from PySide6.QtWidgets import QFileDialog, QWidget

from workbench.base.files import safe_name
from workbench.base.machine import Machine
from workbench.models.bench import Bench
from workbench.words.language import _


def ask_open(parent: QWidget, bench: Bench, title: str, kinds: str) -> list[Path]:
    """The files to open, none where the person thinks better of it."""
    begin = bench.settings.now.folder
    chosen, _kind = QFileDialog.getOpenFileNames(parent, title, begin, kinds)
    return _remembered(bench, chosen)


def ask_save(parent: QWidget, bench: Bench, title: str, name: str, kinds: str) -> Path | None:
    """Where to save; begins at `name` in the folder of the last time."""
    begin = str(Path(bench.settings.now.folder) / name)
    chosen, _kind = QFileDialog.getSaveFileName(parent, title, begin, kinds)
    return next(iter(_remembered(bench, [chosen] if chosen else [])), None)


def name_for(machine: Machine | str | None, job: str, ending: str, day: str = "") -> str:
    """'Six-row digger, left belt, pass, 2026-09-14.pdf': machine, job and day."""
    machine = machine.name if isinstance(machine, Machine) else machine or ""
    day = day or datetime.now().astimezone().date().isoformat()
    name = ", ".join(part for part in (machine, job, day) if part)
    return safe_name(name.replace("/", "-").replace("\\", "-") + ending)


def dropped(data: QMimeData) -> list[Path]:
    """The files of this computer that are dropped."""
    return [Path(one.toLocalFile()) for one in data.urls() if one.isLocalFile()]


def recordings_and_tables() -> str:
    """The kinds of file that can be judged."""
    endings = "*.csv *.txt *.log *.asc *.blf *.mf4 *.trc *.raw *.nmea *.ubx"
    known = _("Recordings and tables ({endings})").format(endings=endings)
    return f"{known};;{_('All files (*)')}"


def _remembered(bench: Bench, chosen: Sequence[str]) -> list[Path]:
    if chosen:
        bench.settings.change(folder=str(Path(chosen[0]).parent))
    return [Path(one) for one in chosen]
