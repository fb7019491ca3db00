"""Inputs on bad wires: a flood of garbage, and plugs pulled fifty times.

In between the device speaks as it should: all of that is kept, nothing is made of the rest, and
neither memory nor time goes with it. `EVENPACE_FAULTS=long` sends a minute's garbage at 1 MB/s.
"""

from __future__ import annotations

import os
import threading
import tracemalloc

import numpy as np
import pytest

from drivers.catalogue import open_input
from drivers.contract import EdgeBlock, FrameBlock, Lost, SpeedBlock
from drivers.firmware.counter_core import PICKUP, PulseCounter
from workbench.live.session import InputState, Session

pytestmark = pytest.mark.usefixtures("quick_slcan")

tty = pytest.importorskip("tty", reason="this system has no pseudo-terminals")

GARBAGE_BYTES = 60_000_000 if os.environ.get("EVENPACE_FAULTS") == "long" else 500_000
MEMORY_BYTES = 400_000
"""Less than the garbage itself: nothing gathers it."""
PULLS = 50

pause = threading.Event()


class Counter:
    """Ten pulses a word, numbered by their ticks; it tells who it is in the first word."""

    address = "counter:{port}"

    def __init__(self):
        self._core = PulseCounter("test board", 1_000_000, 1, [("left", PICKUP, 0)])

    def word(self, number):
        said = b""
        for k in range(10 * number, 10 * number + 10):
            self._core.rise(0, 20_000 * k)
            said += self._core.poll(20_000 * k)
        return said + self._core.poll(200_000 * (number + 1) - 1)

    @staticmethod
    def heard(items):
        ticks = [item.ticks // 20_000 for item in items if isinstance(item, EdgeBlock)]
        return sorted({int(tick) // 10 for block in ticks for tick in block})


class Receiver:
    """A sentence a word, whose speed is its number in tenths of a knot."""

    address = "gnss:{port}?baud=9600"

    def word(self, number):
        clock = f"{number // 3600:02d}{number // 60 % 60:02d}{number % 60:02d}.00"
        body = f"GPRMC,{clock},A,3130.0,N,08330.0,W,{number / 10:.1f},0.0,040526,,,A"
        return b"\r\n$%b*%02X\r\n" % (body.encode(), np.bitwise_xor.reduce(list(body.encode())))

    @staticmethod
    def heard(items):
        speeds = [item.speed_mps for item in items if isinstance(item, SpeedBlock)]
        return [round(float(one) * 3600 / 1852 * 10) for block in speeds for one in block]


class Adapter:
    """A frame a word, whose data are its number."""

    address = "can:slcan:{port}?bitrate=250000"

    def word(self, number):
        return b"\rT0CFE49F08%016X\r" % number

    @staticmethod
    def heard(items):
        blocks = [item.data for item in items if isinstance(item, FrameBlock)]
        return [int(one) for data in blocks for one in np.frombuffer(data, ">u8")]


class Cable:
    """A pseudo-terminal under a name that stays, to be pulled and plugged in again."""

    def __init__(self, link):
        self._link, self._master = link, None
        self.port = str(link)
        self.plug()

    def plug(self):
        master, slave = os.openpty()
        tty.setraw(slave)
        os.set_blocking(master, False)
        self._link.unlink(missing_ok=True)
        self._link.symlink_to(os.ttyname(slave))
        os.close(slave)
        self._master = master

    def pull(self):
        master, self._master = self._master, None
        self._link.unlink()
        os.close(master)

    def say(self, words):
        while words:
            try:
                words = words[os.write(self._master, words) :]
            except BlockingIOError:
                self.listen()
                pause.wait(0.0005)

    def listen(self):
        """Drop what was said to the device; an adapter is told its rate."""
        try:
            os.read(self._master, 1 << 16)
        except OSError:
            return


@pytest.fixture
def cable(tmp_path):
    made = Cable(tmp_path / "ttyDEVICE")
    yield made
    made.pull()


@pytest.fixture(params=[Counter, Receiver, Adapter])
def device(request):
    """What speaks; of a counter's plug `test_session_wire` tells."""
    return request.param()


@pytest.fixture
def heard(cable, device):
    """A session that reads the device, and what it has kept; plugged in again at each pull."""

    class Heard:
        items, back = [], threading.Event()

        @property
        def words(self):
            return device.heard(list(self.items))

        @property
        def status(self):
            return session.statuses[0]

    heard = Heard()
    heard.items = []

    def back_off(stopping, _seconds):
        heard.back.wait(0.01)
        return stopping.is_set()

    driver = open_input(device.address.format(port=cable.port))
    heard.notes = driver.notes
    session = Session([driver], back_off_s=(0.0,), wait=back_off)
    session.start(lambda _address, item: heard.items.append(item))
    yield heard
    assert session.stop() == []


@pytest.mark.parametrize("garbage", [None, b"\xff", b"$"])
def test_a_flood_of_garbage_costs_nothing_but_itself(device, cable, heard, until, garbage):
    """Of random bytes, or of one and the same: a line at the wrong rate, or without its device."""
    until(lambda: heard.status.state is InputState.RUNNING)
    rng = np.random.default_rng(1)
    cable.say(device.word(0))
    until(lambda: 0 in heard.words)
    tracemalloc.start()
    try:
        for _ in range(GARBAGE_BYTES // 20_000):
            cable.say(garbage * 20_000 if garbage else rng.bytes(20_000))
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most < MEMORY_BYTES
    # The first word after the flood may be taken for the end of what came before it.
    number = 1
    while heard.words[-1] != number:
        number += 1
        assert number < 60, heard.status
        cable.say(device.word(number))
        pause.wait(0.02)
    assert heard.status.error is None
    assert set(heard.words) <= set(range(number + 1))
    assert garbage or sum(heard.notes.rejects.values()) > 0


@pytest.mark.parametrize("device", [Receiver(), Adapter()])
def test_a_plug_pulled_fifty_times_costs_what_was_not_connected(device, cable, heard, until):
    until(lambda: heard.status.state is InputState.RUNNING)
    for pull in range(1, PULLS + 1):
        cable.say(device.word(2 * pull))
        until(lambda pull=pull: heard.words and heard.words[-1] == 2 * pull)
        cable.pull()
        cable.plug()
        until(lambda pull=pull: heard.status.reconnects == pull)
        until(lambda: heard.status.state is InputState.RUNNING)
    assert heard.words == [2 * pull for pull in range(1, PULLS + 1)]
    holes = [item for item in heard.items if isinstance(item, Lost) and item.stream == ""]
    assert sum("plugged in again" in str(hole.reason) for hole in holes) == PULLS
