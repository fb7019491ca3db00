"""Run tables as people type them, and what the calibration makes of odd ones.

The machine and its figures are invented. What must come out is elementary arithmetic.
"""

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from workbench.base.errors import WrongInput
from workbench.base.machine import Readout, parse_machine
from workbench.calibration.readout.calibrate import ResultSays, SettleSays
from workbench.calibration.readout.drive_line_check import DriveLineSays, name_difference
from workbench.calibration.readout.run_table import (
    RunTableSays,
    looks_like_run_table,
    read_run_table,
)
from workbench.calibration.readout.setting import SettingSays, propose_setting
from workbench.calibration.readout.steady_runs import SteadySays, calibrate_runs
from workbench.calibration.statistics.budget import Part
from workbench.calibration.statistics.decision import Verdict
from workbench.calibration.typed_rows import RowSays
from workbench.words.words import Words

MACHINE = """
name = "shop's own"
[belt]
lap_length_m = 9.15
u_lap_length_m = 0.005
[drive]
target_teeth = {teeth}
turns_per_target_turn = {turns}
kind = "sprocket"
sprocket_teeth = 8
rod_pitch_m = 0.0508
[readout]
unit = "mph"
step = 0.1
rounds = "nearest"
setting = 2250
setting_unit = "pulses/100 ft"
setting_step = 1
"""
HEADER = "run,shown,laps,laps_time_s,pulses,pulses_time_s\n"
MPH, LAP_M, PULSE_M = 0.44704, 9.15, 8 * 0.0508 / 30


def machine(teeth=30, turns=1.0, more=""):
    return parse_machine(MACHINE.format(teeth=teeth, turns=turns) + more)


def line(number, speed_mps, error=0.0, laps=10, pulse_m=PULSE_M):
    shown = round((1 + error) * speed_mps / MPH, 1)
    pulses = round(60 * speed_mps / pulse_m)
    return f"{number},{shown:.1f},{laps},{10 * LAP_M / speed_mps:.2f},{pulses},60"


GOOD = [line(i + 1, v) for i, v in enumerate((0.92, 1.05, 1.13, 1.24, 1.33))]


def read(lines, name="RUNS.csv", header=HEADER, of=None):
    return read_run_table(header + "\n".join(lines) + "\n", name, of or machine())


def calibrated(lines, of=None):
    table = read(lines, of=of)
    found = calibrate_runs(table.runs, of or machine())
    return found, [*table.warnings, *found.warnings]


def kinds(statements):
    return [one.what for one in statements]


def within(told):
    """What a statement says, and the statements within it."""
    yield told.what, told.values
    for value in told.values.values():
        if hasattr(value, "what"):
            yield from within(value)


def test_a_good_table_gives_no_word_of_doubt():
    found, warnings = calibrated(GOOD)
    assert warnings == []
    assert found.error_at_work == pytest.approx(0, abs=0.01)
    assert found.metres_per_pulse == pytest.approx(PULSE_M, rel=0.001)
    assert found.verdict in (Verdict.PASS, Verdict.CONDITIONAL_PASS)


T, R, S, D = RunTableSays, RowSays, SteadySays, DriveLineSays


