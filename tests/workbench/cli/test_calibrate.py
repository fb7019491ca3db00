"""`evenpace calibrate` and `evenpace report` as their users call them; invented data."""

import json

import numpy as np
import pytest

from drivers.catalogue import open_input
from tests.workbench.cli.calling import refusal
from workbench.calibration.readout.run_table import FLIP_COLUMNS, SHOWN_COLUMNS
from workbench.cli import main
from workbench.models.records.listing import all_entries
from workbench.records.store import open_store

MACHINE = """
name = "shop's own"
[belt]
lap_length_m = 9.15
u_lap_length_m = 0.005
[drive]
target_teeth = 30
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
[limits]
readout_error = 0.02
[pickup]
clock_ppm = 50
"""
MPH, PULSE_M, LAP_M = 0.44704, 8 * 0.0508 / 30, 9.15
KEYS = {
    "error_at_work",
    "u_error_at_work",
    "U_error_at_work",
    "k",
    "verdict",
    "conformance_probability",
    "setting_now",
    "setting_exact",
    "setting_new",
    "residual_error",
    "metres_per_pulse",
    "budget",
    "warnings",
}


@pytest.fixture
def machine(tmp_path):
    path = tmp_path / "machine.toml"
    path.write_text(MACHINE)
    return str(path)


def table(path, error, speeds=(0.92, 1.05, 1.13, 1.24, 1.33)):
    lines = ["run,shown,laps,laps_time_s,pulses,pulses_time_s"]
    for number, v in enumerate(speeds, 1):
        shown = round((1 + error) * v / MPH, 1)
        lines.append(f"{number},{shown:.1f},10,{10 * LAP_M / v:.2f},{round(60 * v / PULSE_M)},60")
    path.write_text("\n".join(lines) + "\n")
    return str(path)


def run(capsys, *words):
    status = main(["calibrate", *words, "--json"])
    said = capsys.readouterr()
    return status, json.loads(said.out), said.err


def test_a_table_to_an_answer_a_report_and_back(tmp_path, capsys, machine):
    runs = table(tmp_path / "runs.csv", 0.05)
    out = tmp_path / "found.pdf"
    status, answer, said = run(capsys, runs, "--machine", machine, "--report", str(out))
    assert status == 1
    assert answer.keys() >= KEYS
    assert answer["verdict"] == "fail"
    assert answer["error_at_work"] == pytest.approx(0.05, abs=answer["U_error_at_work"])
    # Inverse by its unit: more pulses a distance read lower.
    assert answer["setting_exact"] == pytest.approx(2250 * (1 + answer["error_at_work"]))
    assert answer["setting_new"] == round(answer["setting_exact"])
    assert abs(answer["residual_error"]) < 0.5 / 2250
    assert answer["metres_per_pulse"] == pytest.approx(PULSE_M, rel=0.001)
    assert len(answer["runs"]) == 5
    assert answer["budget"]["U"] == answer["U_error_at_work"]
    assert "CAUTION" in said
    assert out.read_bytes().startswith(b"%PDF")
    number = str(answer["result"])
    for ending in ("pdf", "html", "json"):
        path = tmp_path / f"again.{ending}"
        assert main(["report", number, "-o", str(path), "--by", "A. B."]) == 0
        assert path.stat().st_size > 1000
    assert "A. B." in (tmp_path / "again.html").read_text("utf-8")
    assert json.loads((tmp_path / "again.json").read_text())["data"]["verdict"] == "fail"
    assert main(["verify", number]) == 0


def test_as_left_decides_the_exit_status(tmp_path, capsys, machine):
    found, left = table(tmp_path / "a.csv", 0.05), table(tmp_path / "b.csv", 0.0)
    status, answer, _ = run(capsys, found, "--machine", machine, "--as-left", left)
    assert status == 0
    assert answer["verdict"] == "fail"
    assert answer["as_left"]["verdict"] in ("pass", "conditional pass")
    assert answer["as_left"]["setting_now"] == answer["setting_new"]
    status, answer, _ = run(capsys, found, "--machine", machine, "--as-left", found)
    assert status == 1
    assert any("was the new setting entered" in text for text in answer["as_left"]["warnings"])
    assert main(["verify", str(answer["result"])]) == 0


def test_the_list_says_which_verdict_is_as_found_and_which_as_left(
    tmp_path, capsys, machine, own_store
):
    found, left = table(tmp_path / "a.csv", 0.05), table(tmp_path / "b.csv", 0.0)
    _, alone, _ = run(capsys, found, "--machine", machine)
    _, both, _ = run(capsys, found, "--machine", machine, "--as-left", left)
    entries = {one.number: one for one in all_entries(str(own_store))}
    proved = entries[both["result"]]
    assert proved.verdict_word == f"{both['as_left']['verdict']} as left"
    assert proved.found_word == "fail as found"
    assert "fail as found" in proved.text
    assert entries[alone["result"]].verdict_word == "fail"
    assert entries[alone["result"]].found_word == ""


