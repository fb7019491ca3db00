"""A session on real wires: plugs pulled fifty times."""

from __future__ import annotations

import os
import time

import numpy as np
import pytest

from drivers.catalogue import open_input
from drivers.contract import EdgeBlock, Lost
from drivers.firmware.counter_core import PICKUP, PulseCounter
from workbench.live.session import InputState, Session
from workbench.records.recorder import Recorder

tty = pytest.importorskip("tty", reason="this system has no pseudo-terminals")

CLOCK_HZ = 1_000_000
PULLS = 50


class Board:
    """A counter board on a cable that is pulled and plugged in again under the same name."""

    def __init__(self, link):
        self.link, self.master = link, None
        self.tick = 0
        self.boot = 0
        self.start_anew()

    def start_anew(self):
        self.boot += 1
        self.tick = 0
        self.core = PulseCounter("test board", CLOCK_HZ, self.boot, [("left", PICKUP, 0)])

    def plug(self):
        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(slave))
        os.close(slave)

    def pull(self):
        master, self.master = self.master, None
        self.link.unlink()
        os.close(master)  # last: from here on the session may plug it in again

    def turn(self, edges):
        """Let the target wheel pass some teeth; returns their ticks and the board's words."""
        # All within half a second, and then long enough for the board to send the last.
        ticks = self.tick + np.linspace(0, CLOCK_HZ // 2, edges).astype(int)
        said = b""
        for tick in ticks.tolist():
            self.core.rise(0, tick)
            said += self.core.poll(tick)
        self.tick += CLOCK_HZ * 6 // 10
        return ticks, said + self.core.poll(self.tick)

    def turn_and_say(self, edges):
        """The same, with the words on the wire; returns the ticks."""
        ticks, words = self.turn(edges)
        while words:
            words = words[os.write(self.master, words) :]
        return ticks


@pytest.mark.usefixtures("no_thread_left")
def test_a_plug_pulled_fifty_times_costs_only_what_was_not_connected(tmp_path, store):
    board = Board(tmp_path / "ttyBOARD")
    board.plug()
    tried = []

    def wait_for(**wanted):
        """Until the session says so of its input; other threads and the kernel take their time."""
        for _ in range(4000):
            (status,) = session.statuses
            if all(getattr(status, name) == value for name, value in wanted.items()):
                return
            time.sleep(0.005)
        raise AssertionError(f"never came to {wanted}: {session.statuses}")

    def back_off(event, seconds):
        # The first try finds nothing there, at the second the board is plugged in again.
        tried.append(seconds)
        if len(tried) % 2 == 0:
            board.plug()
        return event.is_set()

    driver = open_input(f"counter:{board.link}")
    writer = store.begin_recording("pulled", started_host_s=driver.clock())
    recorder = Recorder(writer, lambda: driver.notes, period_s=0.02)
    session = Session([driver], back_off_s=(0.0,), wait=back_off)
    recorder.start()
    session.start(recorder.put)
    wait_for(state=InputState.RUNNING)
    sent, unseen = [], 0
    for pull in range(1, PULLS + 1):
        sent.append(board.turn_and_say(30))
        wait_for(edges=30 * pull)
        board.pull()
        if pull % 10 == 0:
            board.start_anew()  # this time it lost its power, too
        else:
            board.turn(7)  # teeth that pass while nobody listens
            unseen += 7
        wait_for(reconnects=pull, state=InputState.RUNNING)
    sent.append(board.turn_and_say(30))
    wait_for(edges=30 * (PULLS + 1))
    assert session.stop() == []
    recorder.close()
    board.pull()

    stored = [item for _, item in store.items(writer.number)]
    found = np.concatenate([item.ticks for item in stored if isinstance(item, EdgeBlock)])
    assert found.tolist() == np.concatenate(sent).tolist()
    holes = [item for item in stored if isinstance(item, Lost)]
    assert sum(hole.count is None and "plugged in again" in hole.reason for hole in holes) == PULLS
    assert sum(hole.count or 0 for hole in holes if hole.stream == "left") == unseen
    assert sum("restarted" in hole.reason for hole in holes) == PULLS // 10
    assert all(hole.to_s >= hole.from_s for hole in holes)