@pytest.mark.parametrize(
    ("cells", "column", "says", "values"),
    [
        ("6,abc,10,80.0,,", "shown", R.CELL_NO_NUMBER, {"cell": "abc"}),
        ("6,,10,80.0,,", "shown", R.CELL_EMPTY, {}),
        ("6,-2.5,10,80.0,,", "shown", T.SHOWN_NO_BELT_SPEED, {"shown": -2.5, "unit": "mph"}),
        ("6,0,10,80.0,,", "shown", T.SHOWN_NO_BELT_SPEED, {"shown": 0}),
        ("6,nan,10,80.0,,", "shown", R.CELL_NO_NUMBER, {"cell": "nan"}),
        ("6,250,10,80.0,,", "shown", T.SHOWN_NO_BELT_SPEED, {"shown": 250}),
        ("6,2.5,9.5,80.0,,", "laps", T.COUNT_NOT_WHOLE, {"count": 9.5}),
        ("6,2.5,10,80.0,1.5,60", "pulses", T.COUNT_NOT_WHOLE, {"count": 1.5}),
        ("6,2.5,10,-80.0,,", "laps_time_s", T.TIME_OUT_OF_RANGE, {"time_s": -80}),
        ("6,2.5,ten,80.0,,", "laps", R.CELL_NO_NUMBER, {"cell": "ten"}),
        ("6,2.5,10,,,", "laps_time_s", T.PARTNER_EMPTY, {}),
        ("6,2.5,,,,60", "pulses", T.PARTNER_EMPTY, {}),
        ("6,2.5,,,,", None, T.NOTHING_COUNTED, {}),
        ("6,2.5,900,80.0,,", "laps", T.SPEED_IMPLAUSIBLE, {"count": 900, "time_s": 80}),
        ("6,4.0 km/h,10,80.0,,", "shown", T.SHOWN_IN_OTHER_UNIT, {"unit": "mph"}),
        ("6,4.0 knots,10,80.0,,", "shown", T.SHOWN_IN_OTHER_UNIT, {"cell": "4.0 knots"}),
        ("6,2,5,10,80,0,,", None, R.CELLS_TOO_MANY, {"cells": 8, "columns": 6}),
        (GOOD[2], "run", T.SAME_LINE_TWICE, {"run": "3", "other": 4}),
        ("3,2.5,10,80.0,,", "run", T.SAME_NUMBER_TWICE, {"run": "3", "other": 4}),
    ],
)
def test_one_wrong_line_is_named_and_the_rest_kept(cells, column, says, values):
    found, warnings = calibrated([*GOOD, cells])
    told = next(one for one in warnings if says in dict(within(one)))
    assert (told.values["line"], told.values.get("column")) == (7, column)
    assert values.items() <= dict(within(told))[says].items()
    assert found.error_at_work == pytest.approx(0, abs=0.012)
    assert sum(result.used for result in found.runs) >= 5


@pytest.mark.parametrize(
    ("cells", "says", "values"),
    [
        ("6,2.55,10,80.26,,", T.SHOWN_OFF_STEP, {"lines": (7,), "shown": 2.55}),
        ("6,2.5,7,81.50,4972,60", D.LAPS_MISCOUNTED, {"laps": 7, "pulses": 4972}),
        (line(6, 1.2).replace("2.7", "27"), S.RUN_APART_LEFT_OUT, {"shown": 27}),
        (line(6, 1.2).replace("2.7", "4.3"), S.RUN_IN_OTHER_UNIT, {"shown": 4.3}),
    ],
)
def test_one_wrong_run_is_named_and_the_rest_kept(cells, says, values):
    found, warnings = calibrated([*GOOD, cells])
    told = next(one for one in warnings if one.what == says)
    assert values.items() <= told.values.items()
    if "run" in told.values:
        assert told.values["run"].values == {"line": 7, "run": "6"}
    assert found.error_at_work == pytest.approx(0, abs=0.012)
    assert sum(result.used for result in found.runs) >= 5


def test_a_wrong_cell_in_words():
    _, warnings = calibrated([*GOOD, "6,2.5,900,80.0,,"])
    assert Words().say(warnings[0]) == (
        "RUNS.csv, line 7, column laps: 900 in 80 s is a belt speed of 370.57 km/h; the laps of "
        "this run were left out."
    )


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "it is empty"),
        ("\n\n", "it is empty"),
        (HEADER, "no line holds a run"),
        ("run,laps,laps_time_s\n1,3,4\n", "no column 'shown'"),
        ("run,shown\n1,2.5\n", "neither a pair laps,laps_time_s nor a pair"),
        ("shown,shown,laps,laps_time_s\n1,1,2,3\n", "stands twice"),
        (HEADER + "1,abc,3,4,,\n", "no line holds a run that can be used.*it is 'abc'"),
        (HEADER + "1,2_5,3,4,,\n", "no line holds a run that can be used.*it is '2_5'"),
    ],
)
def test_a_table_with_nothing_left_is_refused(text, told):
    with pytest.raises(WrongInput) as refused:
        read_run_table(text, "RUNS.csv", machine())
    assert re.search(told, Words().say(refused.value))


