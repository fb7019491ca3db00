"""Four counters at 2 kHz, a GNSS receiver at 10 Hz and a full CAN bus, recorded for a while.

    python tests/benchmarks/soak_record.py 300

The devices speak on pseudo-terminals; the program is `evenpace record` itself, in a process
of its own. At the end everything stored is compared with what was said: nothing may be
missing, the program may have used half a core at most, and its memory may not have grown
after the first quarter. Linux only (it reads /proc). Exit status 1 where one of them fails.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import threading
import time
import tty
from contextlib import suppress
from pathlib import Path

import numpy as np

from drivers.contract import EdgeBlock, FrameBlock, Lost, SpeedBlock
from drivers.firmware.counter_core import PICKUP, PulseCounter
from workbench.records.store import open_store

ROOT = Path(__file__).resolve().parents[2]
COUNTERS = 4
RATE_HZ = 2000
CLOCK_HZ = 1_000_000
FRAMES_A_SECOND = 1900
"""Of a full 250 kbit/s bus, at most (131 bits a frame)."""
SLOT_S = 0.02
GROWTH = 1.05
"""Memory at the end over that after the first quarter; 5 % is what a list of holes may take."""


class Device(threading.Thread):
    """Says `words(slot)` every slot on a pseudo-terminal, in real time, and hears nothing."""

    def __init__(self, stop: threading.Event) -> None:
        super().__init__(daemon=True)
        self.master, slave = os.openpty()
        tty.setraw(slave)
        os.set_blocking(self.master, False)
        self.port, self._slave, self._halt = os.ttyname(slave), slave, stop

    def words(self, slot: int) -> bytes:
        raise NotImplementedError

    def run(self) -> None:
        due_s, slot = time.monotonic(), 0
        while not self._halt.is_set():
            self._say(self.words(slot))
            slot += 1
            # What nobody listened to at first is not said faster later.
            due_s = max(due_s + SLOT_S, time.monotonic() - SLOT_S)
            self._halt.wait(max(0.0, due_s - time.monotonic()))

    def _say(self, words: bytes) -> None:
        with suppress(BlockingIOError):
            os.read(self.master, 1 << 16)
        while words and not self._halt.is_set():
            try:
                words = words[os.write(self.master, words) :]
            except BlockingIOError:
                time.sleep(0.001)


class Counter(Device):
    """Edge k at tick 500·k + (37·k mod 100): any that is missing or changed shows."""

    def __init__(self, stop: threading.Event, number: int) -> None:
        super().__init__(stop)
        self._core = PulseCounter(f"soak {number}", CLOCK_HZ, number, [("left", PICKUP, 0)])

    def words(self, slot: int) -> bytes:
        step = CLOCK_HZ // RATE_HZ
        edges = round(SLOT_S * RATE_HZ)
        said = []
        for k in range(slot * edges, (slot + 1) * edges):
            self._core.rise(0, k * step + 37 * k % 100)
        said.append(self._core.poll((slot + 1) * edges * step))
        return b"".join(said)


class Receiver(Device):
    """RMC sentences, ten a second; the speed counts up in tenths of a knot."""

    def words(self, slot: int) -> bytes:
        if slot % 5:
            return b""
        second = slot // 50
        clock = f"{second // 3600 % 24:02d}{second // 60 % 60:02d}{second % 60:02d}"
        knots = slot // 5 % 500 / 10
        body = f"GPRMC,{clock}.{slot // 5 % 10}0,A,3130.0,N,08330.0,W,{knots:.1f},0.0,040526,,,A"
        total = 0
        for byte in body.encode():
            total ^= byte
        return f"${body}*{total:02X}\r\n".encode()


class Bus(Device):
    """An slcan adapter on a full bus; the data of each frame are its number."""

    def words(self, slot: int) -> bytes:
        frames = round(SLOT_S * FRAMES_A_SECOND)
        numbers = range(slot * frames, (slot + 1) * frames)
        return b"".join(b"T0CFE49F08%016X\r" % number for number in numbers)


def memory_bytes(pid: int) -> int:
    """What a process holds of the machine's memory."""
    fields = Path(f"/proc/{pid}/statm").read_text().split()
    return int(fields[1]) * os.sysconf("SC_PAGE_SIZE")


