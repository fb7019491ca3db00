"""`evenpace speed` and `evenpace pass` as their users call them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.workbench.cli.calling import answer_of, refusal
from workbench.cli import main
from workbench.records.store import open_store

MACHINE = """
name = "Demo digger"
[drive]
target_teeth = 24
kind = "sprocket"
sprocket_teeth = 10
rod_pitch_m = 0.0381
measured_on = 2026-09-14
[pickup]
clock_ppm = 50
"""


@pytest.fixture
def machine(tmp_path: Path) -> str:
    path = tmp_path / "machine.toml"
    path.write_text(MACHINE)
    return str(path)


@pytest.fixture
def edges(tmp_path: Path) -> str:
    """Belt at 1.2 m/s exactly, a tooth error of 1 %; invented data."""
    rng = np.random.default_rng(0)
    offset = rng.normal(0, 0.01, 24)
    index = np.arange(24 * 60)
    time_s = 0.381 / 24 / 1.2 * (index + offset[index % 24]) + rng.normal(0, 20e-6, index.size)
    path = tmp_path / "edges.csv"
    path.write_text("time_s,channel\n" + "".join(f"{t:.7f},belt\n" for t in np.sort(time_s)))
    return str(path)


def test_belt_speed_of_an_edge_table(
    capsys: pytest.CaptureFixture[str], edges: str, machine: str
) -> None:
    status, answer = answer_of(capsys, "speed", edges, "--machine", machine)
    assert status == 0
    assert answer["belt_speed_mps"] == pytest.approx(1.2, abs=answer["U_belt_speed_mps"])
    assert answer["u_pulse_rate_hz"] / answer["pulse_rate_hz"] < 1e-6
    assert (answer["edges"], answer["missed"], answer["extra"]) == (1440, 0, 0)
    assert answer["target_teeth_seen"] == 24
    assert answer["turns"] == pytest.approx(60, abs=0.1)
    assert answer["warnings"] == []


def test_the_clock_of_a_table_is_asked_for_and_wide_until_it_is_told(
    capsys: pytest.CaptureFixture[str], edges: str, machine: str, tmp_path: Path
) -> None:
    """A small board's ceramic resonator is good to 0.5 % (from memory), a crystal to 50 ppm
    (common practice): a table that was stamped by the former is 0.3 % off, and says so."""
    untold = tmp_path / "untold.toml"
    untold.write_text(MACHINE.replace("clock_ppm = 50", ""))
    fast = tmp_path / "fast.csv"
    rows = [line.split(",") for line in Path(edges).read_text().splitlines()[1:]]
    fast.write_text("time_s,channel\n" + "".join(f"{1.003 * float(t):.7f},{c}\n" for t, c in rows))
    _, answer = answer_of(capsys, "speed", str(fast), "--machine", str(untold))
    assert answer["belt_speed_mps"] == pytest.approx(1.2, abs=answer["U_belt_speed_mps"])
    assert answer["u_parts_rel"]["clock"] == pytest.approx(0.005 / 3**0.5, rel=0.05)
    assert any("pickup.clock_ppm" in warning for warning in answer["warnings"])
    _, told = answer_of(capsys, "speed", edges, "--machine", machine)
    assert told["u_parts_rel"]["clock"] == pytest.approx(50e-6 / 3**0.5, rel=1e-6)
    assert told["U_belt_speed_mps"] < 0.5 * answer["U_belt_speed_mps"]


def test_a_wrong_tooth_count_is_called_out(
    capsys: pytest.CaptureFixture[str], edges: str, tmp_path: Path
) -> None:
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(MACHINE.replace("= 24", "= 25"))
    _, answer = answer_of(capsys, "speed", edges, "--machine", str(wrong))
    assert answer["target_teeth_seen"] == 24
    assert any("repeats after 24 teeth" in warning for warning in answer["warnings"])


def test_without_a_machine_there_is_a_rate_but_no_speed(
    capsys: pytest.CaptureFixture[str], edges: str
) -> None:
    status, answer = answer_of(capsys, "speed", edges)
    assert status == 0
    assert answer["belt_speed_mps"] is None
    assert answer["pulse_rate_hz"] == pytest.approx(1.2 * 24 / 0.381, rel=1e-5)
    assert "machine" in answer["warnings"][0]


def test_the_table_for_people_says_the_same(
    capsys: pytest.CaptureFixture[str], edges: str, machine: str
) -> None:
    for units, said in (("metric", "4.3200 ± 0.0086 km/h"), ("us", "2.6843 ± 0.0054 mph")):
        assert main(["speed", edges, "--machine", machine, "--units", units]) == 0
        assert said in capsys.readouterr().out
    assert main(["speed", edges, "--machine", machine]) == 0
    said = capsys.readouterr()
    assert said.err == ""


def speed_table(path: Path, belt_mps: float, ground_mps: float, seconds: float = 60) -> str:
    rng = np.random.default_rng(1)
    lines = ["time_s,source,speed_mps"]
    for time_s in np.arange(0, seconds, 0.1):
        lines.append(f"{time_s:.2f},belt,{belt_mps + rng.normal(0, 0.01):.4f}")
        lines.append(f"{time_s + 0.03:.2f},ground,{ground_mps + rng.normal(0, 0.01):.4f}")
    path.write_text("\n".join(lines) + "\n")
    return str(path)


@pytest.mark.parametrize(
    ("belt_mps", "verdict", "status"), [(1.2, "pass", 0), (1.0, "fail", 1), (1.5, "fail", 1)]
)
def test_a_pass_is_judged_and_the_exit_status_says_so(
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    belt_mps: float,
    verdict: str,
    status: int,
) -> None:
    table = speed_table(tmp_path / "pass.csv", belt_mps, 1.2)
    got, answer = answer_of(capsys, "pass", table, "--belt", "belt", "--ground", "ground")
    assert (got, answer["verdict"]) == (status, verdict)
    assert answer["ratio"] == pytest.approx(belt_mps / 1.2, abs=0.003)


def test_pulses_against_a_ground_source(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, edges: str, machine: str
) -> None:
    """An edge table holds no ground speed: the answer is 'cannot tell', and says why."""
    status, answer = answer_of(capsys, "pass", edges, "--machine", machine)
    assert (status, answer["verdict"], answer["ratio"]) == (0, "cannot tell", None)
    assert "known to be the ground; it holds no speed source" in answer["reason"]
    assert main(["pass", edges, "--machine", machine]) == 0
    assert "--ground SOURCE" in capsys.readouterr().err


def test_wrong_calls_get_a_sentence(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, edges: str, machine: str
) -> None:
    table = speed_table(tmp_path / "pass.csv", 1.2, 1.2, 8)
    assert "it holds belt and ground" in refusal(capsys, "pass", table, "--belt", "wheel")
    assert "cannot be both belt and ground" in refusal(
        capsys, "pass", edges, "--belt", "belt", "--ground", "belt"
    )
    assert "no pulse channel 'left'" in refusal(capsys, "speed", edges, "--channel", "left")
    assert "--seed and --for go with sim:" in refusal(capsys, "speed", edges, "--seed", "3")
    assert "nothere.toml" in refusal(capsys, "speed", edges, "--machine", "nothere.toml")
    assert "nothere.csv" in refusal(capsys, "speed", "nothere.csv")
    open_store().close()
    assert "no recording" in refusal(capsys, "speed", "999999999").lower()


def with_marks(edges: str, path: Path) -> str:
    """The belt's edges behind those of a radar and of three marks."""
    rows = [f"{0.1 * at:.3f},{name}" for name in ("radar", "index", "mark", "lap") for at in (1, 2)]
    header, _, rest = Path(edges).read_text().partition("\n")
    path.write_text("\n".join([header, *rows, rest]))
    return str(path)