def test_without_a_store_the_answer_is_still_given(tmp_path, capsys, machine, monkeypatch):
    (tmp_path / "a file").write_text("")
    monkeypatch.setenv("EVENPACE_STORE", str(tmp_path / "a file" / "store.db"))
    runs = table(tmp_path / "runs.csv", 0.0)
    status, answer, _ = run(capsys, runs, "--machine", machine)
    assert status == 0
    assert "result" not in answer
    assert any("was not stored" in text for text in answer["warnings"])


def test_a_person_reads_a_sentence_first(tmp_path, capsys, machine):
    runs = table(tmp_path / "runs.csv", 0.05)
    main(["calibrate", runs, "--machine", machine])
    said = capsys.readouterr()
    assert said.out.startswith("The readout shows 5.")
    assert "% too much at 2.50 mph." in said.out
    assert "New setting" in said.out
    main(["calibrate", runs, "--machine", machine, "--units", "metric"])
    metric = capsys.readouterr()
    assert "% too much at 4.02 km/h." in metric.out
    for foreign in ("2.50 mph", " in ", " ft"):
        assert foreign not in metric.out.replace("shown, mph", "").replace("pulses/100 ft", "")


def test_wrong_calls_are_sentences(tmp_path, capsys, machine):
    runs = table(tmp_path / "runs.csv", 0.0)
    assert "--machine FILE" in refusal(capsys, "calibrate", runs)
    assert "no folder" in refusal(
        capsys, "calibrate", runs, "--machine", machine, "--report", str(tmp_path / "x" / "y.pdf")
    )
    assert "goes with a recording" in refusal(
        capsys, "calibrate", runs, "--machine", machine, "--flips", runs
    )
    assert "cannot go together" in refusal(
        capsys, "calibrate", runs, "--machine", machine, "--flips", runs, "--shown", runs
    )
    assert "--seed and --for" in refusal(
        capsys, "calibrate", runs, "--machine", machine, "--seed", "3"
    )
    assert "no such file" in refusal(capsys, "calibrate", "nope.csv", "--machine", machine)
    (tmp_path / "empty.csv").write_text("")
    assert "it is empty" in refusal(
        capsys, "calibrate", str(tmp_path / "empty.csv"), "--machine", machine
    )
    (tmp_path / "latin.csv").write_bytes(b"run,shown,laps,laps_time_s\n1,2.5\xb5,3,4\n")
    assert "not UTF-8" in refusal(
        capsys, "calibrate", str(tmp_path / "latin.csv"), "--machine", machine
    )
    open_store().close()
    assert "no result 99" in refusal(capsys, "report", "99", "-o", str(tmp_path / "x.pdf"))
    assert "ends in" in refusal(capsys, "report", "1", "-o", str(tmp_path / "x.doc"))


# Recordings: edges of a belt whose speed is known, with a lap mark; a readout 3 % high.

ERROR = 0.03


def recording(path, speed_at, seconds):
    """Edge table of a belt whose speed is `speed_at(t)`; (times, distance) to look up."""
    time_s = np.arange(0, seconds, 0.002)
    metres = np.concatenate([[0], np.cumsum(speed_at(time_s[:-1]) * 0.002)])
    rng = np.random.default_rng(1)
    rows = []
    for channel, pitch in (("left", PULSE_M), ("lap", LAP_M)):
        at = np.arange(0.3 * pitch, metres[-1], pitch)
        times = np.interp(at, metres, time_s)
        if channel == "left":
            times = times + rng.normal(0, 1e-5, times.size)
        rows += [(t, channel) for t in times]
    rows.sort()
    path.write_text("time_s,channel\n" + "".join(f"{t:.7f},{name}\n" for t, name in rows))
    return str(path)


@pytest.fixture(scope="module")
def steady(tmp_path_factory):
    steps = ((0, 0.95), (40, 1.10), (80, 1.30))

    def speed_at(t):
        return np.select([t < 40, t < 80], [steps[0][1], steps[1][1]], steps[2][1])

    return recording(tmp_path_factory.mktemp("steady") / "steady.csv", speed_at, 120)


def ramp_speed(t):
    phase = (t / 60) % 2
    return 0.9 + 0.4 * np.where(phase < 1, phase, 2 - phase)


@pytest.fixture(scope="module")
def ramped(tmp_path_factory):
    return recording(tmp_path_factory.mktemp("ramp") / "ramp.csv", ramp_speed, 240)


