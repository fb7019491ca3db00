"""A stored result verifies on another processor than the one that made it."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest

from tests.workbench.invented import DIGGER
from workbench.records.store import open_store

RUNS = """run,shown,laps,laps_time_s,pulses,pulses_time_s
1,2.4,10,95.4,6198,95.4
2,2.7,10,83.9,6201,83.9
3,2.9,10,80.2,6199,80.2
4,2.2,10,103.1,6200,103.1
"""


@pytest.mark.skipif(sys.platform != "linux", reason="kernels chosen by name: not on Linux")
def test_a_result_made_by_another_processors_arithmetic_verifies(tmp_path):
    (tmp_path / "digger.toml").write_text(DIGGER)
    (tmp_path / "runs.csv").write_text(RUNS)

    def evenpace(kernel, *words):
        """One command with the linear algebra that a processor of that kind would use."""
        done = subprocess.run(
            [sys.executable, "-m", "workbench.cli", *words, "--store", "store.db", "--json"],
            cwd=tmp_path,
            env={
                **os.environ,
                "OPENBLAS_CORETYPE": kernel,
                "PYTHONPATH": os.pathsep.join(sys.path),
            },
            capture_output=True,
            text=True,
        )
        assert done.returncode in (0, 1), done.stderr
        return json.loads(done.stdout)

    open_store(str(tmp_path / "store.db")).close()
    for kernel in ("Haswell", "Nehalem"):
        evenpace(kernel, "calibrate", "runs.csv", "--machine", "digger.toml")
    for number in ("1", "2"):
        for kernel in ("Haswell", "Nehalem"):
            assert evenpace(kernel, "verify", number)["differences"] == []
