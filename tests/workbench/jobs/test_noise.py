"""Pulses that no tooth made keep speed, pass and calibration from an answer.

The share of cycles and teeth is that of the worst cases; tests/benchmarks/bench_hum.py has more.
"""

import numpy as np
import pytest

from drivers.contract import ChannelKind, EdgeTrack, Recording, SpeedTrack, ValueTrack
from workbench.base.errors import WrongInput
from workbench.base.machine import parse_machine
from workbench.base.units import METRIC
from workbench.calibration.gap.faults import FaultSays
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.calibrate import compute as calibrate
from workbench.jobs.calibrate.answer import CalibrateOptions
from workbench.jobs.passes.answer import PassOptions
from workbench.jobs.passes.compute import compute as judge_pass
from workbench.jobs.speed.answer import SpeedOptions, SpeedSays
from workbench.jobs.speed.compute import compute as tell_speed
from workbench.words.words import Words

MACHINE = parse_machine(
    'name = "test"\n[belt]\nlap_length_m = 9.84\n[drive]\ntarget_teeth = 24\nkind = "sprocket"\n'
    'sprocket_teeth = 10\nrod_pitch_m = 0.0381\n[readout]\nunit = "mph"\nstep = 0.1\n'
)
RATE_HZ, FOR_S = 1.15 / (10 * 0.0381 / 24), 30.0


def recording(*false_s):
    rng = np.random.default_rng(8)
    tooth_s = np.arange(int(RATE_HZ * FOR_S)) / RATE_HZ
    tooth_s = tooth_s + rng.normal(0, 1e-4, tooth_s.size)
    time_s = np.arange(0.0, FOR_S, 0.2)
    ground_mps = 1.17 + rng.normal(0, 0.02, time_s.size)
    shown = ValueTrack("readout", "readout_shown", time_s, np.full(time_s.size, 2.6))
    return Recording(
        "test",
        "made up",
        edges={
            "belt": EdgeTrack(
                "belt", np.sort(np.concatenate((tooth_s, *false_s))), kind=ChannelKind.BELT
            )
        },
        speeds={
            "rmc": SpeedTrack(
                "rmc", "", time_s, ground_mps, np.full(time_s.size, 0.02),
                kind=ChannelKind.SATELLITE,
            )
        },
        values={("readout", "readout_shown"): shown},
    )  # fmt: skip


def hum(hz, share):
    rng = np.random.default_rng(9)
    cycle_s = np.arange(0.003, FOR_S, 1 / hz)
    return cycle_s[rng.random(cycle_s.size) < share]


def behind(part):
    return np.arange(int(RATE_HZ * FOR_S) - 1) / RATE_HZ + part / RATE_HZ


@pytest.mark.parametrize(
    ("false_s", "fault"),
    [
        (hum(60.0, 1.0), FaultSays.NOISE_APART),
        (hum(60.0, 0.5), FaultSays.NOISE_APART),
        (hum(50.0, 1.0), FaultSays.NOISE_APART),
        (behind(0.08), FaultSays.TRIGGERS_TWICE),
        (behind(0.3), FaultSays.TRIGGERS_TWICE),
    ],
    ids=["60 Hz", "60 Hz in half its cycles", "50 Hz", "bounce", "second edges"],
)
def test_no_job_answers_from_noise(false_s, fault):
    noisy = recording(false_s)
    speed = tell_speed(noisy, MACHINE, SpeedOptions())
    assert np.isnan(speed.belt_speed_mps)
    (told,) = (one for one in speed.warnings if one.what == SpeedSays.NO_SPEED)
    assert told.values["reason"].what == fault
    ran = judge_pass(noisy, MACHINE, PassOptions())
    assert ran.verdict is Verdict.CANNOT_TELL
    assert ran.reason.what == fault
    with pytest.raises(WrongInput) as refused:
        calibrate.compute(noisy, MACHINE, CalibrateOptions())
    assert "Look at the" in Words(METRIC).say(refused.value.statement)


@pytest.mark.parametrize("false_s", [(), (hum(60.0, 0.01),), (behind(0.08)[::10],)])
def test_all_answer_where_little_is_false(false_s):
    sound = recording(*false_s)
    assert tell_speed(sound, MACHINE, SpeedOptions()).belt_speed_mps == pytest.approx(
        1.15, rel=1e-3
    )
    assert judge_pass(sound, MACHINE, PassOptions()).verdict is Verdict.PASS
    assert np.isfinite(calibrate.compute(sound, MACHINE, CalibrateOptions()).error_at_work)
