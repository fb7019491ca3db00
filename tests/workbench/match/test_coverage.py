"""The interval of a mean holds the truth where noise has a memory; short form of the study."""

from __future__ import annotations

import math

import numpy as np
import pytest

from workbench.match.changes import change_points, cusum_of_changes
from workbench.match.mean import autocorrelated_mean


def hanging(seed: int, count: int, step_s: float, memory_s: float):
    """Unit noise whose autocorrelation falls as exp(−t ÷ memory_s), white for 0."""
    noise = np.random.default_rng(seed).normal(0, 1, count)
    kept = math.exp(-step_s / memory_s) if memory_s else 0.0
    for at in range(1, count):
        noise[at] = kept * noise[at - 1] + math.sqrt(1 - kept**2) * noise[at]
    return noise


@pytest.mark.parametrize(("for_s", "memory_s"), [(25, 1), (25, 2), (25, 3), (60, 3), (60, 0)])
def test_the_interval_of_a_mean_holds(for_s: int, memory_s: float) -> None:
    """93 to 98 % wanted; 300 rows tell to 1.3 %."""
    means = [autocorrelated_mean(hanging(s, for_s * 10, 0.1, memory_s), 0.1) for s in range(300)]
    held = np.mean([abs(mean.value) <= mean.U for mean in means])
    assert 0.93 - 0.026 <= held <= 0.995


def test_white_noise_is_not_paid_for_with_a_memory_it_has_not() -> None:
    means = [autocorrelated_mean(hanging(seed, 600, 0.1, 0), 0.1).U for seed in range(100)]
    assert np.median(means) <= 1.1 * 2 / math.sqrt(600)


@pytest.mark.parametrize("memory_s", [0, 1, 3])
def test_a_sound_minute_is_seldom_told_of_a_change(memory_s: float) -> None:
    rows = [
        1 + 0.04 * hanging(seed, 600, 0.1, memory_s).reshape(60, 10).mean(axis=1)
        for seed in range(100)
    ]
    assert sum(bool(change_points(row)) for row in rows) <= 6
    assert sum(bool(cusum_of_changes(row).alarms) for row in rows) <= 6
