"""A full 250 kbit/s bus by slcan: our reading of the port in blocks against python-can alone."""

import os
import time

import can
import pytest

from drivers.can import listen_only
from drivers.can.bus import CanDriver
from drivers.contract import FrameBlock

termios = pytest.importorskip("termios", reason="pseudo-terminals are only on Linux and macOS")
tty = pytest.importorskip("tty", reason="pseudo-terminals are only on Linux and macOS")

LINE = b"T0CFE484589426000000000000\r"
FRAMES_A_SECOND = 1900
"""Of a full bus, at most (computed from 250 kbit/s and 131 bits a frame)."""
BURST = 100
BURSTS = 60


def seconds(read, master):
    """Processor time to read `BURSTS` bursts, `read` until each is there."""
    spent_s = 0.0
    for _ in range(BURSTS):
        os.write(master, LINE * BURST)
        begin_s = time.process_time()
        got = 0
        while got < BURST:
            got += read()
        spent_s += time.process_time() - begin_s
    return spent_s


def test_slcan_by_blocks(monkeypatch, figures):
    quick = listen_only.SILENT["slcan"] | {"sleep_after_open": 0}
    monkeypatch.setitem(listen_only.SILENT, "slcan", quick)
    master, slave = os.openpty()
    tty.setraw(slave)
    port = os.ttyname(slave)

    with CanDriver(f"slcan:{port}", {}) as driver:

        def decoded():
            items = driver.read(0.0)
            return sum(item.length.size for item in items if isinstance(item, FrameBlock))

        ours_s = seconds(decoded, master)
    with can.Bus(port, interface="slcan", ignore_config=True, **quick) as bus:
        theirs_s = seconds(lambda: bus.recv(0) is not None, master)
    os.close(slave)
    os.close(master)
    share = ours_s / (BURSTS * BURST / FRAMES_A_SECOND)
    print(
        f"\n{BURSTS * BURST} frames by slcan: {ours_s:.2f} s read and decoded here, "
        f"{theirs_s:.2f} s read by python-can alone; ratio {theirs_s / ours_s:.1f} (at least 1.5); "
        f"a full bus takes {100 * share:.0f} % of a core"
    )
    figures.at_least("frames by slcan", theirs_s / ours_s, 1.5, "×", "python-can, which only reads")