def test_semicolons_tabs_comments_and_unknown_columns():
    european = "run;shown;laps;laps_time_s\n# shop\n1;2,5;10;81,9\n\n2;2,8;10;73,1\n"
    table = read_run_table("\ufeff" + european, "RUNS.csv", machine())
    assert [run.shown for run in table.runs] == [2.5, 2.8]
    assert [run.line for run in table.runs] == [3, 5]
    tabs = read_run_table(
        "run\tshown\tlaps\tlaps_time_s\tmood\n1\t2.5\t10\t81.9\tgood\n", "R", machine()
    )
    assert tabs.runs[0].laps_time_s == 81.9
    assert dict(within(tabs.warnings[0]))[RowSays.COLUMNS_UNKNOWN]["columns"] == ("mood",)
    assert looks_like_run_table(european)
    assert not looks_like_run_table("time_s,channel\n0.1,left\n")


def test_one_run_is_said_to_be_one():
    found, warnings = calibrated(GOOD[2:3])
    assert SteadySays.ONE_RUN in kinds(warnings)
    assert math.isnan(found.fit.lack_of_fit_probability)


def test_runs_all_at_one_speed_are_said_to_be():
    _, warnings = calibrated([line(i, 1.13) for i in range(1, 5)])
    assert SteadySays.ONE_SPEED in kinds(warnings)


def test_runs_beside_the_work_are_said_to_be():
    _, warnings = calibrated([line(i + 1, v) for i, v in enumerate((0.5, 0.6, 0.7))])
    assert ResultSays.NO_RUN_AT_WORK in kinds(warnings)


def test_wild_scatter_widens_the_answer():
    wild = [
        line(i + 1, v, e)
        for i, (v, e) in enumerate(
            zip((0.9, 1.0, 1.1, 1.2, 1.3), (0.2, -0.2, 0.1, -0.15, 0.15), strict=True)
        )
    ]
    found, warnings = calibrated(wild)
    calm, _ = calibrated(GOOD)
    assert SteadySays.RUNS_SCATTER in kinds(warnings)
    assert found.budget.U > 4 * calm.budget.U
    assert found.verdict in (Verdict.CANNOT_TELL, Verdict.FAIL)


def test_a_readout_in_another_unit_is_guessed():
    wrong = [line(i + 1, v, 0.609344) for i, v in enumerate((0.92, 1.05, 1.13, 1.24))]
    _, warnings = calibrated(wrong)
    told = next(one for one in warnings if one.what == SteadySays.SHOWS_OTHER_UNIT)
    assert told.values["other"] == "km/h"


def test_a_fixed_offset_is_found_and_named():
    rows = []
    for number, v in enumerate(np.linspace(0.5, 1.5, 12), 1):
        shown = round(v / MPH + 0.4, 1)
        rows.append(f"{number},{shown:.1f},40,{40 * LAP_M / v:.2f},,")
    found, warnings = calibrated(rows)
    told = next(one for one in warnings if one.what == SteadySays.OFF_BY_FIXED)
    assert 0.3 * MPH <= told.values["offset_mps"] < 0.5 * MPH
    work = 0.5 * (0.894 + 1.341)
    assert found.error_at_work == pytest.approx(0.4 * MPH / work, abs=0.02)


def test_equal_times_mean_one_watch():
    """Counted on one watch, the hand's error cancels in the metres a pulse and not in the speed."""
    apart = read(["1,2.5,10,81.90,6044,60"]).runs
    one = read(["1,2.5,10,81.90,6754,81.90"]).runs
    assert one[0].one_interval
    assert not apart[0].one_interval
    shared, own = calibrate_runs(one, machine()), calibrate_runs(apart, machine())
    assert shared.u_metres_per_pulse_runs < 0.6 * own.u_metres_per_pulse_runs