def test_steady_stretches_with_what_was_shown(tmp_path, capsys, machine, steady):
    shown = tmp_path / "shown.csv"
    rows = [(2, 38, 0.95), (42, 78, 1.10), (82, 118, 1.30)]
    lines = [f"{a},{b},{round((1 + ERROR) * v / MPH, 1)}" for a, b, v in rows]
    shown.write_text("\n".join([",".join(SHOWN_COLUMNS), *lines, "30,50,2.3", "5,1,2.3"]) + "\n")
    _, answer, _ = run(capsys, steady, "--machine", machine, "--shown", str(shown))
    assert answer["error_at_work"] == pytest.approx(ERROR, abs=answer["U_error_at_work"])
    assert [run["laps"] for run in answer["runs"]] == [3, 3, 5]
    for run_found, (_, _, v) in zip(answer["runs"], rows, strict=True):
        assert run_found["true_mps"] == pytest.approx(v, abs=3 * run_found["u_true_mps"])
    assert any("line 5: the speed changed by" in text for text in answer["warnings"])
    assert any("line 6: from_s must be before to_s" in text for text in answer["warnings"])
    assert "mark on the belt" in answer["method"]


def test_change_overs_by_key(tmp_path, capsys, machine, ramped, dcc_schema):
    rng = np.random.default_rng(2)
    time_s = np.arange(1, 239, 0.01)
    shown = np.round((1 + ERROR) * ramp_speed(time_s - 0.5) / MPH, 1)
    flips = ["time_s,shown,direction"]
    for at in np.flatnonzero(np.diff(shown)):
        pressed = time_s[at] + rng.normal(0.11, 0.07)
        way = "up" if shown[at + 1] > shown[at] else "down"
        flips.append(f"{pressed:.2f},{shown[at + 1]:.1f},{way}")
    path = tmp_path / "flips.csv"
    path.write_text("\n".join([*flips, "12.0,2.3,sideways", "abc,2.3,up"]) + "\n")
    certificate = tmp_path / "ramp.xml"
    words = ("--machine", machine, "--flips", str(path), "--report", str(certificate))
    _, answer, _ = run(capsys, ramped, *words)
    dcc_schema.validate(str(certificate))
    points = len(answer["change_overs"]["points"])
    assert certificate.read_text("utf-8").count(">Change-over ") == points > 9
    assert answer["error_at_work"] == pytest.approx(ERROR, abs=answer["U_error_at_work"])
    assert answer["u_error_at_work"] < 0.1 / np.sqrt(12) / 2.5 / 5
    assert answer["change_overs"]["lag_s"] == pytest.approx(0.61, abs=0.1)
    assert any("expected up or down" in text for text in answer["warnings"])
    assert any("expected a number" in text for text in answer["warnings"])
    out = tmp_path / "ramp.pdf"
    assert main(
        ["calibrate", ramped, "--machine", machine, "--flips", str(path), "--report", str(out)]
    )
    assert out.read_bytes().startswith(b"%PDF")


def test_a_recording_that_shows_nothing_says_where_it_is_steady(capsys, machine, steady, ramped):
    said = refusal(capsys, "calibrate", steady, "--machine", machine)
    assert "--shown FILE" in said
    assert ",".join(FLIP_COLUMNS) in said
    assert "Steady stretches: 3 to 39 s, 44 to 79 s and 84 to 120 s." in said
    assert "no steady stretch" in refusal(capsys, "calibrate", ramped, "--machine", machine)


def test_a_recording_of_another_machine_is_said_to_be(tmp_path, capsys, machine, steady):
    assert main(["import", steady, "--machine", machine, "--json"]) == 0
    number = str(json.loads(capsys.readouterr().out)["recording"])
    shown = tmp_path / "shown.csv"
    shown.write_text("from_s,to_s,shown\n2,38,2.2\n42,78,2.5\n")
    other = tmp_path / "other.toml"
    other.write_text(MACHINE.replace("shop's own", "the neighbour's"))
    _, answer, _ = run(capsys, number, "--machine", str(other), "--shown", str(shown))
    assert any("made of 'shop's own'" in text for text in answer["warnings"])
    assert main(["verify", str(answer["result"])]) == 0
    capsys.readouterr()
    _, answer, _ = run(capsys, number, "--shown", str(shown))
    assert not any("was made of" in text for text in answer["warnings"])


def test_the_simulated_shop_by_its_own_readout(capsys):
    """The change-over points of the simulator's display against its digits, and its own truth."""
    driver = open_input("sim:readout-ramp?seed=5&pace=fast")
    with driver:
        truth = driver.truth().readout_error_rel
    _, ramp, _ = run(capsys, "sim:readout-ramp", "--seed", "5", "--for", "260s")
    assert ramp["simulated"] is True
    assert ramp["error_at_work"] == pytest.approx(truth, abs=ramp["U_error_at_work"])
    typed = 0.1 / np.sqrt(12) / 2.5
    assert ramp["u_error_at_work"] < typed / 5
    _, digits, _ = run(capsys, "sim:calibration-shop", "--seed", "5", "--for", "190s")
    assert digits["error_at_work"] == pytest.approx(truth, abs=digits["U_error_at_work"])
    assert ramp["u_error_at_work"] < digits["u_error_at_work"] / 5
