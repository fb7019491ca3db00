"""Kill -9 at random moments of recording, and look at what is left.

    python tests/benchmarks/soak_kill.py 100 [SEED]

Each round a process records what a known device says, in real time, and is killed. Then
the store is opened and compared with what the device said. One JSON object a round, and a
summary at the end; exit status 1 where more than the last second was gone or a bit differed.
"""

from __future__ import annotations

import json
import os
import random
import signal
import struct
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from drivers.contract import BaseDriver, EdgeBlock, SpeedBlock
from workbench.live.session import Session
from workbench.records.notes import merged_notes
from workbench.records.recorder import Recorder
from workbench.records.store import open_store

BLOCK_S = 0.02
EDGES = 40
"""2 kHz in blocks of 20 ms."""
_SAID = struct.Struct("<qd")


def said(sequence: int) -> np.ndarray:
    """The ticks of block `sequence`, the same in every process."""
    return sequence * 20_000 + np.cumsum(np.random.default_rng(sequence).integers(450, 550, EDGES))


class KnownDevice(BaseDriver):
    """Says known blocks in real time and writes down when it has said each."""

    def __init__(self, diary: int) -> None:
        super().__init__("known:device", time.monotonic)
        self._diary, self._sequence = diary, 0

    def _open(self) -> None:
        self._start_s = self.clock()

    def _read_some(self, timeout_s: float) -> list[EdgeBlock | SpeedBlock]:
        due_s = self._start_s + (self._sequence + 1) * BLOCK_S
        wait_s = due_s - self.clock()
        if wait_s > 0:
            time.sleep(min(wait_s, timeout_s))
        if self.clock() < due_s:
            return []
        k, host_s = self._sequence, self.clock()
        self._sequence += 1
        os.write(self._diary, _SAID.pack(k, host_s))
        one = np.array([host_s])
        return [
            EdgeBlock("left", k, said(k), 1e-6, host_s, (k + 1) * EDGES),
            SpeedBlock("rmc", np.array([k * 1e-3]), one, one, None),
        ]

    def _close(self) -> None:
        pass


def record(path: str, name: str, diary: int) -> None:
    """Record until killed."""
    device = KnownDevice(diary)
    with open_store(path) as store:
        writer = store.begin_recording(name, started_host_s=device.clock())
        recorder = Recorder(writer, lambda: merged_notes([device]))
        session = Session([device])
        recorder.start()
        session.start(recorder.put)
        session.wait(3600.0)


def look(path: str, name: str, diary: bytes, killed_s: float) -> dict[str, object]:
    """What the store holds of a killed recording against what the device had said by then."""
    times = dict(_SAID.iter_unpack(diary[: len(diary) // _SAID.size * _SAID.size]))
    with open_store(path) as store:
        numbers = [entry.number for entry in store.recordings() if entry.name == name]
        items = [item for number in numbers for _, item in store.items(number)]
        problems = store.check().problems
    edges = [item for item in items if isinstance(item, EdgeBlock)]
    speeds = [item for item in items if isinstance(item, SpeedBlock)]
    right = [
        block.sequence == k
        and block.ticks.tobytes() == said(k).tobytes()
        and block.host_s == times.get(k, block.host_s)
        for k, block in enumerate(edges)
    ]
    right += [float(block.speed_mps[0]) == k * 1e-3 for k, block in enumerate(speeds)]
    kept = min(len(edges), len(speeds))
    gone = [killed_s - host_s for k, host_s in times.items() if k >= kept]
    return {
        "said": len(times),
        "kept": kept,
        "gone_s": max(gone, default=0.0),
        "wrong": right.count(False),
        "problems": problems,
    }


def one_round(path: str, name: str, alive_s: float) -> dict[str, object]:
    """Record for `alive_s` from the first line of the program on, kill, and look."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        record(path, name, writing)
        os._exit(0)
    os.close(writing)
    time.sleep(alive_s)
    os.kill(child, signal.SIGKILL)
    killed_s = time.monotonic()
    os.waitpid(child, 0)
    with os.fdopen(reading, "rb") as pipe:
        return look(path, name, pipe.read(), killed_s)


def main() -> int:
    rounds, seed = int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 0
    moment = random.Random(seed)
    worst_s, bad = 0.0, 0
    with tempfile.TemporaryDirectory() as folder:
        for number in range(1, rounds + 1):
            # Now and then a new file, so that making it is met by the kill as well.
            path = str(Path(folder) / f"bench{number // 4}.db")
            found = one_round(path, f"round {number}", moment.uniform(0.0, 3.0))
            print(json.dumps({"round": number, **found}), flush=True)
            worst_s = max(worst_s, float(str(found["gone_s"])))
            bad += bool(found["wrong"] or found["problems"] or worst_s > 1.0)
    print(json.dumps({"rounds": rounds, "bad": bad, "most_gone_s": worst_s}))
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