def test_a_reference_in_the_table_counts():
    header = "run,shown,reference_mps,u_reference_mps\n"
    table = read(["1,2.5,1.0950,0.005", "2,2.8,1.2260,0.005"], header=header)
    found = calibrate_runs(table.runs, machine())
    assert found.error_at_work == pytest.approx(0.0206, abs=0.004)
    # The reference's own calibration is in both runs and does not average out.
    assert found.budget.groups[Part.REFERENCE] == pytest.approx(0.005 / 1.095, rel=0.05)
    odd = read(["1,2.5,fast,0.005,", "2,2.8,1.2260,0.005"], header=header)
    assert dict(within(odd.warnings[0]))[RunTableSays.REFERENCE_WRONG]["cell"] == "fast"


@pytest.mark.parametrize(
    ("typed", "says", "values"),
    [
        ({"teeth": 32}, DriveLineSays.OTHER_TARGET_TEETH, {"teeth": 30, "typed": 32}),
        ({"teeth": 28}, DriveLineSays.OTHER_TARGET_TEETH, {"teeth": 30, "typed": 28}),
        ({"teeth": 60}, DriveLineSays.COUNTS_HALF, {}),
        ({"teeth": 15}, DriveLineSays.COUNTS_TWICE, {}),
        ({"turns": 0.5}, DriveLineSays.ON_DRIVE_SHAFT, {}),
    ],
)
def test_a_wrong_number_in_the_machine_file_is_named_from_the_runs(typed, says, values):
    found, warnings = calibrated(GOOD, of=machine(**typed))
    causes = {cause.what: cause.values for cause in found.drive_line_causes[:2]}
    assert causes[says] == values
    told = [one for one in warnings if "causes" in one.values]
    assert [one.values["causes"] for one in told] == [found.drive_line_causes]
    # The laps are true whatever the drive line is thought to be.
    assert found.error_at_work == pytest.approx(0, abs=0.01)
    assert found.metres_per_pulse == pytest.approx(PULSE_M, rel=0.002)


def test_slip_wear_and_mud_are_named():
    def causes(ratio, kind, **more):
        lines = f'target_teeth = 30\nkind = "{kind}"\n'
        lines += "\n".join(f"{key} = {value}" for key, value in more.items())
        drive = parse_machine(f'name = "m"\n[drive]\n{lines}\n').drive
        return {one.what: one.values for one in name_difference(ratio, 0.002, drive)}

    sprocket = {"sprocket_teeth": 8, "rod_pitch_m": 0.0508}
    slips = causes(0.97, "roll", roll_diameter_m=0.2)[DriveLineSays.SLIPS]
    assert slips == {"share_rel": pytest.approx(0.03), "worn_m": pytest.approx(0.006)}
    mud = causes(1.05, "roll", roll_diameter_m=0.2)[DriveLineSays.ROLL_THICKER]
    assert mud["thicker_m"] == pytest.approx(0.005)
    longer = causes(1.015, "sprocket", **sprocket)[DriveLineSays.PITCH_LONGER]
    assert longer["share_rel"] == pytest.approx(0.015)
    # 0.6 % is no tooth.
    assert list(causes(0.994, "sprocket", **sprocket)) == [DriveLineSays.RODS_JUMP]


def test_slip_is_seen_by_laps_and_pulses_together():
    slipping = [line(i + 1, v, pulse_m=PULSE_M * 0.96) for i, v in enumerate((0.92, 1.05, 1.2))]
    found, warnings = calibrated(slipping)
    assert found.drive_line_difference == pytest.approx(-0.04, abs=0.003)
    assert found.metres_per_pulse == pytest.approx(PULSE_M * 0.96, rel=0.003)
    assert DriveLineSays.MOVES_LESS in kinds(warnings)


def readout(**more):
    given = {"unit": "mph", "step": 0.1, "setting": 200.0, "setting_step": 1.0} | more
    return Readout(**given)


def test_setting_rounds_to_the_step_and_says_what_that_leaves():
    found = propose_setting(readout(reads="direct"), 0.0333, 0.001, math.nan, 30)
    assert found.exact == pytest.approx(200 / 1.0333)
    assert found.new == 194
    # shown follows the setting: 194 instead of 193.55 shows 0.23 % too much.
    assert found.residual_error == pytest.approx(194 / (200 / 1.0333) - 1)
    inverse = propose_setting(readout(reads="inverse"), 0.0333, 0.001, math.nan, 30)
    assert inverse.exact == pytest.approx(200 * 1.0333)
    assert inverse.new == 207
    assert inverse.residual_error == pytest.approx(200 * 1.0333 / 207 - 1)


