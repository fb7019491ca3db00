"""A drop-out run driven to the letter on the simulator, stopped early, and closed in jerks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.run import simulate
from workbench.base.machine import parse_machine
from workbench.calibration.gap.faults import FaultKind
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.gap.answer import GapOptions
from workbench.jobs.gap.compute import compute


@pytest.fixture(scope="module", params=[1, 3])
def run(request):
    made = simulate("drop-out-run", request.param, 200.0)
    return made.recording, parse_machine(made.machine_text)


def until(recording, to_s):
    track = recording.edges["left"]
    kept = track.time_s <= to_s
    cut = replace(
        track,
        time_s=track.time_s[kept],
        fall_s=None if track.fall_s is None else track.fall_s[kept],
        amplitude_v=None if track.amplitude_v is None else track.amplitude_v[kept],
    )
    return replace(recording, edges={**recording.edges, "left": cut})


def judged(recording, machine, *, drop_out=True):
    options = GapOptions(channel="left", drop_out=drop_out)
    return compute(recording, machine, options).pickups[0]


def test_slowed_and_raised_again_tells_the_drop_out_speed(run):
    recording, machine = run
    whole, down = judged(recording, machine), judged(until(recording, 150.0), machine)
    assert whole.drop_out.missed >= 3
    assert whole.drop_out.speed_mps == pytest.approx(down.drop_out.speed_mps)
    assert whole.verdict is down.verdict is Verdict.PASS


@pytest.mark.parametrize("to_s", [60.0, 90.0, 110.0])
def test_stopped_early_it_names_no_fault_that_is_not_there(run, to_s):
    recording, machine = run
    answer = judged(until(recording, to_s), machine)
    assert answer.faults == ()
    assert answer.verdict is Verdict.PASS


def test_a_flow_control_closed_in_jerks_is_no_bearing_play(run):
    """On a steady run such jerks are told as play; a run that is slowed is not judged by it."""
    recording, machine = run
    at_s = np.arange(0.0, 60.0, 0.001)
    speed = 1.0 - 0.6 * at_s / 60.0 + 0.03 * (np.sin(19.0 * at_s) > 0.95)
    turned = np.cumsum(speed) * 0.001 * 90.0
    noise = np.random.default_rng(1).normal(0.0, 2e-5, int(turned[-1]) - 1)
    edge_s = np.interp(np.arange(1, int(turned[-1])), turned, at_s) + noise
    track = replace(recording.edges["left"], time_s=edge_s, fall_s=None, amplitude_v=None)
    jerked = replace(recording, edges={"left": track})
    steady = judged(jerked, machine, drop_out=False)
    assert FaultKind.PLAY in [fault.kind for fault in steady.faults]
    slowed = judged(jerked, machine)
    assert slowed.faults == ()
    assert not slowed.verdict.is_fail
