"""Wheels with a known fault, and sound ones, through the whole check from pulses alone."""

import contextlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from workbench.base.errors import WrongInput
from workbench.calibration.gap.dropout import find_drop_out
from workbench.calibration.gap.false_edges import Origin
from workbench.calibration.gap.faults import FaultKind, FaultSays
from workbench.calibration.gap.missed import find_missed
from workbench.calibration.gap.play import find_play
from workbench.calibration.gap.seen import count_teeth
from workbench.calibration.gap.stand_outs import Usual, find_stand_outs
from workbench.calibration.gap.wheel_faults import WheelSays, check_wheel
from workbench.calibration.pulses.edges import clean
from workbench.calibration.pulses.target_wheel import tooth_signature
from workbench.calibration.statistics.decision import Verdict

WHEELS = 20
"""Wheels a fault; 95 % found is 19 of them."""


def any_wheel(wheel, rng, **fault):
    """A sound wheel drawn from all that count as sound, with a fault put in."""
    drawn = {
        "teeth": int(rng.choice([12, 18, 24, 30])),
        "turns": int(rng.integers(30, 60)),
        "turn_hz": rng.uniform(1.5, 5),
        "spacing": rng.uniform(0.002, 0.01),
        "runout": rng.uniform(0, 0.007),
        "wander": rng.uniform(0.0005, 0.005),
        "jitter_s": rng.uniform(2e-6, 5e-5),
    }
    return wheel(**(drawn | fault))


def test_of_sound_wheels_fewer_than_1_in_200_is_said_to_have_a_fault(wheel) -> None:
    # 1 of 2000 in a longer run of wheels with up to 60 teeth.
    rng = np.random.default_rng(1000)
    wrong = 0
    for _ in range(600):
        sound = any_wheel(wheel, rng)
        wrong += bool(check_wheel(sound(rng), sound.teeth).answer.faults)
    assert wrong < 3


@pytest.mark.parametrize(
    ("kind", "tooth", "fault"),
    [
        (FaultKind.MISSING, 6, {"missing": (5,)}),
        (FaultKind.WORN, 6, {"weak": {5: 0.25}}),
        (FaultKind.BENT, 6, {"bent": {5: 0.08}}),
        (FaultKind.BENT, 6, {"bent": {5: -0.08}}),
        (FaultKind.BENT, 4, {"bent": {3: 0.08}, "teeth": 8}),
        (FaultKind.TWICE, None, {"bounce": 0.02, "bounce_s": 0.0003}),
        (FaultKind.TWICE, None, {"bounce": 0.3, "bounce_s": 0.0003}),
        (FaultKind.TWICE, None, {"bounce": 0.2, "second_at": 0.4}),
        (FaultKind.TWICE, None, {"bounce": 1.0}),
        (FaultKind.TWICE, None, {"bounce": 1.0, "second_at": 0.4}),
        (FaultKind.NOISE, None, {"hum_hz": 50.0}),
        (FaultKind.NOISE, None, {"hum_hz": 60.0}),
        (FaultKind.NOISE, None, {"sparks_hz": 110.0}),
        (FaultKind.RUNOUT, None, {"runout": 0.02}),
        (FaultKind.PLAY, None, {"play": 0.004, "wander": 0.001}),
    ],
)
def test_each_fault_is_found_in_95_of_100_wheels(wheel, kind, tooth, fault) -> None:
    rng = np.random.default_rng(95)
    found = 0
    for _ in range(WHEELS):
        faulty = any_wheel(wheel, rng, **fault)
        check = check_wheel(faulty(rng), faulty.teeth)
        found += any(one.kind is kind and one.tooth == tooth for one in check.answer.faults)
    assert found >= 0.95 * WHEELS


def test_two_bent_teeth_do_not_hide_each_other(wheel) -> None:
    check = check_wheel(wheel(bent={5: -0.09, 7: 0.12})(np.random.default_rng(2)), 24)
    assert [(one.kind, one.tooth) for one in check.answer.faults] == [
        (FaultKind.BENT, 6),
        (FaultKind.BENT, 8),
    ]
    assert check.answer.faults[1].size == pytest.approx(0.12, abs=0.03)
    assert check.answer.faults[0].angle_deg == 75.0
    assert check.answer.verdict is Verdict.FAIL


