"""A pickup's waveform in the place of a counter: what every command makes of a WAV."""

from __future__ import annotations

import json
import wave
from pathlib import Path

import numpy as np
import pytest

from sim.scenarios import load
from sim.waveform import write_wav
from tests.workbench.cli.calling import answer_of
from workbench.cli import main

RATE_HZ = 48_000


@pytest.fixture(scope="module")
def bent(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str, float]:
    """(WAV, machine file, true belt speed) of a minute with a bent tooth on the left pickup."""
    folder = tmp_path_factory.mktemp("wave")
    run = write_wav(folder / "bent.wav", "bent-tooth", seed=3, for_s=60.0)
    (folder / "bent.toml").write_text(load("bent-tooth").machine_text + "\n")
    speed_mps = run.truth.belt_speed_mps(0.5, 59.5)
    return str(folder / "bent.wav"), str(folder / "bent.toml"), speed_mps


def test_speed_is_true_within_its_uncertainty_and_asks_for_the_recorder_s_clock(capsys, bent):
    sound, machine, true_mps = bent
    status, answer = answer_of(capsys, "speed", sound, "--machine", machine)
    assert status == 0
    assert abs(answer["belt_speed_mps"] - true_mps) < answer["U_belt_speed_mps"]
    assert (answer["missed"], answer["extra"], answer["target_teeth_seen"]) == (0, 0, 30)
    told = " ".join(answer["warnings"])
    assert "A sound file holds no volts" in told
    assert "pickup.clock_ppm" in told
    text = Path(machine).read_text()
    known = Path(machine).with_name("known.toml")
    known.write_text(text.replace("[pickup]", "[pickup]\nclock_ppm = 50"))
    _, better = answer_of(capsys, "speed", sound, "--machine", str(known))
    assert "pickup.clock_ppm" not in " ".join(better["warnings"])
    assert better["U_belt_speed_mps"] < answer["U_belt_speed_mps"]


def test_gap_finds_the_bent_tooth_by_its_place_and_its_height(capsys, bent):
    """The scenario bends one tooth of the left pickup's wheel: 12 % of a pitch, 0.4 mm farther."""
    sound, machine, _ = bent
    status, answer = answer_of(capsys, "gap", sound, "--machine", machine)
    assert status == 1
    left, right = answer["pickups"]
    assert (left["verdict"], right["verdict"]) == ("fail", "pass")
    assert "it is bent" in json.dumps(left)


def test_import_keeps_the_samples_and_computes_the_same_again(capsys, bent, tmp_path):
    sound, machine, _ = bent
    store = ["--store", str(tmp_path / "s.db")]
    status, imported = answer_of(capsys, "import", sound, "--machine", machine, *store)
    assert status == 0
    number = str(imported["recording"])
    _, direct = answer_of(capsys, "speed", sound, "--machine", machine)
    _, stored = answer_of(capsys, "speed", number, *store)
    assert stored["belt_speed_mps"] == direct["belt_speed_mps"]
    assert main(["export", number, "--original", "-o", str(tmp_path / "again.wav"), *store]) == 0
    assert (tmp_path / "again.wav").read_bytes() == Path(sound).read_bytes()
    assert main(["verify", *store]) == 0


def test_a_lap_mark_on_the_other_channel_is_named_in_the_address(capsys, tmp_path):
    time_s = np.arange(30 * RATE_HZ) / RATE_HZ
    since_s = (time_s - 2.0) % 4.0 - 2.0
    mark = -since_s * 200 * np.exp(-((since_s / 0.004) ** 2))
    both = np.stack([0.5 * np.sin(2 * np.pi * 90 * time_s), mark], axis=1)
    with wave.open(str(tmp_path / "run.wav"), "wb") as file:
        file.setparams((2, 2, RATE_HZ, 0, "NONE", ""))
        file.writeframes(np.rint(both * 32000).astype("<i2").tobytes())
    address = f"file:{tmp_path / 'run.wav'}?left=belt&right=lap"
    _, answer = answer_of(capsys, "inputs", address)
    pulses = {one["source"]: one for one in answer["files"][0]["pulses"]}
    assert pulses["belt"]["edges"] == 2700
    assert pulses["lap"]["edges"] == 7
    assert pulses["lap"]["mean_hz"] == pytest.approx(0.25, rel=1e-5)
    status, imported = answer_of(capsys, "import", address)
    assert status == 0
    assert set(imported["messages"].values()) == {2700, 7}
    assert main(["speed", f"file:{tmp_path / 'run.wav'}?mark=lap"]) == 2
    assert "known are left, right" in capsys.readouterr().err
