"""Two recordings on one PostgreSQL store whose server restarts, crashes and freezes.

    python tests/benchmarks/soak_server.py [MINUTES [SEED]]

Both are `evenpace record`, each a process of its own; every few seconds the server is gone for
up to three. At the end both must have ended well, what each says it has taken must be what is
stored, and nothing may be marked lost. One JSON object; exit status 1 where that does not hold.
"""

from __future__ import annotations

import json
import random
import runpy
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from workbench.records.store import open_store

ROOT = Path(__file__).resolve().parents[2]
private_server = runpy.run_path(str(ROOT / "tests" / "workbench" / "conftest.py"))["private_server"]
UP_S, DOWN_S = (1.0, 4.0), (0.0, 3.0)


def disturb(server, for_s, chance):
    """The server goes and comes until the time is over; how often each way."""
    counts = {"fast": 0, "immediate": 0, "frozen": 0}
    end_s = time.monotonic() + for_s
    while time.monotonic() < end_s:
        time.sleep(chance.uniform(*UP_S))
        how = chance.choice(list(counts))
        counts[how] += 1
        if how == "frozen":
            with server.frozen():
                time.sleep(2 * chance.uniform(*DOWN_S))
        else:
            server.stop(how)
            time.sleep(chance.uniform(*DOWN_S))
            server.start()
    return counts


def main() -> int:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 2.0
    chance = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    with private_server() as server, tempfile.TemporaryFile("w+") as told:
        open_store(server.address).close()
        words = ["--for", f"{60 * minutes:.0f}s", "--store", server.address, "--json"]
        command = [sys.executable, "-m", "workbench.cli", "record"]
        programs = [
            subprocess.Popen(
                [*command, f"sim:healthy?seed={seed}", *words],
                cwd=ROOT,
                stdout=subprocess.PIPE,
                stderr=told,
                text=True,
            )
            for seed in (1, 2)
        ]
        with open_store(server.address) as store:
            while len(store.recordings()) < len(programs):
                time.sleep(0.1)
        counts = disturb(server, 60 * minutes - 10, chance)
        answers = [program.communicate(timeout=120)[0] for program in programs]
        told.seek(0)
        said = told.read().splitlines()
        found = {"away": counts, "statuses": [one.returncode for one in programs]}
        with open_store(server.address) as store:
            stored = {
                one.number: sum(
                    track.time_s.size for track in store.load_recording(one.number).edges.values()
                )
                for one in store.recordings()
            }
            found["problems"] = [str(one) for one in store.check().problems]
            found["states"] = [one.state for one in store.recordings()]
            found["holes"] = sum(len(store.load_recording(one).lost) for one in stored)
    taken = {}
    for answer in filter(None, answers):
        plain = json.loads(answer)
        taken[plain.get("recording")] = sum(one["edges"] for one in plain.get("inputs", ()))
    found |= {"taken": taken, "stored": stored, "said": sorted({line[:200] for line in said})}
    print(json.dumps(found))
    well = found["statuses"] == [0, 0] and not found["problems"] and not found["holes"]
    return 0 if well and taken == stored else 1


if __name__ == "__main__":
    sys.exit(main())
