"""A bool signal survives being emitted often.

PySide6 6.12.0 on CPython 3.11 aborts: each emit loses a reference to True (found here, no
source); the pin in pyproject.toml keeps such a version out.
"""

from __future__ import annotations

import sys

from PySide6.QtCore import QObject, Signal

EMITS = 20_000


class Sender(QObject):
    told = Signal(bool)


def test_twenty_thousand_emits_lose_no_reference(qapp):
    sender, heard = Sender(), []
    sender.told.connect(heard.append)
    before = sys.getrefcount(True)
    for _ in range(EMITS):
        sender.told.emit(True)
    assert heard == [True] * EMITS
    heard.clear()
    # From 3.12 on True is immortal and its count says nothing.
    if sys.version_info < (3, 12):
        assert abs(sys.getrefcount(True) - before) < 1000
