"""A second start finds the first one's window, raises it, and ends well with a sentence."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
from PySide6.QtCore import QObject

from workbench.gui.one_window import Doorbell, name_of, raise_other


@pytest.fixture
def rings(qtbot):
    """A window of this user on a store, as a list of the times it was asked for."""
    rung, parent = [], QObject()
    made = []

    def at(store):
        made.append(Doorbell(name_of(str(store)), lambda: rung.append(store), parent))
        return rung

    yield at
    parent.deleteLater()


def test_a_second_start_is_heard_by_the_first(rings, qtbot, tmp_path):
    rung = rings(tmp_path / "a.db")
    assert raise_other(name_of(str(tmp_path / "a.db")))
    qtbot.waitUntil(lambda: rung == [tmp_path / "a.db"])


def test_another_store_has_a_window_of_its_own(rings, tmp_path):
    rings(tmp_path / "a.db")
    assert not raise_other(name_of(str(tmp_path / "b.db")))


def test_what_a_killed_program_left_is_in_nobody_s_way(rings, qtbot, tmp_path):
    name = name_of(str(tmp_path / "a.db"))
    code = f"""
import os
from PySide6.QtCore import QCoreApplication
from PySide6.QtNetwork import QLocalServer
app, server = QCoreApplication([]), QLocalServer()
assert server.listen({name!r})
os._exit(9)
"""
    subprocess.run([sys.executable, "-c", code], check=False, timeout=60)
    assert not raise_other(name)
    rung = rings(tmp_path / "a.db")
    assert raise_other(name)
    qtbot.waitUntil(lambda: bool(rung))


def test_the_program_started_a_second_time_ends_0_with_a_sentence(rings, qtbot, tmp_path):
    store = tmp_path / "store.db"
    rung = rings(os.path.realpath(store))
    settings = {"XDG_CONFIG_HOME": str(tmp_path), "XDG_DATA_HOME": str(tmp_path)}
    environment = (
        os.environ
        | settings
        | {
            "EVENPACE_STORE": str(store),
            "QT_QPA_PLATFORM": "offscreen",
            "PYTHONPATH": os.pathsep.join(sys.path),
        }
    )
    second = subprocess.run(
        [sys.executable, "-m", "workbench.cli"],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert second.returncode == 0, second.stderr
    assert "open already" in second.stdout
    qtbot.waitUntil(lambda: bool(rung))
