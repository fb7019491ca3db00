"""What was prepared is at hand where a readout is calibrated and a pass is judged."""

from pathlib import Path

import numpy as np
import pytest

from tests.workbench.cli.calling import answer_of
from workbench.cli import main
from workbench.records.store import open_store

MACHINE = """
name = "Test digger"
[belt]
lap_length_m = 9.84
[drive]
target_teeth = 24
kind = "roll"
roll_diameter_m = 0.15
[readout]
unit = "mph"
step = 0.1
setting = 1920
setting_unit = "pulses/100 ft"
"""
RUNS = (
    "run,shown,laps,laps_time_s,pulses,pulses_time_s\n"
    "1,2.2,10,104.7,,\n2,2.5,10,93.8,,\n3,2.6,10,87.1,,\n4,2.9,10,79.2,,\n"
)
COURSE = (
    "check,place,value,unit\ncourse length,,100,ft\n"
    "course time,1 there,27.3,s\ncourse time,2 back,27.3,s\n"
    "radar speed,1 there,1.095,m/s\nradar speed,2 back,1.095,m/s\n"
)
"""100 ft in 27.3 s are 1.1165 m/s: this radar reads 1.9 % low."""


@pytest.fixture(autouse=True)
def at_the_machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, own_store: Path) -> None:
    monkeypatch.chdir(tmp_path)
    open_store(str(own_store)).close()
    Path("digger.toml").write_text(MACHINE)
    Path("runs.csv").write_text(RUNS)


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]):
    """A command's JSON."""
    return lambda *words: answer_of(capsys, *words)[1]


@pytest.fixture
def drive(call):
    """A pass of three minutes: belt 1.12 m/s, radar by its own scale; imported."""
    rows = ["time_s,source,speed_mps"]
    rng = np.random.default_rng(1)
    for at_s in np.arange(0.0, 180.0, 0.2):
        rows.append(f"{at_s:.1f},belt,{1.1165 * (1 + 0.002 * rng.standard_normal()):.5f}")
        rows.append(f"{at_s:.1f},radar,{1.095 * (1 + 0.002 * rng.standard_normal()):.5f}")
    Path("drive.csv").write_text("\n".join(rows) + "\n")
    return str(call("import", "drive.csv", "--machine", "digger.toml")["recording"])


def test_a_proven_radar_is_used_from_then_on_and_named(call, drive):
    before = call("pass", drive, "--belt", "belt")
    assert before["ratio"] == pytest.approx(1.0196, abs=2e-3)
    Path("course.csv").write_text(COURSE)
    number = call("prepare", "course.csv", "--machine", "digger.toml")["result"]
    after = call("pass", drive, "--belt", "belt")
    assert after["ratio"] == pytest.approx(1.0, abs=2e-3)
    # Its scale is now as sure as the course made it: watch 0.1 s in 27.3, tape 30 mm in 30 m.
    assert after["u_ratio"] < before["u_ratio"]
    assert any(
        "radar is taken 1.01" in said and f"result {number}" in said for said in after["warnings"]
    )
    assert main(["verify", str(after["result"]), "--json"]) == 0
    assert main(["report", str(after["result"]), "-o", "pass.html"]) == 0
    assert "by the taped course" in Path("pass.html").read_text()


def test_a_course_driven_one_way_changes_nothing(call, drive):
    Path("course.csv").write_text("\n".join(COURSE.splitlines()[:3] + COURSE.splitlines()[4:5]))
    call("prepare", "course.csv", "--machine", "digger.toml")
    assert call("pass", drive, "--belt", "belt")["ratio"] == pytest.approx(1.0196, abs=2e-3)


def test_another_machine_knows_nothing_of_it(call, drive):
    Path("other.toml").write_text(MACHINE.replace("Test digger", "Another"))
    Path("course.csv").write_text(COURSE)
    call("prepare", "course.csv", "--machine", "other.toml")
    assert call("pass", drive, "--belt", "belt")["ratio"] == pytest.approx(1.0196, abs=2e-3)


def test_a_slack_belt_is_told_of_in_a_calibration(call):
    plain = call("calibrate", "runs.csv", "--machine", "digger.toml")
    assert not any("too slack" in said for said in plain["warnings"])
    Path("sheet.csv").write_text("check,place,value,unit\nbelt sag,left,5,in\n")
    call("prepare", "sheet.csv", "--machine", "digger.toml")
    told = call("calibrate", "runs.csv", "--machine", "digger.toml")
    assert any("hung too slack before the run (result 2" in said for said in told["warnings"])
    assert told["error_at_work"] == plain["error_at_work"]
    assert main(["verify", str(told["result"])]) == 0


def test_a_cause_says_what_was_found_or_not_looked_at(call):
    scenario = ("pass", "sim:slipping-belt?seed=1", "--for", "90s")
    slip = next(one for one in call(*scenario)["causes"] if one["cause"] == "belt-slip")
    assert "Belt: not measured before the run (Prepare)." in slip["evidence"]
    machine = Path("sim.toml")
    from sim.scenarios import load

    machine.write_text(load("slipping-belt").machine_text)
    Path("sheet.csv").write_text("check,place,value,unit\nbelt sag,left,5,in\n")
    call("prepare", "sheet.csv", "--machine", "sim.toml")
    slip = next(one for one in call(*scenario)["causes"] if one["cause"] == "belt-slip")
    assert any("Belt failed before the run (result" in one for one in slip["evidence"])
