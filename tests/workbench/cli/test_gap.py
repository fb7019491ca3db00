"""`evenpace gap` as its user calls it: tables, edge tables, the simulator, the store."""

import csv
import json
import re
from pathlib import Path

import numpy as np
import pytest

from tests.workbench.cli.calling import refusal
from workbench.cli import main
from workbench.records.store import open_store

HEADER = "pickup,angle_deg,gap_m\n"
MACHINE = """
name = "Demonstration digger"
[drive]
target_teeth = 24
kind = "sprocket"
sprocket_teeth = 8
rod_pitch_m = 0.05
[pickup]
kind = "variable-reluctance"
gap_best_m = 0.0015
gap_max_m = 0.0030
"""


@pytest.fixture(autouse=True)
def in_the_shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "digger.toml").write_text(MACHINE)


@pytest.fixture
def gap(capsys: pytest.CaptureFixture[str]):
    """Runs `evenpace gap` with --json; (exit status, answer)."""

    def call(*words: str) -> tuple[int, dict]:
        capsys.readouterr()
        status = main(["gap", *words, "--json"])
        out = capsys.readouterr().out
        return status, json.loads(out) if out else {}

    return call


@pytest.fixture
def refused(capsys: pytest.CaptureFixture[str]):
    """Runs `evenpace gap`, expects a sentence and exit status 2, and gives the sentence."""

    def call(*words: str) -> str:
        return refusal(capsys, "gap", *words)

    return call


def table(path: str, *pickups: tuple[str, float, float]) -> str:
    """A gap table of pickups (name, mean, eccentricity in mm), eight angles, read twice."""
    rows = [
        f"{name},{angle},{(mean + e * np.cos(np.radians(angle - 45))) / 1000:.6f}"
        for name, mean, e in pickups
        for angle in [*range(0, 360, 45)] * 2
    ]
    Path(path).write_text(HEADER + "\n".join(rows) + "\n")
    return path


def edges(path: str, channels: dict[str, np.ndarray], volts: float | None = None) -> str:
    """An edge table; with `volts` each edge carries a voltage of that many volts."""
    rows = sorted((time, name) for name, times in channels.items() for time in times)
    tail = "" if volts is None else f",{volts}"
    head = "time_s,channel" + ("" if volts is None else ",amplitude_v")
    Path(path).write_text(head + "\n" + "".join(f"{t:.9f},{name}{tail}\n" for t, name in rows))
    return path


def test_one_pickup_of_a_table(gap) -> None:
    status, answer = gap(table("one.csv", ("left", 1.6, 0.1)), "--machine", "digger.toml")
    assert status == 0
    assert answer["verdict"] == "pass"
    assert answer["gap_m"] == pytest.approx(0.0016)
    assert answer["runout_m"] == pytest.approx(0.0002, rel=0.01)
    assert answer["U_gap_m"] == pytest.approx(answer["k"] * answer["u_gap_m"])
    assert answer["widest_angle_deg"] == pytest.approx(45, abs=0.1)
    assert answer["gap_max_m"] == 0.003
    assert answer["teeth"] is answer["missed"] is answer["extra"] is None
    assert answer["warnings"] == []
    assert isinstance(answer["result"], int)


def test_many_pickups_of_a_table_take_the_worst_verdict(gap) -> None:
    words = table("many.csv", ("a / left", 1.6, 0.1), ("a / right", 3.6, 0.1), ("b / left", 1.5, 0))
    status, answer = gap(words, "--machine", "digger.toml", "--summary", "out.csv")
    assert status == 1
    assert [one["verdict"] for one in answer["pickups"]] == ["pass", "fail", "pass"]
    assert answer["summary"] == {"pass": 2, "fail": 1}
    assert answer["verdict"] == "fail"
    assert answer["pickup"] == "a / right"
    assert answer["gap_m"] == pytest.approx(0.0036)
    with Path("out.csv").open() as file:
        assert [row["verdict"] for row in csv.DictReader(file)] == ["pass", "fail", "pass"]


def test_without_a_machine_the_limits_are_said_to_be_common_practice(gap) -> None:
    _, answer = gap(table("one.csv", ("left", 1.6, 0.1)))
    assert answer["gap_best_m"] == 0.0016
    assert "common practice" in answer["warnings"][0]


