"""A short form of the study of coverage in tests/benchmarks: the same shop, fewer afternoons."""

from __future__ import annotations

import runpy
from pathlib import Path

STUDY = Path(__file__).parents[3] / "benchmarks" / "bench_coverage_calibrate.py"
SOME = (
    "five runs",
    "five runs, wander 1 %",
    "five, 0.01 mph, wander 2 %",
    "three runs, wander 0.5 %",
    "gated 20 s, 0.01 mph",
    "the same, 0.01 mph",
    "tilt 1 %",
    "two runs, one residue",
    "cuts off, said",
    "cuts off, unsaid",
    "rounds, unsaid",
)


def test_the_stated_interval_holds_the_readouts_true_error():
    """No published source: 95 % coverage is what U with its k promises (GUM 6.2.2)."""
    study = runpy.run_path(str(STUDY), run_name="study")
    cases = {**study["EASY"], **study["HARD"]}
    assert study["judge_all"](60, {name: cases[name] for name in SOME}) == []
