"""The whole computation from runs to answer: coverage by simulation, budgets by libraries.

The simulated shop is this file's own: a belt of a true length, a drive line of a true
metres a pulse, a hand that errs by N(0, (0.10 s)²) (Am. J. Phys. 87(2), 2019, 110), a
count of ±1, a belt that wanders by 0.3 % and a display that rounds. Nothing of it is taken from
the program.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from workbench.base.machine import parse_machine
from workbench.calibration.readout.calibrate import ResultSays, SettleSays
from workbench.calibration.readout.runs import USUAL_WANDER_REL, Run
from workbench.calibration.readout.setting import SettingSays
from workbench.calibration.readout.steady_runs import SteadySays, calibrate_runs
from workbench.calibration.statistics.budget import BudgetSays, Part
from workbench.calibration.statistics.decision import Verdict

MPH = 0.44704
LAP_M, U_LAP_M = 9.10, 0.006
PITCH_M, U_PITCH_M, RODS, TEETH = 0.0508, 0.0001, 8, 30
GEOMETRY_M = RODS * PITCH_M / TEETH


def machine(reads="inverse", unit="mph", setting=2250.0, measured_on="", lap_m=LAP_M, **readout):
    lines = "\n".join(f"{key} = {value}" for key, value in readout.items())
    return parse_machine(f"""