def test_teeth_count_from_the_mark(wheel) -> None:
    time_s = wheel(bent={5: 0.12})(np.random.default_rng(2))
    mark_s = np.array([0.5 * (time_s[2] + time_s[3])])  # between teeth 3 and 4
    (fault,) = check_wheel(time_s, 24, mark_s=mark_s).answer.faults
    assert fault.tooth == 3


@pytest.mark.parametrize("hum_hz", [50.0, 60.0])
def test_mains_hum_is_called_so(wheel, hum_hz: float) -> None:
    check = check_wheel(wheel(hum_hz=hum_hz)(np.random.default_rng(1)), 24)
    assert check.false.hz == pytest.approx(hum_hz, abs=0.05)
    origin = check.answer.faults[0].sentence.values["origin"]
    assert origin.what == Origin.MAINS
    assert origin.values["mains_hz"] == pytest.approx(hum_hz, abs=0.05)


def test_bursts_are_called_so(wheel) -> None:
    check = check_wheel(wheel(sparks_hz=110.0)(np.random.default_rng(1)), 24)
    assert check.answer.faults[0].sentence.values["origin"].what == Origin.BURSTS
    assert WheelSays.TOO_NOISY_FOR_TEETH in {said.what for said in check.answer.warnings}


def test_eccentricity_comes_out_with_its_uncertainty(wheel) -> None:
    rng = np.random.default_rng(11)
    inside = 0
    for _ in range(100):
        check = check_wheel(wheel(runout=0.006, turns=30)(rng), 24)
        inside += abs(check.answer.eccentricity_rel - 0.006) <= 2 * check.answer.u_eccentricity_rel
    assert 90 <= inside <= 100


def test_play_is_not_claimed_where_the_belt_wanders_as_much(wheel) -> None:
    edges = clean(wheel(wander=0.02, wander_s=0.3)(np.random.default_rng(3)))
    play = find_play(edges, tooth_signature(edges, 24).offset_rel, 5e-4)
    assert play.p > 0.5
    assert play.least_rel > 0.01


def test_another_shafts_swing_is_told_from_play(wheel) -> None:
    time_s = wheel(wander=0.0, turns=80)(np.random.default_rng(3))
    # A shaft that turns 0.7 times a turn of the wheel swings the belt.
    swung_s = time_s + 0.004 * np.sin(2 * np.pi * 0.7 * 3.0 * time_s)
    edges = clean(swung_s)
    play = find_play(edges, tooth_signature(edges, 24).offset_rel, 5e-4)
    assert play.regular
    assert not any(one.kind is FaultKind.PLAY for one in check_wheel(swung_s, 24).answer.faults)


def test_voltage_and_lateness_speak_together(wheel) -> None:
    rng = np.random.default_rng(5)
    time_s = wheel(bent={5: 0.12})(rng)
    tooth = np.arange(time_s.size) % 24
    volts = 3.0 * np.exp(rng.normal(0, 0.02, time_s.size)) * np.where(tooth == 5, 0.7, 1.0)
    volts *= np.where(tooth == 17, 0.6, 1.0)
    check = check_wheel(time_s, 24, amplitude_v=volts, fall_s=time_s + 0.45 / 72)
    assert [(one.kind, one.tooth) for one in check.answer.faults] == [
        (FaultKind.BENT, 6),
        (FaultKind.WORN, 18),
    ]
    less, late = check.answer.faults[0].sentence.values["signs"]
    assert (less.what, late.what) == (FaultSays.LESS_VOLTAGE, FaultSays.COMES_LATE)
    assert less.values["by_rel"] == pytest.approx(0.3, abs=0.03)
    assert late.values["pitch_rel"] == pytest.approx(0.12, abs=0.03)
    np.testing.assert_allclose(check.answer.duty, 0.45, atol=0.03)


def test_a_hole_in_the_signal_is_a_break_and_a_stop_is_none(wheel) -> None:
    time_s = wheel(wander=0.001)(np.random.default_rng(5))
    gone = time_s[(time_s < 8.0) | (time_s > 9.1)]
    check = check_wheel(gone, 24)
    assert check.answer.breaks == 1
    assert [one.kind for one in check.answer.faults] == [FaultKind.BREAKS]
    assert check_wheel(gone, 24, holes_known=True).answer.faults == ()
    # Slows to a stop for 5 s and starts again: time stretched smoothly around 10 s.
    stop_s = time_s + 2.5 * (1 + np.tanh((time_s - 10.0) / 0.8))
    assert check_wheel(stop_s, 24).answer.breaks == 0


