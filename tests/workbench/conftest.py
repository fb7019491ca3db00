"""A store in a folder of its own, drivers that follow a script, and no thread left behind."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from drivers.contract import BaseDriver, EdgeBlock, Lost
from workbench.records.store import open_store


class ScriptedDriver(BaseDriver):
    """Plays a script, a step a read: a list of items, an exception, or a function to call.

    Its clock is its own and moves a step a read. `openings` are exceptions for the calls
    of `open` in turn, None where it succeeds.
    """

    def __init__(self, script, *, address="fake:1", openings=(), step_s=0.01):
        self.now_s = 100.0
        super().__init__(address, lambda: self.now_s)
        self.script = list(script)
        self.openings = list(openings)
        self.step_s = step_s
        self.opened = 0
        self.closed = 0

    def _open(self):
        error = self.openings.pop(0) if self.openings else None
        if error is not None:
            raise error
        self.opened += 1

    def _read_some(self, timeout_s):
        self.now_s += self.step_s
        if not self.script:
            self.ended = True
            return []
        step = self.script.pop(0)
        if isinstance(step, BaseException):
            raise step
        return step() if callable(step) else step

    def _close(self):
        self.closed += 1


@pytest.fixture
def scripted():
    return ScriptedDriver


@pytest.fixture
def edge_blocks():
    """Makes successive blocks of one channel: 50 edges each, a device clock of 1 µs."""

    def make(count, channel="left", first=0, seed=1):
        rng = np.random.default_rng(seed)
        ticks = np.cumsum(rng.integers(900, 1100, (first + count) * 50)).reshape(-1, 50)
        return [
            EdgeBlock(channel, i, ticks[i], 1e-6, 100.0 + ticks[i, -1] * 1e-6, 50 * (i + 1))
            for i in range(first, first + count)
        ]

    return make


@pytest.fixture
def same_items():
    """Tells whether two lists of items are the same bit for bit, with the first difference."""

    def check(found, expected):
        assert len(found) == len(expected)
        for one, other in zip(found, expected, strict=True):
            assert type(one) is type(other)
            if isinstance(one, Lost):
                assert one == other
                continue
            for name in one.__slots__:
                a, b = getattr(one, name), getattr(other, name)
                if isinstance(b, np.ndarray):
                    assert a.dtype == b.dtype, name
                    assert a.tobytes() == b.tobytes(), name
                else:
                    assert a == b, name
                    assert type(a) is type(b), name

    return check


@pytest.fixture
def store(tmp_path):
    with open_store(str(tmp_path / "bench.db")) as opened:
        yield opened


@pytest.fixture
def no_thread_left():
    """Fails a test that leaves a thread alive."""
    before = set(threading.enumerate())
    yield
    left = [thread for thread in set(threading.enumerate()) - before if thread.is_alive()]
    for thread in left:
        thread.join(2.0)
    assert [thread.name for thread in left if thread.is_alive()] == []