def test_marks_and_radar_pulses_are_not_taken_for_the_belt(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, edges: str, machine: str
) -> None:
    table = with_marks(edges, tmp_path / "all.csv")
    _, answer = answer_of(capsys, "speed", table, "--machine", machine)
    assert answer["channel"] == "belt"
    _, answer = answer_of(capsys, "pass", table, "--machine", machine)
    assert answer["belt"] == "belt"
    _, answer = answer_of(capsys, "gap", table, "--machine", machine)
    assert answer["pickup"] == "belt"
    assert "mark of 'index'" in answer["counted_from"]
    _, answer = answer_of(capsys, "speed", table, "--channel", "radar")
    assert (answer["channel"], answer["edges"]) == ("radar", 2)
    assert "needs a machine file" in refusal(
        capsys, "pass", table, "--belt", "radar", "--ground", "belt"
    )


def test_a_length_of_time_is_understood_or_refused(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as refused:
        main(["speed", "sim:healthy", "--for", "soon"])
    assert refused.value.code == 2
    assert "'soon' is no length of time" in capsys.readouterr().err


# What others recorded. The figures are those of the notes that came with the recordings.


def test_car_wheel_against_gnss(capsys: pytest.CaptureFixture[str], data_dir: Path) -> None:
    """Mean GNSS ÷ wheel 1.0077, and the GNSS about 0.37 s behind."""
    table = str(data_dir / "car_wheel_gnss.csv")
    status, answer = answer_of(capsys, "pass", table, "--belt", "wheel", "--ground", "gnss")
    assert (status, answer["verdict"]) == (0, "pass")
    assert answer["ratio"] == pytest.approx(1 / 1.0077, abs=answer["U_ratio"])
    assert answer["U_ratio"] < 0.01
    assert answer["lag_s"] == pytest.approx(0.37, abs=2 * answer["u_lag_s"])
    assert answer["u_lag_s"] < 0.1


def test_two_boat_speeds_that_disagree(capsys: pytest.CaptureFixture[str], data_dir: Path) -> None:
    """Speed through water against speed over ground: slope through the origin 0.678."""
    boat = str(data_dir / "boat_n2k_two_speeds.raw")
    status, answer = answer_of(
        capsys, "pass", boat, "--belt", "128259-water/35", "--ground", "129026/25"
    )
    assert (status, answer["verdict"]) == (1, "fail")
    assert answer["ratio"] == pytest.approx(0.678, abs=answer["U_ratio"])
    assert answer["separation_m"] == pytest.approx(-253, abs=10)


@pytest.mark.parametrize(
    ("name", "belt", "ground"),
    [
        ("tractor_isobus_idle.txt", "65096/240", "65097/240"),
        ("tractor_isobus_idle.txt", None, None),
        ("tractor_j1939_start.csv", "65265/71", "65097/71"),
        ("tractor_j1939_start.csv", None, None),
    ],
)
def test_not_available_stays_no_value(
    capsys: pytest.CaptureFixture[str],
    data_dir: Path,
    name: str,
    belt: str | None,
    ground: str | None,
) -> None:
    named = ["--belt", belt, "--ground", ground] if belt and ground else []
    status, answer = answer_of(capsys, "pass", str(data_dir / name), *named)
    assert (status, answer["verdict"], answer["ratio"]) == (0, "cannot tell", None)
    assert "no value" in answer["reason"]


def test_walking_receiver(capsys: pytest.CaptureFixture[str], data_dir: Path) -> None:
    """RMC speeds 0 to 2.67 m/s, six of them without a fix; 72.6 m by speed, not 192.5 m."""
    _, answer = answer_of(capsys, "speed", str(data_dir / "gnss_walking.nmea"))
    rmc = next(speed for speed in answer["speeds"] if speed["source"] == "rmc")
    assert rmc["no_value"] == 6
    assert (rmc["lowest_mps"], rmc["highest_mps"]) == (0.0, pytest.approx(2.67, abs=0.005))
    assert rmc["speed_mps"] * (rmc["values"] - 1) == pytest.approx(72.6, rel=0.07)
    assert 0.0149 <= rmc["u_speed_mps"] < 0.2


def test_weak_fix_receiver(capsys: pytest.CaptureFixture[str], data_dir: Path) -> None:
    """Only 16 of 299 fixes are good, and their accuracy is metres a second."""
    _, answer = answer_of(capsys, "speed", str(data_dir / "gnss_weak_fix.ubx"))
    (ubx,) = [speed for speed in answer["speeds"] if speed["source"] == "nav-pvt"]
    assert (ubx["values"], ubx["no_value"]) == (16, 283)
    assert ubx["u_speed_mps"] > 0.49
