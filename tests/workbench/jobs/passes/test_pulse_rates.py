"""Boards that tell a pulse rate or a count only: still a belt speed, and a pass."""

from dataclasses import replace

import numpy as np
import pytest

from drivers.contract import Recording, SpeedTrack, ValueTrack
from workbench.base.machine import parse_machine
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.passes.answer import PassOptions
from workbench.jobs.passes.compute import compute
from workbench.jobs.passes.pulse_rates import u_scale_rel, with_pulse_rates

# One turn of a sprocket of 12 teeth moves 12 pitches: 12 × 0.0508 m over 24 pulses.
MACHINE = parse_machine(
    'name = "test"\n[drive]\ntarget_teeth = 24\nkind = "sprocket"\nsprocket_teeth = 12\n'
    "rod_pitch_m = 0.0508\nu_rod_pitch_m = 0.0001\n"
)
M_PER_PULSE = 12 * 0.0508 / 24
TIME_S = np.arange(0.0, 120.0, 0.2)


def recording(**values):
    tracks = [ValueTrack(name, quantity, TIME_S, v) for name, (quantity, v) in values.items()]
    n = TIME_S.size
    ground = SpeedTrack("rmc", "ground", TIME_S, np.full(n, 1.2), np.full(n, 0.01))
    return Recording(
        "test",
        "made up",
        values={(track.source, track.quantity): track for track in tracks},
        speeds={"rmc": ground},
    )


def wandering_hz(mean_hz):
    return np.round(mean_hz * (1 + 0.01 * np.sin(TIME_S / 3)), 1)


def test_rate_and_count_become_the_speed_that_the_drive_line_gives():
    rate_hz = wandering_hz(48.0)
    count = np.floor(40.0 * TIME_S)
    speeds = with_pulse_rates(
        recording(belt=("pulse_rate_hz", rate_hz), n=("pulse_count", count)), MACHINE
    ).speeds
    np.testing.assert_allclose(speeds["belt"].speed_mps, rate_hz * M_PER_PULSE)
    np.testing.assert_allclose(speeds["belt"].u_mps, 0.1 * M_PER_PULSE / np.sqrt(12), rtol=1e-6)
    assert np.mean(speeds["n"].speed_mps) == pytest.approx(40.0 * M_PER_PULSE, rel=1e-3)
    assert speeds["n"].time_s[0] == pytest.approx(0.1)


def test_count_that_went_back_is_no_value():
    count = np.arange(TIME_S.size, dtype=float)
    count[300:] -= 250
    speed = with_pulse_rates(recording(n=("pulse_count", count)), MACHINE).speeds["n"].speed_mps
    assert np.flatnonzero(np.isnan(speed)).tolist() == [299]


@pytest.mark.parametrize("name", ["belt", "left"])
def test_pass_by_a_rate(name):
    rate_hz = wandering_hz(1.2 / M_PER_PULSE)
    given = recording(radar=("pulse_rate_hz", 2 * rate_hz), **{name: ("pulse_rate_hz", rate_hz)})
    answer = compute(given, MACHINE, PassOptions())
    assert "radar" not in answer.sources, "the drive line's metres a pulse are the belt's"
    assert (answer.belt, answer.ground) == (name, "rmc")
    assert answer.ratio == pytest.approx(1.0, abs=0.003)
    assert answer.verdict is Verdict.PASS
    # The metres a pulse are shared by all values: 0.0001 in 0.0508 m.
    assert answer.u_ratio >= 0.0001 / 0.0508


def test_without_a_machine_or_with_a_taken_name_nothing_changes():
    given = recording(rmc=("pulse_rate_hz", wandering_hz(48.0)))
    assert with_pulse_rates(given, None) is given
    assert with_pulse_rates(given, MACHINE).speeds["rmc"] is given.speeds["rmc"]
    bare = replace(given, values={})
    assert u_scale_rel(given.speeds["rmc"], bare, MACHINE) == 0.0


def test_a_board_that_tells_a_rate_counts_by_a_clock_that_the_machine_file_tells():
    """Of a count the computer's clock is behind the times; a rate was timed by the board."""
    of_both = recording(rate=("pulse_rate_hz", wandering_hz(47.0)), n=("pulse_count", TIME_S))
    told = replace(MACHINE, pickup=replace(MACHINE.pickup, clock_ppm=3000.0))
    speeds = with_pulse_rates(of_both, MACHINE).speeds
    pitch_rel = 0.0001 / 0.0508
    assert u_scale_rel(speeds["n"], of_both, told) == pytest.approx(pitch_rel)
    of_rate = u_scale_rel(speeds["rate"], of_both, told)
    assert of_rate == pytest.approx(np.hypot(pitch_rel, 0.003 / np.sqrt(3)))
    assert u_scale_rel(speeds["rate"], of_both, MACHINE) > of_rate


def test_a_rate_that_never_changes_does_not_pass_for_exact():
    answer = compute(
        recording(belt=("pulse_rate_hz", np.full(TIME_S.size, 47.0))),
        MACHINE,
        PassOptions(),
    )
    assert answer.u_ratio >= 0.0001 / 0.0508
