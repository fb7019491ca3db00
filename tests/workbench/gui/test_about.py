"""About: which program, where all lies, and one file for whoever helps."""

from __future__ import annotations

import zipfile

import platformdirs
import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QDesktopServices
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QCheckBox, QFileDialog

from workbench.base.version import program_version
from workbench.models import about
from workbench.records.database import sqlite_is_ours
from workbench.records.store import open_store


@pytest.fixture
def log(monkeypatch, tmp_path):
    """A log of an earlier start."""
    folder = tmp_path / "log"
    folder.mkdir()
    (folder / "evenpace.log").write_text("unexpected error")
    monkeypatch.setattr(platformdirs, "user_log_path", lambda *_a, **_k: folder)
    return folder


@pytest.fixture
def screen(window, screen_of, log, monkeypatch):
    monkeypatch.setattr(about, "serial_ports", lambda: ["/dev/ttyACM0, a pulse counter"])
    monkeypatch.setattr(about, "can_channels", list)
    screen = screen_of(window)
    screen.press("About")
    return screen


def test_about_tells_the_version_and_where_all_lies(screen, bench, log, monkeypatch):
    assert program_version() in screen.said
    assert "MIT" in screen.said
    shown = []
    monkeypatch.setattr(QDesktopServices, "openUrl", lambda url: shown.append(url) or True)
    for name in ("Recordings and results", "Settings", "Log"):
        screen.press(f"Open the folder of: {name}")
    folders = [url.toLocalFile() for url in shown]
    assert folders == [str(folder) for folder in about.folders(bench).values()]
    assert str(log) in folders
    assert str(bench.settings.path.parent) in folders
    screen.key(Qt.Key.Key_Escape)
    assert "About Evenpace" not in screen.said


def test_a_folder_that_cannot_be_shown_is_named(screen, log, monkeypatch):
    monkeypatch.setattr(QDesktopServices, "openUrl", lambda _url: False)
    screen.press("Open the folder of: Log")
    assert str(log) in screen.said
    log.rename(log.with_name("elsewhere"))
    screen.press("Open the folder of: Log")
    assert "There is no folder" in screen.said


@pytest.mark.parametrize("with_data", [False, True])
def test_the_diagnosis_holds_no_measurement_unless_ticked(
    screen, bench, monkeypatch, tmp_path, with_data
):
    path = tmp_path / "for help.zip"
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_a, **_k: (str(path), ""))
    open_store(bench.store).close()
    bench.settings.change(theme="dark")
    if with_data:
        (tick,) = screen.shown(QCheckBox)
        QTest.keyClick(tick, Qt.Key.Key_Space)
    screen.press("Save diagnosis")
    screen.until(lambda: path.name in screen.said)
    with zipfile.ZipFile(path) as file:
        names = set(file.namelist())
        texts = {name: file.read(name) for name in names}
    always = {"versions.txt", "plugged.txt", "log/evenpace.log", "settings.json"}
    assert names == always | ({"store.db"} if with_data else set())
    assert f"evenpace {program_version()}".encode() in texts["versions.txt"]
    assert b"numpy" in texts["versions.txt"]
    assert b"ttyACM0" in texts["plugged.txt"]
    if with_data:
        copy = tmp_path / "copy.db"
        copy.write_bytes(texts["store.db"])
        assert sqlite_is_ours(copy)
        assert "measurement data included" in screen.said
    assert not [one for one in tmp_path.iterdir() if one.name.startswith(".")]