def processor_s(pid: int) -> float:
    """Processor time of a process so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def watch(process: subprocess.Popen[str], for_s: float) -> dict[str, float]:
    """Processor share and memory of the program between a tenth and the end of the run."""
    time.sleep(for_s / 10)
    begin_s, spent_s = time.monotonic(), processor_s(process.pid)
    memory = []
    share = 0.0
    while time.monotonic() - begin_s < 0.85 * for_s:
        time.sleep(1.0)
        memory.append(memory_bytes(process.pid))
        share = (processor_s(process.pid) - spent_s) / (time.monotonic() - begin_s)
    settled = max(memory[: max(1, len(memory) // 4)])
    return {"core_share": share, "memory_mb": memory[-1] / 1e6, "grown": memory[-1] / settled}


def compare(address: str, number: int) -> dict[str, object]:
    """What is in the store against what the devices said, from the first to the last."""
    edges: dict[str, list[np.ndarray]] = {}
    frames, speeds, lost = [], [], 0
    with open_store(address) as store:
        for name, item in store.items(number):
            if isinstance(item, EdgeBlock):
                edges.setdefault(name, []).append(item.ticks)
            elif isinstance(item, FrameBlock):
                frames.append(np.frombuffer(item.data, ">u8"))
            elif isinstance(item, SpeedBlock) and item.source == "rmc":
                speeds.append(np.rint(item.speed_mps * 3600 / 1852 * 10).astype(int))
            elif isinstance(item, Lost):
                lost += 1
    wrong = 0
    counts = []
    for blocks in edges.values():
        ticks = np.concatenate(blocks)
        k = ticks // (CLOCK_HZ // RATE_HZ)
        counts.append(int(ticks.size))
        wrong += int((np.diff(k) != 1).sum() + (ticks - 500 * k != 37 * k % 100).sum())
    numbers = np.concatenate(frames).astype(np.int64)
    readings = np.concatenate(speeds)
    wrong += int((np.diff(numbers) != 1).sum() + (np.diff(readings) % 500 != 1).sum())
    return {
        "edges": counts,
        "frames": int(numbers.size),
        "speeds": int(readings.size),
        "lost": lost,
        "wrong": wrong,
    }


def main() -> int:
    for_s = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    stop = threading.Event()
    counters = [Counter(stop, number) for number in range(COUNTERS)]
    receiver, bus = Receiver(stop), Bus(stop)
    addresses = [f"counter:{device.port}" for device in counters]
    addresses += [f"gnss:{receiver.port}?baud=9600", f"can:slcan:{bus.port}"]
    devices = [*counters, receiver, bus]
    with tempfile.TemporaryDirectory() as folder:
        store = str(Path(folder) / "bench.db")
        words = ["record", *addresses, "--for", f"{for_s:.0f}s", "--store", store, "--json"]
        for device in devices:
            device.start()
        process = subprocess.Popen(
            [sys.executable, "-m", "workbench.cli", *words],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            text=True,
        )
        figures = watch(process, for_s)
        out, _ = process.communicate(timeout=120)
        stop.set()
        answer = json.loads(out)
        found = compare(store, answer["recording"])
        size_mb = sum(path.stat().st_size for path in Path(folder).iterdir()) / 1e6
    print(json.dumps({"status": process.returncode, **figures, "store_mb": size_mb, **found}))
    good = process.returncode == 0 and not found["wrong"] and not found["lost"]
    complete = all(count > 0.9 * RATE_HZ * for_s for count in found["edges"])
    return (
        0 if good and complete and figures["core_share"] < 0.5 and figures["grown"] < GROWTH else 1
    )


if __name__ == "__main__":
    sys.exit(main())
