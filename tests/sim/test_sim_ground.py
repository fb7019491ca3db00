"""The pass and the ground sensors: what they say against what is true."""

import numpy as np
import pyproj
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim import ground, spec
from sim.motion import STEP_S
from sim.run import simulate
from sim.scenarios import parse
from sim.spec import Move


def test_a_pass_stands_approaches_runs_and_turns():
    field = spec.Ground(stand_s=3, approach_s=8, run_s=100, headland_s=24, headland_speed=0.5)
    at = np.array([0.0, 2.9, 7.0, 11.0, 60.0, 110.9, 123.0, 136.0, 200.0])
    share, crop, into = ground.pass_phase(at, field)
    assert share == pytest.approx([0, 0, 0.5, 1, 1, 1, 0.5, 1, 1])
    assert crop == pytest.approx([0, 0, 0, 1, 1, 1, 0, 1, 1])
    assert into[[3, 4]] == pytest.approx([0, 49])
    assert np.isnan(into[[0, 2, 6]]).all()
    assert ground.lane(at, field)[[4, 6, 7]] == pytest.approx([0, 0.5, 1])


@given(
    moves=st.lists(
        st.tuples(st.floats(0.1, 50), st.floats(0, 2), st.floats(0.1, 20)), min_size=1, max_size=5
    )
)
def test_moves_hold_before_between_and_after(moves):
    made, end_s = [], 0.0
    for pause_s, to, over_s in moves:
        made.append(Move(end_s + pause_s, to, over_s))
        end_s = made[-1].at_s + over_s
    before = 1.0
    for move in made:
        assert ground.moved(np.array([move.at_s]), made)[0] == pytest.approx(before)
        after = ground.moved(np.array([move.at_s + move.over_s]), made)[0]
        assert after == pytest.approx(move.to)
        half = ground.moved(np.array([move.at_s + move.over_s / 2]), made)[0]
        assert half == pytest.approx((before + move.to) / 2, abs=1e-9)
        before = move.to
    assert ground.moved(np.array([end_s + 1000]), made)[0] == pytest.approx(before)


def test_truth_is_its_own_integral(run):
    truth = run("roll-drive", 1, 60.0).truth
    at = np.arange(0, 60, STEP_S)
    speeds = np.diff(truth.ground_m(at)) / STEP_S
    assert speeds.sum() * STEP_S == pytest.approx(truth.ground_m(at[-1]), rel=1e-9)
    assert (np.diff(truth.belt_m(at)) > 0).all()
    halves = [truth.belt_speed_mps(0, 30), truth.belt_speed_mps(30, 60)]
    assert np.mean(halves) == pytest.approx(truth.belt_speed_mps(0, 60), rel=1e-9)


def test_receiver_lags_by_its_latency():
    text = "[sensors]\ngnss_latency_s = 0.7\ngnss_noise_mps = 0\ngnss_white_mps = 0\n"
    result = simulate(parse(text, "mine", "mine"), 1, 60.0)
    gnss = result.recording.speeds["gnss"]

    def misfit(lag_s):
        at = gnss.time_s - lag_s
        later, earlier = (result.truth.ground_m(np.maximum(at + half, 0)) for half in (0.01, -0.01))
        return np.abs(gnss.speed_mps - (later - earlier) / 0.02)[20:].mean()

    lags = np.arange(0.0, 1.5, 0.05)
    assert lags[np.argmin([misfit(lag) for lag in lags])] == pytest.approx(0.7, abs=0.03)
    assert misfit(0.7) < 0.003  # the grid's step and the message's resolution


def test_receiver_s_noise_is_within_what_it_states(run):
    result = run("healthy", 2, 240.0)
    gnss = result.recording.speeds["gnss"]
    steady = (gnss.time_s > 20) & (gnss.time_s < 230)
    at = gnss.time_s[steady] - 0.4
    true = (result.truth.ground_m(at + 0.05) - result.truth.ground_m(at - 0.05)) / 0.1
    error = gnss.speed_mps[steady] - true
    assert 0.02 < error.std() < np.sqrt(np.mean(gnss.u_mps[steady] ** 2))
    assert abs(error.mean()) < 0.01
    # Correlated: a mean of ten readings is worse than a tenth root would have it.
    tens = error[: error.size // 10 * 10].reshape(-1, 10).mean(axis=1)
    assert tens.std() > 1.5 * error.std() / np.sqrt(10)


def test_radar_and_wheel_say_what_they_should(run):
    result = run("healthy", 2, 240.0)
    truth, speeds = result.truth, result.recording.speeds
    true = truth.ground_speed_mps(20, 105)
    for name, factor in (("radar", 1.01), ("wheel", (1 - 0.08) / (1 - truth.wheel_slip(20, 105)))):
        track = speeds[name]
        mean = track.speed_mps[(track.time_s > 20) & (track.time_s < 105)].mean()
        assert mean / true == pytest.approx(factor, abs=0.003)
        assert np.allclose(np.round(track.speed_mps, 3), track.speed_mps)
        assert track.u_mps[0] == pytest.approx(0.001 / np.sqrt(12))


def test_positions_lie_along_the_way(run):
    """The track's length on the ellipsoid (pyproj) against the true distance."""
    text = "[sensors]\nposition_noise_m = 0\n[ground]\nrun_s = 120\n"
    result = simulate(parse(text, "mine", "mine"), 1, 240.0)
    track = [result.recording.values["gnss", name] for name in ("longitude_deg", "latitude_deg")]
    length_m = pyproj.Geod(ellps="WGS84").line_length(*(part.value for part in track))
    assert length_m == pytest.approx(result.truth.ground_m(240.0), rel=0.02)
    # It comes back along the next row, some metres beside the first.
    away = pyproj.Geod(ellps="WGS84").inv(-84.0, 31.5, track[0].value[-1], track[1].value[-1])[2]
    assert away < 0.6 * length_m


def test_belt_and_ground_go_their_own_ways_in_one_gear():
    """In one gear an engine that droops takes the ground along, and a divider the belt too."""
    text = (
        '[hydraulics]\nvalve = "divider"\ndroop_rel = 0.3\n[ground]\nsoft_at_s = 18\nsoft_s = 30\n'
    )
    text += "soft_load = 0.4\nsoft_slip = 0\n"
    truth = simulate(parse(text, "mine", "mine"), 1, 120.0).truth
    heavy, light = truth.ratio(32, 56), truth.ratio(70, 115)
    assert heavy == pytest.approx(light, rel=0.03)
    assert truth.ground_speed_mps(32, 56) < 0.93 * truth.ground_speed_mps(70, 115)


def test_the_pump_s_flow_is_the_limit():
    """A pump too small for the flow asked for: the belt runs as fast as the pump gives."""
    text = "[hydraulics]\npump_m3 = 1e-5\nmotor_leak = 0\nengine_load_noise = 0\n"
    truth = simulate(parse(text, "mine", "mine"), 1, 60.0).truth
    flow = 31.7 * 1e-5 * 0.92  # engine speed, turn's volume, efficiency
    expected = flow / 160e-6 * truth.built.turn_m
    assert truth.belt_speed_mps(20, 60) == pytest.approx(expected, rel=0.01)
