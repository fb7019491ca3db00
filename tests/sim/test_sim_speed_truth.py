"""Truth against `evenpace speed`: the stated interval holds, or a warning says why not.

A few seeds here; `tests/benchmarks/bench_sim.py` runs 300 a scenario.
"""

import numpy as np
import pytest

from sim.motion import build
from sim.run import simulate
from sim.scenarios import SCENARIOS
from workbench.base.machine import parse_machine
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.jobs.speed.answer import SpeedOptions, SpeedSays
from workbench.jobs.speed.compute import compute

RIGHT = [name for name, scenario in SCENARIOS.items() if scenario.speed_is == "right"]
WARNED = [name for name, scenario in SCENARIOS.items() if scenario.speed_is == "warned"]


def computed(name, seed, for_s=60.0):
    """(answer of `speed`, true belt speed over the same pulses, truth)."""
    scenario = SCENARIOS[name]
    run = simulate(scenario, seed, for_s)
    machine = parse_machine(scenario.machine_text)
    answer = compute(run.recording, machine, SpeedOptions("left"))
    edges_s = run.recording.edges["left"].time_s
    true_mps = run.truth.belt_speed_mps(*run.truth.true_s(edges_s[[0, -1]]))
    return answer, true_mps, run.truth


def test_the_interval_holds_the_truth():
    """Whole, and with the metres a pulse known, so that the pulses themselves are tested."""
    whole, pulses = [], []
    for number, name in enumerate(RIGHT):
        for seed in range(10 * number, 10 * number + 4):  # no two scenarios the same machine
            answer, true_mps, truth = computed(name, seed)
            stated = answer.belt_speed_mps
            whole.append((stated - true_mps) / answer.U_belt_speed_mps)
            known = stated * truth.built.metres_per_pulse / answer.metres_per_pulse
            parts = answer.u_parts_rel
            u_rel = np.hypot(parts["period"], parts["clock"])
            u_rel = np.hypot(u_rel, truth.belt_slip(0, 60))  # the creep of a roll is in its u
            pulses.append((known - true_mps) / true_mps / u_rel)
    # Of 72 at 95.45 % more than eight are outside in 0.5 % of such samples (binomial).
    assert len(whole) == 72
    assert np.count_nonzero(np.abs(whole) > 1) <= 8
    assert np.abs(pulses).max() < 3.5
    assert 0.5 < np.sqrt(np.mean(np.square(pulses))) < 1.3


@pytest.mark.parametrize("name", ["healthy", "roll-drive"])
def test_machines_differ_from_their_file_by_as_much_as_it_says(name):
    scenario = SCENARIOS[name]
    stated = metres_per_pulse(parse_machine(scenario.machine_text))
    z = np.array(
        [
            (build(scenario.draw(seed).drive, seed).metres_per_pulse - stated.value_m) / stated.u_m
            for seed in range(300)
        ]
    )
    assert np.mean(np.abs(z) <= 2) >= 0.93
    assert z.std() == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize("name", WARNED)
def test_where_it_does_not_hold_a_warning_says_so(name):
    for seed in (1, 2):
        answer, true_mps, _ = computed(name, seed, 120.0 if name == "drop-out-run" else 60.0)
        off = abs(answer.belt_speed_mps - true_mps) > answer.U_belt_speed_mps
        assert answer.warnings, (name, seed)
        if name == "wrong-tooth-count":
            assert off
            assert any(
                said.what == SpeedSays.OTHER_TEETH and {30, 32} <= set(said.values.values())
                for said in answer.warnings
            )


@pytest.mark.parametrize("name", ["mud-on-roll", "slipping-belt"])
def test_only_the_laps_tell_what_happens_behind_the_drive_shaft(name):
    scenario = SCENARIOS[name]
    run = simulate(scenario, 1, 120.0)
    machine = parse_machine(scenario.machine_text)
    answer = compute(run.recording, machine, SpeedOptions("left"))
    lap_s = run.recording.edges["lap"].time_s
    by_laps = machine.belt.lap_length_m * (lap_s.size - 1) / np.ptp(lap_s)
    true_mps = run.truth.belt_speed_mps(*run.truth.true_s(lap_s[[0, -1]]))
    assert by_laps == pytest.approx(true_mps, rel=0.002)
    assert abs(answer.belt_speed_mps - true_mps) > 2 * answer.U_belt_speed_mps
