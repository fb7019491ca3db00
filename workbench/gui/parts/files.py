"""Files a person names: dialogues that begin where the person last was, and what is dropped."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import QMimeData
from PySide6.QtWidgets import QFileDialog, QWidget

from workbench.models.settings import Settings
from workbench.words.language import _


def ask_open(parent: QWidget, title: str, kinds: str, *, several: bool = True) -> list[Path]:
    """The files to open, none where the person thinks better of it."""
    begin = _folder(parent)
    if several:
        chosen, _kind = QFileDialog.getOpenFileNames(parent, title, begin, kinds)
    else:
        one, _kind = QFileDialog.getOpenFileName(parent, title, begin, kinds)
        chosen = [one]
    return _remembered(parent, chosen)


def ask_save(parent: QWidget, title: str, name: str, kinds: str) -> Path | None:
    """Where to save; begins at `name` in the folder of the last time."""
    begin = str(Path(_folder(parent)) / name)
    chosen, _kind = QFileDialog.getSaveFileName(parent, title, begin, kinds)
    return _one(_remembered(parent, [chosen]))


def ask_folder(parent: QWidget, title: str) -> Path | None:
    """The folder to write to, such as a memory stick's."""
    return _one(
        _remembered(parent, [QFileDialog.getExistingDirectory(parent, title, _folder(parent))])
    )


def dropped(data: QMimeData) -> list[Path]:
    """The files of this computer that are dropped."""
    return [Path(one.toLocalFile()) for one in data.urls() if one.isLocalFile()]


def recordings_and_tables() -> str:
    """The kinds of file that can be judged."""
    endings = "*.csv *.txt *.log *.asc *.blf *.mf4 *.trc *.raw *.nmea *.ubx"
    known = _("Recordings and tables ({endings})").format(endings=endings)
    return f"{known};;{_('All files (*)')}"


def _settings(parent: QWidget) -> Settings | None:
    """Those of the window; a part that stands alone has none."""
    return getattr(parent.window(), "settings", None)


def _folder(parent: QWidget) -> str:
    settings = _settings(parent)
    return settings.now.folder if settings else ""


def _remembered(parent: QWidget, chosen: Sequence[str]) -> list[Path]:
    paths = [Path(one) for one in chosen if one]
    if paths and (settings := _settings(parent)) is not None:
        settings.change(folder=str(paths[0] if paths[0].is_dir() else paths[0].parent))
    return paths


def _one(paths: list[Path]) -> Path | None:
    return paths[0] if paths else None