def test_a_step_of_a_tenth_leaves_no_dust():
    found = propose_setting(readout(setting=23.1, setting_step=0.1), -0.013, 0.001, math.nan, 30)
    assert repr(found.new) == "23.4"


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"setting_low": 195.0, "setting_high": 205.0}, SettingSays.RANGE_FROM_TO),
        ({"setting_low": 195.0}, SettingSays.RANGE_FROM),
    ],
)
def test_a_setting_outside_the_range_is_refused(more, says):
    found = propose_setting(readout(**more), 0.05, 0.001, math.nan, 30)
    assert math.isnan(found.new)
    assert math.isnan(found.residual_error)
    (told,) = found.warnings
    assert told.what == SettingSays.SETTING_OUT_OF_RANGE
    assert told.values["range"].what == says
    assert told.values["range"].values["low"] == 195


def test_the_nearest_step_stays_in_the_range():
    found = propose_setting(readout(setting_high=200.4), -0.001, 0.001, math.nan, 30)
    assert found.new == 200
    half = propose_setting(readout(setting_low=193.3), 200 / 193.4 - 1, 0.001, math.nan, 30)
    assert half.exact == pytest.approx(193.4)
    assert half.new == 194


def test_no_setting_no_step_and_contradiction_are_sentences():
    bare = propose_setting(readout(setting=math.nan), 0.05, 0.001, math.nan, 30)
    assert math.isnan(bare.exact)
    assert kinds(bare.warnings) == [SettingSays.SETTING_NOT_GIVEN]
    rough = propose_setting(readout(setting_step=math.nan), 0.05, 0.001, math.nan, 30)
    assert rough.new == rough.exact
    assert kinds(rough.warnings) == [SettingSays.SETTING_STEP_NOT_GIVEN]
    crossed = propose_setting(
        readout(setting_unit="pulses/100 ft", reads="direct"), 0.05, 0.001, math.nan, 30
    )
    assert crossed.warnings[0].what == SettingSays.READS_LOWER
    assert crossed.exact == pytest.approx(200 / 1.05)


def test_a_setting_that_the_pulses_contradict_is_said_to():
    _, warnings = calibrated([line(i + 1, v, 0.1) for i, v in enumerate((0.92, 1.05, 1.2))])
    assert SettingSays.SETTING_BY_PULSES in kinds(warnings)


def test_what_would_settle_a_doubtful_verdict():
    """The error lies 0.8 % inside the limit: two runs would have to be a score, which is more
    work than a ramp; three would have to be four."""
    doubtful = [line(i + 1, v, 0.012) for i, v in enumerate((1.0, 1.25))]
    found, _ = calibrated(doubtful)
    assert found.verdict in (Verdict.CONDITIONAL_PASS, Verdict.CANNOT_TELL)
    assert found.advice.what == SettleSays.WOULD_SETTLE
    assert kinds(found.advice.values["steps"]) == [SettleSays.RAMP_INSTEAD]
    nearly = ["1,2.7,6,44.62,,", "2,1.9,6,63.82,,", "3,2.3,6,52.28,,"]
    (step,) = calibrated(nearly)[0].advice.values["steps"]
    assert (step.what, step.values) == (SettleSays.RUNS_AT_OTHER_SPEEDS, {"count": 1})
    hasty = ["1,2.53,1,8.20,,", "2,2.83,1,7.31,,"]
    found, _ = calibrated(
        hasty,
        of=parse_machine(MACHINE.format(teeth=30, turns=1.0).replace("step = 0.1", "step = 0.01")),
    )
    assert SettleSays.MORE_LAPS_A_RUN in kinds(found.advice.values["steps"])


