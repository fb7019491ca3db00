"""A short form of the study of coverage in tests/benchmarks: the same worlds, fewer trials."""

from __future__ import annotations

import runpy
from pathlib import Path

STUDY = Path(__file__).parents[3] / "benchmarks" / "bench_coverage_speed.py"


def test_the_stated_interval_holds_the_true_rate() -> None:
    """No published source: 95 % coverage is what U with its k promises (GUM 6.2.2)."""
    assert runpy.run_path(str(STUDY), run_name="study")["judge_all"](60) == []
