"""Whatever is pressed and typed in whatever order, nothing breaks and nothing is lost.

A walk by chance over all pages: every press and every word is one a person could do. Only
the dialogs for files are answered here.
"""

from __future__ import annotations

import random
import sys
import threading

import pytest
from PySide6.QtCore import QCoreApplication, Qt
from PySide6.QtGui import QDesktopServices
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QComboBox,
    QFileDialog,
    QLineEdit,
    QListView,
    QMenu,
    QTableWidget,
)

from workbench.records.store import open_store

STEPS = 120
SCENARIOS = ("valve-off", "bent-tooth", "calibration-shop", "noisy-wiring")
TYPED = ("1/16", "2.6", "abc", "", "0", "-3", "1e400", "90", "Digger 4 / left", "½", "nan", "2,5")
ENDINGS = ("pdf", "html", "json", "csv", "toml", "png", "svg", "txt")
KEYS = (
    Qt.Key.Key_Space,
    Qt.Key.Key_Return,
    Qt.Key.Key_Escape,
    Qt.Key.Key_Up,
    Qt.Key.Key_Down,
    Qt.Key.Key_Left,
    Qt.Key.Key_Tab,
    Qt.Key.Key_Delete,
    Qt.Key.Key_Plus,
    Qt.Key.Key_Minus,
)


@pytest.fixture
def broken(monkeypatch):
    """Errors that nobody caught, of every thread."""
    met = []
    monkeypatch.setattr(sys, "excepthook", lambda *error: met.append(error))
    monkeypatch.setattr(threading, "excepthook", lambda args: met.append(args))
    return met


@pytest.fixture
def answered(monkeypatch, tmp_path):
    """Dialogs for files are answered: with a fresh name, or with some file that is there."""

    def answer(chance):
        def fresh(*_args, **_kwargs):
            name = f"{chance.randrange(10**6)}.{chance.choice(ENDINGS)}"
            return str(tmp_path / name), ""

        def some(*_args, **_kwargs):
            files = sorted(str(path) for path in tmp_path.iterdir() if path.is_file())
            return chance.choice([*files, str(tmp_path / "nothing.toml")]), ""

        def several(*args, **kwargs):
            return [some(*args, **kwargs)[0] for _ in range(chance.randrange(3))], ""

        monkeypatch.setattr(QFileDialog, "getSaveFileName", fresh)
        monkeypatch.setattr(QFileDialog, "getOpenFileNames", several)
        monkeypatch.setattr(QFileDialog, "getOpenFileName", some)
        monkeypatch.setattr(QFileDialog, "getExistingDirectory", lambda *_, **__: str(tmp_path))
        monkeypatch.setattr(QDesktopServices, "openUrl", lambda _url: chance.random() < 0.5)

    return answer


def touch(widget, chance):
    """Do with a widget what it is for."""
    if isinstance(widget, QAbstractButton):
        menu = getattr(widget, "menu", lambda: None)()
        if isinstance(menu, QMenu):  # a menu that pops up would wait for its answer
            menu.aboutToShow.emit()
            entries = [entry for entry in menu.actions() if entry.isEnabled()]
            if entries:
                chance.choice(entries).trigger()
        elif "rint" not in widget.text():  # a print dialog would wait for its answer, too
            widget.click()
    elif isinstance(widget, QLineEdit):
        widget.setFocus()
        widget.selectAll()
        QTest.keyClicks(widget, chance.choice(TYPED))
        if chance.random() < 0.5:
            QTest.keyClick(widget, Qt.Key.Key_Return)
    elif isinstance(widget, QComboBox) and widget.count():
        widget.setCurrentIndex(chance.randrange(widget.count()))
        widget.activated.emit(widget.currentIndex())
    elif isinstance(widget, QTableWidget) and widget.rowCount():
        widget.setCurrentCell(chance.randrange(widget.rowCount()), 0)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_walk_by_chance_breaks_nothing(window, bench, pass_time, broken, answered, seed):
    chance = random.Random(seed)
    answered(chance)
    places = window.findChildren(QAbstractButton)
    pages = [one.objectName() for one in places if one.property("role") == "place"]
    for _ in range(STEPS):
        QCoreApplication.processEvents()
        what = chance.random()
        if what < 0.2:
            pass_time(chance.choice((1, 2, 4)), step_s=0.5, look=window.tick)
        elif what < 0.25:
            bench.machine = None
            bench.use_inputs([f"sim:{chance.choice(SCENARIOS)}?seed={seed}"])
        elif what < 0.35:
            window.show_page(chance.choice(pages))
        elif what < 0.5:
            QTest.keyClick(QApplication.focusWidget() or window, chance.choice(KEYS))
        else:
            kinds = (QAbstractButton, QLineEdit, QComboBox, QTableWidget, QListView)
            there = [one for kind in kinds for one in window.findChildren(kind)]
            touch(chance.choice([one for one in there if one.isVisible()]), chance)
        window.tick()
        assert broken == []
    window.close()
    with open_store(bench.store) as store:
        assert {one.state for one in store.recordings()} <= {"ended"}
