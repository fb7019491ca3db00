"""Commands in a child with limits of time and memory, one fork a case."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

CHILD = Path(__file__).parent / "child.py"
IN_WORDS = ("Traceback", "Warning", "unexpected", "MemoryError")
"""What no person should ever read."""


@dataclass(frozen=True)
class Ended:
    """How calls ended: the exit status of each (below 0 the signal that ended it), and what all
    of them said."""

    statuses: list[int]
    out: str
    err: str

    def check(self) -> None:
        """Fail unless each ended by itself, in time and memory, with a sentence at most."""
        assert not [status for status in self.statuses if status not in (0, 1, 2, 3)], self
        assert not [word for word in IN_WORDS if word in self.err], self.err[-3000:]
        for line in self.out.splitlines():
            if line.startswith("{"):
                json.loads(line, parse_constant=not_json)


def not_json(word: str) -> None:
    raise AssertionError(f"{word} is not JSON (RFC 8259)")


Limited = Callable[[list[list[str]], Path], Ended]


@pytest.fixture(scope="session")
def limited(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Limited]:
    """Runs calls one after the other in a folder, in 1 GB and 20 s."""
    if sys.platform != "linux":
        pytest.skip("limits of memory: not on Linux")
    home = str(tmp_path_factory.mktemp("home"))
    own = ("HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME")
    child = subprocess.Popen(
        [sys.executable, "-W", "always", str(CHILD)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, **dict.fromkeys(own, home), "OPENBLAS_NUM_THREADS": "1"},
    )
    assert child.stdin
    assert child.stdout

    def run(calls: list[list[str]], folder: Path) -> Ended:
        print(json.dumps({"calls": calls, "folder": str(folder)}), file=child.stdin, flush=True)
        statuses = json.loads(child.stdout.readline())
        said = [(folder / name).read_text("utf-8", "replace") for name in ("out", "err")]
        return Ended(statuses, *said)

    with child:
        assert child.stdout.readline() == "ready\n"
        yield run
