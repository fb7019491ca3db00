"""The program as its user starts it, in a real window under Xvfb, driven by xdotool.

A twin of the window, drawn offscreen at the same size, is led through the same steps and
says where each button lies; xdotool clicks there in the real one. $EVENPACE_PROGRAM names a program
to drive instead of this checkout's, such as one that was installed.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest
from PySide6.QtCore import QPoint, Qt

from workbench.jobs.keep import any_answer
from workbench.records.store import open_store

ROOT = Path(__file__).resolve().parents[3]
SIZE = (1280, 800)
STORE = "real.db"
"""The real window's; the twin keeps in one of its own."""
STEADY_AFTER_S = 20
"""The digger of a first start stands, drives off, and is steady from its seventeenth second on;
before that a run would be asked about."""
PATIENCE_S = 40.0
PAUSE_S = 0.25
"""Between two steps of a person in a hurry."""
LIST_OPENS_S = 1.0
"""A list, or a dialogue, that is asked for is there by then."""

missing = [name for name in ("Xvfb", "xdotool") if shutil.which(name) is None]
pytestmark = pytest.mark.skipif(
    bool(missing), reason=f"{' and '.join(missing)} not installed: no real window"
)


@pytest.fixture
def display():
    """A screen of its own, as the number X gives it."""
    read, write = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(write), "-screen", "0", "1280x800x24", "-nolisten", "tcp"],
        pass_fds=[write],
        stderr=subprocess.DEVNULL,
    )
    os.close(write)
    with os.fdopen(read) as said:
        number = said.readline().strip()
    assert number, "Xvfb did not start"
    yield f":{number}"
    server.terminate()
    server.wait()


@pytest.fixture
def surroundings(display, tmp_path):
    """A user's first start: nothing of the program in the home folder yet."""
    open_store(str(tmp_path / STORE)).close()  # a message of a new one would move all below it
    homes = {f"XDG_{name}_HOME": str(tmp_path / name) for name in ("CONFIG", "DATA", "STATE")}
    own = {"HOME": str(tmp_path), "XDG_CACHE_HOME": str(tmp_path / "CACHE"), "DISPLAY": display}
    own |= {"QT_QPA_PLATFORM": "xcb", "EVENPACE_STORE": str(tmp_path / STORE)}
    return {**os.environ, **homes, **own}


@pytest.fixture
def program(surroundings):
    process = subprocess.Popen(
        os.environ.get("EVENPACE_PROGRAM", f"{sys.executable} -m workbench.cli").split(),
        cwd=ROOT,
        env=surroundings,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    yield process
    process.kill()
    process.communicate()


class Person:
    """Clicks and types in the real window, where the twin shows the way."""

    def __init__(self, window, surroundings, twin):
        self._window, self._surroundings, self.twin = window, surroundings, twin

    def _do(self, *words):
        subprocess.run(["xdotool", *words], env=self._surroundings, check=True, timeout=20)
        time.sleep(PAUSE_S)

    def _click(self, widget):
        at = widget.mapTo(self.twin.widget, QPoint(0, 0)) + widget.rect().center()
        self._do("mousemove", "--window", self._window, str(at.x()), str(at.y()), "click", "1")

    def press(self, words):
        self._click(self.twin.button(words))
        self.twin.press(words)

    def save(self, words, path):
        """Press a button that asks for a file's name, and give one."""
        self._click(self.twin.button(words))
        time.sleep(LIST_OPENS_S)
        self._do("key", "ctrl+a")
        self._do("type", str(path))
        self._do("key", "Return")

    def choose_last(self, words):
        self._click(self.twin.field(words))
        time.sleep(LIST_OPENS_S)
        self._do("key", "End", "Return")
        self.twin.key(Qt.Key.Key_End, words)

    def fill(self, words, text):
        self._click(self.twin.field(words))
        self._do("key", "ctrl+a")
        self._do("type", text)
        self.twin.type(words, text)

    def key(self, name):
        # Without a window manager nobody gives the focus back that a dialogue took.
        self._do("windowfocus", "--sync", self._window, "key", name)


@pytest.fixture
def person(program, surroundings, window, screen_of):
    search = ["xdotool", "search", "--sync", "--onlyvisible", "--name", "^Evenpace$"]
    found = subprocess.run(
        search, env=surroundings, capture_output=True, text=True, check=True, timeout=PATIENCE_S
    )
    real = found.stdout.split()[0]
    for words in (("windowsize", "--sync", real, *map(str, SIZE)), ("windowfocus", "--sync", real)):
        subprocess.run(["xdotool", *words], env=surroundings, check=False, timeout=PATIENCE_S)
    window.resize(*SIZE)
    window.show_page("Start")
    return Person(real, surroundings, screen_of(window))


def until(holds):
    """Wait for the real window, as long as one would."""
    for _ in range(int(PATIENCE_S / PAUSE_S)):
        if holds():
            return
        time.sleep(PAUSE_S)
    raise AssertionError(holds)


def test_a_readout_is_calibrated_in_a_real_window(person, program, tmp_path, pass_time):
    person.press("Calibrate a readout")
    person.press("I have read this")
    person.choose_last("What the true speed is taken from")
    pass_time(STEADY_AFTER_S)
    time.sleep(STEADY_AFTER_S)
    for shown, read in (("2.4", "2.5"), ("2.9", "3.01")):
        person.fill("What the readout shows", shown)
        person.fill("The instrument's reading", read)
        person.fill("The instrument's expanded", "0.01")
        person.press("Keep run")
    person.twin.until(lambda: "Keep result" in person.twin.offers)
    time.sleep(2.0)  # the real one works as long as the twin
    person.press("Keep result")

    def kept():
        with open_store(str(tmp_path / STORE), make=False) as store:
            return [store.result(entry.number) for entry in store.results()]

    until(kept)
    (result,) = kept()
    assert result.kind == "calibrate"
    # What was typed: 0.1 of 2.5 and 0.11 of 3.01 too little.
    assert any_answer(result).error_at_work == pytest.approx(-0.04, abs=0.01)
    person.twin.until(lambda: "Certificate …" in person.twin.offers)
    person.press("Certificate …")
    person.twin.until(lambda: "Save certificate" in person.twin.offers)
    paper = tmp_path / "certificate.pdf"
    person.save("Save certificate", paper)
    until(paper.is_file)
    assert paper.read_bytes().startswith(b"%PDF")
    person.key("ctrl+q")
    said, _ = program.communicate(timeout=PATIENCE_S)
    assert "Traceback" not in said
    assert program.returncode == 0
