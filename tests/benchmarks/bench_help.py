"""`evenpace --help` against bare Python, paired in one run."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys

PAIRS = 7
ALLOWED_S = 0.25


def cpu_s(*arguments: str) -> float:
    """What a call of Python costs in processor time, whatever else the machine is doing."""
    before = os.times()
    subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL)
    after = os.times()
    return sum(after[2:4]) - sum(before[2:4])


def test_help_over_bare_python(figures):
    pairs = [(cpu_s("-c", "pass"), cpu_s("-m", "workbench.cli", "--help")) for _ in range(PAIRS)]
    bare, called = (statistics.median(times) for times in zip(*pairs, strict=True))
    print(
        f"\nbare Python {bare:.3f} s, evenpace --help {called:.3f} s: {called / bare:.1f} times, "
        f"{called - bare:.3f} s more (at most {ALLOWED_S} s)"
    )
    figures.at_most("evenpace --help", called - bare, ALLOWED_S, "s", "more than bare Python")