def test_a_side_that_stands_away_is_not_many_bad_teeth(wheel) -> None:
    weak = dict.fromkeys(range(8, 14), 0.4)
    check = check_wheel(wheel(weak=weak)(np.random.default_rng(1)), 24)
    assert [one.kind for one in check.answer.faults] == [FaultKind.LOST]
    said = check.answer.faults[0].sentence
    assert said.what == FaultSays.LOST_ON_ONE_SIDE
    # Teeth 9 to 14 of 24: the middle is at tooth 11.5, 10.5 pitches of 15° from the first.
    assert said.values["side_deg"] == pytest.approx(157.5, abs=8)


def test_a_pickup_that_misses_at_random_loses_pulses(wheel) -> None:
    rng = np.random.default_rng(7)
    time_s = wheel()(rng)
    check = check_wheel(time_s[rng.random(time_s.size) > 0.02], 24)
    assert [one.kind for one in check.answer.faults] == [FaultKind.LOST]
    assert check.answer.faults[0].sentence.what == FaultSays.LOST_ALL_ROUND


def test_missed_teeth_are_counted_where_they_are(wheel) -> None:
    edges = clean(wheel(missing=(5,), turns=20)(np.random.default_rng(1)))
    missed = find_missed(edges, 24, 5e-4)
    assert missed.gone == [5]
    assert missed.missed[5] == 20
    assert missed.passed.sum() == 480


def test_stand_outs_leave_swing_and_spread_alone() -> None:
    theta = 2 * np.pi * np.arange(24) / 24
    value = 1.0 + 0.5 * np.cos(theta - 1.0) + 0.01 * np.sin(7 * theta)
    value[9] = np.nan
    pattern = find_stand_outs(value, Usual(0.01, 8, 0.05), 1e-3)
    assert pattern.stand_outs == []
    assert pattern.amplitude == pytest.approx(0.5, abs=0.005)
    assert pattern.highest_deg == pytest.approx(np.degrees(1.0), abs=1.0)


def test_teeth_are_counted_through_second_edges(wheel) -> None:
    time_s = wheel(bounce=1.0, second_at=0.35)(np.random.default_rng(4))
    assert count_teeth(time_s).teeth == 24
    check = check_wheel(time_s, 24)
    assert check.answer.extra == time_s.size // 2
    assert check.answer.missed == 0


def test_too_short_a_recording_gets_a_sentence(wheel) -> None:
    time_s = wheel(turns=1)(np.random.default_rng(1))
    with pytest.raises(WrongInput, match=r"holds 1.0 turns of a wheel of 24 teeth; at least two"):
        check_wheel(time_s, 24)
    with pytest.raises(WrongInput, match="There are too few pulses, 1,"):
        check_wheel(time_s[:1], 24)


def test_few_turns_cannot_clear_a_wheel_but_can_condemn_it(wheel) -> None:
    sound = check_wheel(wheel(turns=5)(np.random.default_rng(1)), 24)
    assert sound.answer.verdict is Verdict.CANNOT_TELL
    (few,) = (said for said in sound.answer.warnings if said.what == WheelSays.ONLY_FEW_TURNS)
    assert few.values["turns"] == pytest.approx(5.0, abs=0.05)
    broken = check_wheel(wheel(turns=5, missing=(3,))(np.random.default_rng(1)), 24)
    assert broken.answer.verdict is Verdict.FAIL


@settings(max_examples=150, deadline=None)
@given(
    steps=st.lists(st.sampled_from([0.0, 0.0001, 0.008, 0.01, 0.02, 0.15, 4.0]), max_size=200),
    teeth=st.sampled_from([1, 2, 3, 5, 8, 24, 200]),
    repeats=st.integers(1, 12),
)
def test_any_pulses_get_an_answer_or_a_sentence(steps, teeth, repeats) -> None:
    time_s = np.cumsum(np.array(steps * repeats, dtype=np.float64))
    for look in (check_wheel, find_drop_out):
        with contextlib.suppress(WrongInput):
            look(time_s, teeth)