@pytest.mark.parametrize(
    ("units", "advice", "foreign"),
    [
        ("metric", "1.40 mm closer, to 1.50 mm on average", r"\d in\b"),
        ("us", "0.055 in closer, to 0.059 in on average", r"\d mm\b"),
    ],
)
def test_a_person_gets_a_table_and_the_caution_before_it(capsys, units, advice, foreign) -> None:
    words = [table("one.csv", ("left", 2.9, 0.05)), "--machine", "digger.toml", "--units", units]
    assert main(["gap", *words, "--report", "out.html"]) == 0
    printed = capsys.readouterr()
    said = " ".join(printed.out.split())
    for text in (said, re.sub(r"<[^>]*>", "", Path("out.html").read_text(encoding="utf-8"))):
        assert advice in text
        assert not re.search(foreign, text)
    assert "release the hydraulic pressure" in printed.err
    assert "qualified persons" in printed.err
    assert main(["gap", table("two.csv", ("l", 1.5, 0.1), ("r", 1.5, 0.1))]) == 0
    assert "2 pickups: 2 pass." in capsys.readouterr().out


def test_results_verify_and_reports_are_written(gap, capsys) -> None:
    words = table("one.csv", ("left", 1.6, 0.1))
    _, answer = gap(words, "--report", "out.pdf", "--machine", "digger.toml")
    assert Path("out.pdf").read_bytes().startswith(b"%PDF")
    assert main(["verify", str(answer["result"]), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["verified"] is True
    with open_store() as store:
        stored = store.result(answer["result"])
    assert stored.kind == "gap"
    assert stored.table == Path("one.csv").read_text()


def test_a_store_that_cannot_be_opened_costs_a_warning_not_the_answer(gap) -> None:
    Path("other.db").write_text("this is no database")
    status, answer = gap(table("one.csv", ("left", 1.6, 0.1)), "--store", "other.db")
    assert status == 0
    assert answer["verdict"] == "pass"
    assert "result" not in answer
    assert "The answer was not stored" in answer["warnings"][-1]


def test_an_edge_table_names_the_bent_tooth_and_the_missing_one(gap, wheel) -> None:
    rng = np.random.default_rng(3)
    left, right = wheel(bent={5: 0.12})(rng), wheel(missing=(9,))(rng)
    words = edges("both.csv", {"left": left, "right": right})
    status, answer = gap(words, "--machine", "digger.toml")
    assert status == 1
    by_name = {one["pickup"]: one for one in answer["pickups"]}
    assert [(f["kind"], f["tooth"]) for f in by_name["left"]["faults"]] == [("bent tooth", 6)]
    assert [(f["kind"], f["tooth"]) for f in by_name["right"]["faults"]] == [("missing tooth", 10)]
    assert by_name["right"]["missed"] == 60
    assert by_name["left"]["gap_m"] is None
    assert "no mark" in answer["counted_from"]
    _, alone = gap(words, "--channel", "left", "--pitch-radius", "50 mm")
    assert alone["teeth"] == 24
    assert alone["runout_m"] == pytest.approx(2 * 0.05 * alone["eccentricity_rel"])


def test_a_mark_channel_numbers_the_teeth(gap, wheel) -> None:
    left = wheel(bent={5: 0.12})(np.random.default_rng(3))
    mark = left[24 * np.arange(10) + 3] - 1e-4
    _, answer = gap(edges("m.csv", {"left": left, "mark": mark}), "--machine", "digger.toml")
    assert answer["pickup"] == "left"
    assert answer["faults"][0]["tooth"] == 3
    assert "the first after the mark of 'mark'" in answer["counted_from"]
    _, other = gap(edges("m2.csv", {"left": left, "hall": mark}), "--mark", "hall")
    assert other["faults"][0]["tooth"] == 3


def test_a_wrong_tooth_count_is_said(gap, wheel) -> None:
    words = edges("left.csv", {"left": wheel(teeth=30)(np.random.default_rng(3))})
    _, answer = gap(words, "--machine", "digger.toml")
    assert answer["teeth"] == 30
    assert "repeats after 30 teeth, but the machine file says 24" in answer["warnings"][0]


def test_repeat_measurements_are_charted_with_those_stored_before(gap) -> None:
    rng = np.random.default_rng(4)
    for day in range(3):
        values = 0.0016 + rng.normal(0, 3e-5, 8) + (1e-4 if day == 2 else 0)
        rows = "".join(f"set block,0,{value:.5f}\n" for value in values)
        Path(f"day{day}.csv").write_text(HEADER + rows)
        words = (f"day{day}.csv", "--control", "set block", "--target", "1.6 mm")
        status, answer = gap(*words)
    assert len(answer["control"]["gap_m"]) == 24
    assert answer["control"]["in_control"] is False
    assert "read wider than 1.60 mm" in answer["control"]["sentence"]
    said = {one["at"]: one for one in answer["statements"]}["control.sentence"]
    assert said["what"] == "repeats_wider"
    assert said["values"]["target_m"] == 0.0016
    assert status == 0
    again = gap(*words)[1]  # the same table once more is not measured once more
    assert len(again["control"]["gap_m"]) == 24


def record(scenario: str, seconds: str, capsys) -> str:
    capsys.readouterr()
    assert main(["record", scenario, "--for", seconds, "--json"]) == 0
    return str(json.loads(capsys.readouterr().out)["recording"])


def sim(name: str, left: str, seed: int, base: str = "calibration-shop") -> str:
    text = f'title = "x"\nparagraph = "x"\nbase = "{base}"\n[left]\n{left}\n[right]\nfitted = 0\n'
    Path(f"{name}.toml").write_text(text)
    return f"sim:{Path(name + '.toml').resolve()}?seed={seed}&pace=fast"


def test_the_shops_baseline_tells_the_gap_of_the_next_machine(gap, refused, capsys) -> None:
    # Truth from the simulator, whose voltage falls by Wallace's law; decay λ/2π = 1.833 mm.
    for seed, gap_mm in ((1, 1.0), (2, 2.8)):
        number = record(sim(f"base{seed}", f"gap_m = {gap_mm / 1000}", seed), "20s", capsys)
        _, reading = gap(number, "--at-gap", f"{gap_mm} mm")
        assert reading["baseline_reading"]["gap_m"] == pytest.approx(gap_mm / 1000)
        if seed == 1:
            assert "needs another reading at a gap" in reading["warnings"][0]
    assert reading["amplitude_law"]["decay_m"] == pytest.approx(0.001833, rel=0.03)
    number = record(sim("next", "gap_m = 0.0019\nrunout_m = 0.0002", 7), "20s", capsys)
    _, answer = gap(number)
    assert answer["gap_m"] == pytest.approx(0.0019, abs=answer["U_gap_m"])
    assert answer["runout_m"] == pytest.approx(0.0004, abs=answer["U_runout_m"] + 2e-5)
    assert answer["verdict"] == "pass"
    assert main(["verify", str(answer["result"])]) == 0
    message = refused(sim("next", "gap_m = 0.0019", 7), "--at-gap", "2")
    assert "evenpace import FILE" in message


def test_a_drop_out_run_gives_speed_margin_and_gap(gap, capsys) -> None:
    for seed, gap_mm in ((1, 1.0), (2, 2.8)):
        number = record(sim(f"base{seed}", f"gap_m = {gap_mm / 1000}", seed), "20s", capsys)
        gap(number, "--at-gap", f"{gap_mm} mm")
    # 3 V at 1 m/s and 1.6 mm, threshold 0.5 V: all teeth go at 0.167 m/s·exp(0.82/1.833).
    left = "gap_m = 0.0024\nrunout_m = 0.00002\nnoise_v = 0.01"
    address = sim("slow", left, 3, base="drop-out-run")
    status, answer = gap(record(address, "150s", capsys), "--drop-out")
    assert status == 0
    drop = answer["drop_out"]
    surface_mps = 0.5 / 3.0 * np.exp(0.00082 / 0.001833)
    rate_hz = surface_mps / (2 * np.pi * 0.055 / 30)
    assert drop["tooth_rate_hz"] == pytest.approx(rate_hz, abs=3 * drop["u_tooth_rate_hz"])
    assert drop["margin"] == pytest.approx(0.894 / drop["speed_mps"], rel=1e-6)
    limit_m = 0.0024 + 0.001833 * np.log(drop["margin"])
    assert drop["gap_at_limit_m"] == pytest.approx(limit_m, abs=drop["U_gap_at_limit_m"])
    assert answer["verdict"] == "pass"


@pytest.mark.parametrize(
    ("scenario", "fault"),
    [
        ("healthy", None),
        ("bent-tooth", "bent tooth"),
        ("missing-tooth", "missing tooth"),
        ("worn-tooth", "chipped or worn tooth"),
        ("gap-too-wide", "lost pulses"),
    ],
)
def test_the_simulators_faults_are_named(gap, scenario: str, fault: str | None) -> None:
    for seed in ("1", "2"):
        status, answer = gap(f"sim:{scenario}", "--seed", seed, "--for", "40s")
        kinds = {one["pickup"]: [f["kind"] for f in one["faults"]] for one in answer["pickups"]}
        assert kinds["left"] == ([fault] if fault else [])
        assert kinds["right"] == []
        assert status == (1 if fault else 0)
        assert answer["simulated"] is True


def test_an_earlier_result_tells_whether_it_is_the_same_wheel(gap, capsys) -> None:
    first = record(sim("a", "gap_m = 0.0016", 1), "20s", capsys)
    result = gap(first)[1]["result"]
    same = gap(record(sim("a", "gap_m = 0.0018", 1), "15s", capsys), "--before", str(result))[1]
    assert same["before"]["same_wheel"] is True
    other = gap(record(sim("a", "gap_m = 0.0016", 2), "15s", capsys), "--before", str(result))[1]
    assert other["before"]["same_wheel"] is False


BROKEN = {
    "empty.csv": ("pickup,angle_deg,gap_m\n", "there are no readings"),
    "inches.csv": (HEADER + "left,0,0.062\n", "line 2: .* looks like inches"),
    "angle.csv": ("pickup,gap_m\nleft,0.0016\n", "no column 'angle_deg' in"),
    "words.csv": (HEADER + "left,top,0.0016\n", "line 2: 'top' in column 'angle_deg'"),
    "short.csv": ("time_s,channel\n0,left\n1,left\n", "has 2 pulses; at least two turns"),
    "turn.csv": (
        "time_s,channel\n" + "".join(f"{i / 70},left\n" for i in range(40)),
        "holds 1.6 turns of a wheel of 24 teeth; at least two are needed .*, about 3 s",
    ),
    "speeds.csv": ("time_s,source,speed_mps\n0,wheel,1\n", "no pulses of a pickup"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_broken_input_gets_a_sentence(refused, name: str) -> None:
    text, says = BROKEN[name]
    Path(name).write_text(text)
    message = refused(name, "--machine", "digger.toml")
    assert message.startswith("evenpace gap: ")
    assert re.search(says, message), message
    with open_store() as store:
        assert store.results() == []


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("one.csv", "--at-gap", "2"), "--at-gap goes with a recording"),
        (("one.csv", "--drop-out"), "--drop-out goes with a recording"),
        (("one.csv", "--seed", "1"), "--seed and --for go with sim:SCENARIO"),
        (("one.csv", "--channel", "x"), "the table has no pickup 'x'; it has 'left'"),
        (("one.csv", "--control", "x"), "the table has no pickup 'x'; it has 'left'"),
        (("one.csv", "--report", "x.doc"), "a report ends in .pdf, .html, .json"),
        (("sim:healthy", "--control", "x"), "--control and --target go with a gap table"),
        (("sim:healthy", "--channel", "x"), "no pulse channel 'x'; its pulse channels: left"),
        (("sim:healthy", "--mark", "x"), "has no channel 'x'"),
        (("sim:healthy", "--drop-out", "--for", "20s"), "The belt was not slowed"),
        (("sim:healthy", "--before", "9"), "There is no result 9"),
    ],
)
def test_a_wrong_call_gets_a_sentence(refused, words: tuple[str, ...], says: str) -> None:
    table("one.csv", ("left", 1.6, 0.1))
    open_store().close()
    assert says in refused(*words)


def test_a_summary_that_cannot_be_written_hides_no_answer(capsys) -> None:
    table("one.csv", ("left", 1.6, 0.1))
    assert main(["gap", "one.csv", "--summary", "no/x.csv"]) == 2
    printed = capsys.readouterr()
    assert "Mean gap" in printed.out
    assert "no/x.csv cannot be written" in printed.err


def test_a_table_that_is_not_text_is_refused(refused) -> None:
    Path("u.csv").write_bytes(b"pickup,angle_deg,gap_m\nx,0,0.001\n\xff\xfe")
    assert "is not UTF-8 text" in refused("u.csv")


def test_what_may_touch_stands_in_the_table_itself(capsys: pytest.CaptureFixture[str]) -> None:
    """0.5 mm is under half the best gap: a pass by its limits, and yet a tooth may touch."""
    table("one.csv", ("left", 0.55, 0.1))
    table("two.csv", ("left", 0.55, 0.1), ("right", 1.6, 0.1))
    main(["gap", "one.csv", "--machine", "digger.toml"])
    alone = " ".join(capsys.readouterr().out.split())
    assert "Heed" in alone
    assert "a tooth may touch the pickup" in alone
    main(["gap", "two.csv", "--machine", "digger.toml"])
    several = " ".join(capsys.readouterr().out.split())
    assert "left: The closest point" in several
    assert "right: " not in several


def test_as_found_and_as_left_stand_in_one_answer(gap, tmp_path, capsys) -> None:
    found = table("found.csv", ("left", 3.7, 0.1), ("right", 1.6, 0.1))
    left = table("left.csv", ("left", 1.6, 0.1))
    words = (found, "--machine", "digger.toml")
    assert gap(*words)[0] == 1
    status, answer = gap(*words, "--as-left", left)
    assert status == 0  # as it was left
    assert answer["verdict"] == "fail"
    assert answer["gap_m"] == pytest.approx(0.0037, abs=2e-6)
    then = answer["as_left"]
    assert (then["verdict"], then["checked_again"]) == ("pass", ["left"])
    gaps = {one["pickup"]: one["gap_m"] for one in then["pickups"]}
    assert gaps == {name: pytest.approx(0.0016, abs=2e-6) for name in ("left", "right")}
    with open_store() as store:
        assert store.cards()[0].as_left == "pass"
    assert main(["verify", str(answer["result"])]) == 0
    capsys.readouterr()
    files = ("--report", "a.html", "--summary", "a.csv", "--units", "metric")
    assert main(["gap", *words, "--as-left", left, *files]) == 0
    printed = capsys.readouterr().out
    assert "fail, 3.80 " in printed
    assert "As left, 2 pickups: 2 pass." in printed
    text = re.sub(r"<[^>]*>", " ", Path("a.html").read_text("utf-8"))
    assert "fail, 3.80 mm at 45°" in text
    assert "not adjusted" in text
    rows = list(csv.DictReader(Path("a.csv").read_text("utf-8").splitlines()))
    assert [row["verdict_as_found"] for row in rows] == ["fail", ""]
    assert float(rows[0]["widest_as_found_m"]) == pytest.approx(0.0038, abs=2e-6)


def test_one_pickup_adjusted_is_told_before_and_after(gap, tmp_path, capsys) -> None:
    found, left = table("found.csv", ("left", 3.7, 0.1)), table("left.csv", ("left", 1.6, 0.1))
    status, answer = gap(found, "--as-left", left, "--machine", "digger.toml")
    assert (status, answer["verdict"], answer["as_left"]["verdict"]) == (0, "fail", "pass")
    assert main(["report", str(answer["result"]), "-o", "a.json", "--units", "metric"]) == 0
    first, second = json.loads(Path("a.json").read_text("utf-8"))["blocks"][:2]
    assert (first["verdict"], second["verdict"]) == ("pass", "fail")
    assert first["sentence"].startswith("left, as left: The gap is 1.60")
    assert second["sentence"].startswith("As found: The gap is 3.70")
    capsys.readouterr()
    assert main(["gap", left, "--as-left", found]) == 1  # left worse than it was found
    assert "adjusted and checked again, as left" in capsys.readouterr().out


def test_what_was_not_read_as_found_cannot_be_as_left(refused, tmp_path) -> None:
    found, left = table("found.csv", ("left", 3.7, 0.1)), table("left.csv", ("right", 1.6, 0.1))
    assert "left.csv, line 2: the pickup 'right' was not read" in refused(found, "--as-left", left)
    assert "--as-left goes with a gap table" in refused("sim:bent-tooth", "--as-left", left)