def test_how_the_display_rounds_is_asked_before_any_work():
    """A question that the readout's manual answers costs nothing; and many runs are more work
    than one ramp. Common practice, no source."""
    unsaid = parse_machine(MACHINE.format(teeth=30, turns=1.0).replace('rounds = "nearest"\n', ""))
    runs = [line(i + 1, v, 0.012) for i, v in enumerate((0.95, 1.1, 1.25))]
    first, *_ = calibrated(runs, of=unsaid)[0].advice.values["steps"]
    assert first.what == SettleSays.SAY_ROUNDING_FIRST
    told, _ = calibrated(runs)
    without = calibrated(runs, of=unsaid)[0].U_error_at_work - told.U_error_at_work
    assert first.values["off_rel"] == pytest.approx(without, abs=0.002)
    scattered = [
        line(i + 1, v, e) for i, (v, e) in enumerate(((0.95, 0), (1.1, 0.06), (1.3, 0.02)))
    ]
    steps = kinds(calibrated(scattered)[0].advice.values["steps"])
    assert steps == [SettleSays.RAMP_INSTEAD]


def test_runs_whose_pulses_told_of_the_wander_are_not_taken_to_scatter():
    """Three digits of a display of 4 % of the speed differ by rounding alone."""
    cells = ("1,2.6,6,44.62,", "2,1.9,6,63.82,", "3,2.3,6,52.28,", "4,2.9,6,40.66,")
    header = "run,shown,laps,laps_time_s,u_wander_rel\n"

    def error(wander):
        lines = [cell + wander for cell in cells]
        found = calibrate_runs(read(lines, header=header).runs, machine())
        return found.error_at_work, found.U_error_at_work, found.verdict

    assert error("")[2] is Verdict.CANNOT_TELL
    value, U, verdict = error("0.002")
    assert verdict is Verdict.FAIL
    assert U < 0.012
    assert abs(value - -0.038) <= U  # what the digits were made from
    assert error("0.01")[1] > 1.1 * U


def test_a_wander_that_can_not_be_is_named():
    header = HEADER.strip() + ",u_wander_rel\n"
    table = read(
        [f"{cells},2 %" if at else f"{cells},2" for at, cells in enumerate(GOOD)], header=header
    )
    assert RunTableSays.WANDER_WRONG in [what for one in table.warnings for what, _ in within(one)]
    assert not table.runs[0].wander_told


@pytest.mark.parametrize("count", [3, 5, 7])
@pytest.mark.parametrize("scatter", [0.004, 0.008, 0.016])
def test_what_would_settle_it_names_a_step_once(count, scatter):
    """What the same work shrinks is one step: scatter and wander, pulses and when they came."""
    errors = [0.018 + scatter * (-1) ** at for at in range(count)]
    found, _ = calibrated([line(i + 1, 1 + 0.05 * i, error) for i, error in enumerate(errors)])
    steps = [step.what for step in found.advice.values.get("steps", ())] if found.advice else []
    assert len(set(steps)) == len(steps)


CELLS = st.sampled_from(
    [
        "",
        "1",
        "2.5",
        "-3",
        "0",
        "1e300",
        "1e-300",
        "nan",
        "x",
        "2,5",
        '"',
        "10",
        "81.9",
        "6044",
        "60",
    ]
)


def told(text):
    """'' where a table gives a finite answer, else the sentence it was refused with."""
    try:
        found = calibrate_runs(read_run_table(text, "RUNS.csv", machine()).runs, machine())
    except WrongInput as error:
        return Words().say(error)
    assert math.isfinite(found.budget.U)
    return ""


@settings(deadline=None)
@given(st.lists(st.lists(CELLS, max_size=8), max_size=6))
def test_any_cells_give_an_answer_or_a_sentence(rows):
    said = told(HEADER + "\n".join(",".join(row) for row in rows))
    assert said == "" or said.endswith(".")


@settings(deadline=None)
@given(st.text(max_size=200))
def test_any_text_is_a_table_or_refused(text):
    for whole in (text, HEADER + text, "run;shown;laps;laps_time_s\n" + text):
        assert looks_like_run_table(whole) in (True, False)
        said = told(whole)
        assert said == "" or said.endswith(".")