name = "shop's own"
[belt]
lap_length_m = {lap_m}
u_lap_length_m = {U_LAP_M}
[drive]
target_teeth = {TEETH}
kind = "sprocket"
sprocket_teeth = {RODS}
rod_pitch_m = {PITCH_M}
u_rod_pitch_m = {U_PITCH_M}
measured_on = "{measured_on}"
[readout]
unit = "{unit}"
step = 0.1
rounds = "nearest"
setting = {setting}
setting_step = 1.0
reads = "{reads}"
{lines}
""")


def shop(rng, n, laps=True, pulses=True, spread=None, wear=0.0, wander=0.003):
    """(true error of the readout, runs) of one afternoon with everything uncertain; the rods
    are `wear` longer than their drawing. The readout counts the same pulses."""
    error = rng.normal(0, 0.03)
    lap_m = LAP_M + U_LAP_M * rng.standard_normal()
    per_pulse_m = GEOMETRY_M * (1 + U_PITCH_M / PITCH_M * rng.standard_normal())
    per_pulse_m *= 1 + wear
    speeds = rng.uniform(0.85, 1.4, n)
    if spread is not None:
        speeds = speeds[0] * (1 + spread * rng.standard_normal(n))
    runs = []
    for i, v in enumerate(speeds):
        shown = round((1 + error) * v * (1 + wander * rng.standard_normal()) / MPH / 0.1) * 0.1
        pair = {}
        if laps:
            count = int(rng.integers(4, 11))
            pair |= {"laps": float(count)}
            pair |= {"laps_time_s": count * lap_m / v + 0.10 * rng.standard_normal()}
        if pulses:
            counted = math.floor(30.0 * v / per_pulse_m + rng.uniform())
            # The counter's own gate: no hand.
            pair |= {"pulses": float(counted), "pulses_time_s": 30.0, "u_pulses_time_s": 1e-6}
        runs.append(Run(str(i + 1), i + 2, shown, **pair))
    return error, runs


@pytest.mark.parametrize(
    ("case", "afternoons", "low", "high"),
    [
        ({"n": 5}, 500, 0.93, 0.97),
        ({"n": 3}, 300, 0.92, 0.98),
        ({"n": 4, "pulses": False}, 200, 0.92, 0.985),
        ({"n": 4, "laps": False}, 200, 0.92, 0.985),
        # Five runs at one speed are one reading of the display, and are said to be no more;
        # within one step the interval is nearly a certainty.
        ({"n": 5, "pulses": False, "spread": 0.002, "wander": 0.0}, 60, 0.91, 1.0),
    ],
    ids=["five runs", "three runs", "laps only", "pulses only", "one speed"],
)
def test_the_true_error_lies_in_the_stated_interval(case, afternoons, low, high):
    """95.45 % of intervals ± U hold the true error (GUM 6.2, by simulation); the room about
    that is what so many afternoons leave to chance, two to three standard deviations."""
    rng = np.random.default_rng(99)
    held, normed = 0, []
    for _ in range(afternoons):
        error, runs = shop(rng, **case)
        found = calibrate_runs(runs, machine(measured_on="2026-09-14"))
        held += abs(found.error_at_work - error) <= found.budget.U
        normed.append((found.error_at_work - error) / found.budget.u)
    assert low <= held / afternoons <= high
    assert abs(np.mean(normed)) < 0.15
    assert 0.8 < np.std(normed) < 1.12


@pytest.mark.parametrize("wear", [0.0, 0.01, 0.02, 0.03])
def test_pulses_alone_cover_a_worn_belt_and_never_pass_it(wear):
    """GUM 4.3.7 and JCGM 101, 6.4.6, by simulation: a belt whose rods nobody measured is held
    by ± U new and worn; none passes or fails within the usual 2 %, and what to do is said."""
    rng, held = np.random.default_rng(round(7 + 100 * wear)), 0
    for _ in range(200):
        error, runs = shop(rng, 4, laps=False, wear=wear)
        found = calibrate_runs(runs, machine())
        held += abs(found.error_at_work - error) <= found.budget.U
        assert found.verdict in (Verdict.CANNOT_TELL, Verdict.FAIL)
        if found.verdict is Verdict.CANNOT_TELL:
            assert found.advice.what == SettleSays.TIME_TEN_LAPS
            assert not found.has_new_setting
    assert held / 200 >= 0.92


def test_a_lap_counted_in_rods_does_not_hide_wear():
    """A lap of 180 whole pitches was counted, not taped: pulses alone cannot show wear there
    either. By simulation as above, rods 2 % longer than drawn."""
    rng, held = np.random.default_rng(11), 0
    for _ in range(60):
        error, runs = shop(rng, 4, laps=False, wear=0.02)
        found = calibrate_runs(runs, machine(lap_m=180 * PITCH_M))
        held += abs(found.error_at_work - error) <= found.budget.U
        assert found.verdict not in (Verdict.PASS, Verdict.CONDITIONAL_PASS)
    assert held >= 55


def test_laps_or_a_measured_pitch_make_an_answer_of_it():
    rng = np.random.default_rng(5)
    _, runs = shop(rng, 5)
    timed = calibrate_runs(runs, machine())
    assert timed.budget.u == calibrate_runs(runs, machine(measured_on="2026-09-14")).budget.u
    _, counted = shop(rng, 5, laps=False)
    unsure = calibrate_runs(counted, machine())
    sure = calibrate_runs(counted, machine(measured_on="2026-09-14"))
    assert unsure.budget.U > 0.02 > sure.budget.U


@pytest.mark.parametrize("slip", [10.0, 0.1])
def test_an_error_that_no_readout_has_is_no_answer(slip):
    """A point in the wrong place. Common practice, no source."""
    _, runs = shop(np.random.default_rng(6), 4)
    found = calibrate_runs([replace(run, shown=slip * run.shown) for run in runs], machine())
    assert found.verdict is Verdict.CANNOT_TELL
    assert not found.has_new_setting
    assert found.sentence.what == ResultSays.TOO_UNSURE_TO_SAY
    assert found.reason.what == ResultSays.NO_SUCH_ERROR
    said = [warning.what for warning in found.warnings]
    assert SettingSays.ERROR_NOT_TOLD in said
    assert SettingSays.SETTING_BY_PULSES not in said
    assert found.advice.what == SettleSays.CHECK_ENTRIES


def test_runs_at_one_speed_gain_nothing_by_number():
    rng = np.random.default_rng(2)
    for _ in range(5):
        _, runs = shop(rng, 8, spread=0.0002)
        alike = [run for run in runs if run.shown == runs[0].shown]
        one = calibrate_runs(alike[:1], machine())
        many = calibrate_runs(alike, machine())
        assert many.budget.u > 0.85 * one.budget.u
        said = [warning.what for warning in many.warnings]
        assert SteadySays.ONE_SPEED in said or len(alike) == 1


def test_setting_brings_the_readout_right_whichever_way_it_reads():
    """By simulation: the readout set to the exact new setting shows the true speed. A readout
    that reads directly shows pulse rate × setting, an inverse one pulse rate ÷ setting."""
    rng = np.random.default_rng(3)
    for reads, shown_at in (
        ("direct", lambda rate, setting: rate * setting / 1000),
        ("inverse", lambda rate, setting: rate * 30.48 / setting),
    ):
        right = GEOMETRY_M * 1000 if reads == "direct" else 30.48 / GEOMETRY_M
        for wrong_by in (0.96, 1.05):
            now = right * wrong_by
            runs = []
            for i, v in enumerate(rng.uniform(0.9, 1.4, 12)):
                shown = round(shown_at(v / GEOMETRY_M, now) / MPH / 0.1) * 0.1
                runs.append(
                    Run(str(i), i, shown, laps=40.0, laps_time_s=40 * LAP_M / v, u_laps_time_s=1e-4)
                )
            found = calibrate_runs(runs, machine(reads, setting=now))
            assert found.setting_exact == pytest.approx(right, abs=2 * found.u_setting_exact)
            assert abs(found.setting_exact / right - 1) < 0.01 < abs(now / right - 1)
            shown_after = shown_at(1.2 / GEOMETRY_M, found.setting_new)
            expected = (
                1
                + found.residual_error
                - (found.setting_exact / right - 1) * (1 if reads == "inverse" else -1)
            )
            assert shown_after / 1.2 == pytest.approx(expected, abs=2e-4)


def one_run():
    return Run("1", 2, 2.6, laps=8.0, laps_time_s=64.2)


def test_one_run_through_gtc():
    """GTC, an independent library: error = shown·t/(n·L) − 1, u by its own propagation."""
    gtc = pytest.importorskip("GTC")
    shown = gtc.ureal(2.6 * MPH, 0.1 * MPH / math.sqrt(12))
    wander = gtc.ureal(1, USUAL_WANDER_REL)
    error = shown * gtc.ureal(64.2, 0.10) / (8 * gtc.ureal(LAP_M, U_LAP_M)) / wander - 1
    found = calibrate_runs([one_run()], machine())
    assert found.error_at_work == pytest.approx(error.x, rel=1e-9)
    assert found.budget.u == pytest.approx(error.u, rel=1e-6)


def test_one_run_through_metrolopy():
    """MetroloPy, a second independent library, with rectangular reading of the display."""
    metrolopy = pytest.importorskip("metrolopy")
    half = 0.05 * MPH
    shown = metrolopy.gummy(metrolopy.UniformDist(center=2.6 * MPH, half_width=half))
    lap, watch = metrolopy.gummy(LAP_M, U_LAP_M), metrolopy.gummy(64.2, 0.10)
    error = shown * watch / (8 * lap) / metrolopy.gummy(1, USUAL_WANDER_REL) - 1
    found = calibrate_runs([one_run()], machine())
    assert found.error_at_work == pytest.approx(float(error.x), rel=1e-9)
    assert found.budget.u == pytest.approx(float(error.u), rel=1e-6)
    # One rectangular input rules: U is not 2u but what whole distributions give.
    metrolopy.Distribution.set_seed(1)
    error.p = 0.9545
    error.sim()
    low, high = error.cisim
    assert found.budget.method.what == BudgetSays.MONTE_CARLO
    assert pytest.approx((high - low) / 2, rel=0.02) == found.budget.U


def test_shared_tape_through_gtc():
    """GTC: the weighted slope of runs whose laps one tape measured. The weights are this
    test's own (the display's variance alone, runs far apart); the tape is one input."""
    gtc = pytest.importorskip("GTC")
    times = {2.0: 97.0, 2.6: 76.0, 3.2: 61.0}
    lap = gtc.ureal(LAP_M, U_LAP_M)
    u_shown = 0.1 * MPH / math.sqrt(12)
    shown = [gtc.ureal(value * MPH, u_shown) for value in times]
    true = [9 * lap / gtc.ureal(t, 1e-5) for t in times.values()]
    weights = [9 * LAP_M / t for t in times.values()]
    top = sum(w * s for w, s in zip(weights, shown, strict=True))
    error = top / sum(w * v for w, v in zip(weights, true, strict=True)) - 1
    runs = [
        Run(str(s), 0, s, laps=9.0, laps_time_s=t, u_laps_time_s=1e-5) for s, t in times.items()
    ]
    found = calibrate_runs(runs, machine())
    # The display's rounding errors are correlated where speeds are known so well; the tape's
    # share is not touched by that and must agree to the digit.
    assert found.budget.groups[Part.LAP_LENGTH] == pytest.approx(
        abs(gtc.component(error, lap)), rel=2e-3
    )
    assert found.error_at_work == pytest.approx(error.x, abs=0.3 * error.u)
    assert found.budget.u == pytest.approx(error.u, rel=0.25)


def test_the_budget_is_the_fits_own_uncertainty():
    """u of the budget, line by line, against the covariance of the fit (JCGM 100, 5.2.2)."""
    rng = np.random.default_rng(9)
    for n in (2, 5, 9):
        _, runs = shop(rng, n)
        found = calibrate_runs(runs, machine())
        assert found.budget.u == pytest.approx(found.fit.u_slope, rel=0.02)
