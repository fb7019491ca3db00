"""The machine file: a wrong one is refused with the key, the value and what would be right."""

from __future__ import annotations

from pathlib import Path

import pytest

from workbench.base.errors import MachineFileError
from workbench.base.machine import load_machine, parse_machine, with_readout_setting

GOOD = """
name = "Six-row digger, left belt"
[belt]
lap_length_m = 9.84
u_lap_length_m = 0.004
[drive]
target_teeth = 24
turns_per_target_turn = 1.0
kind = "sprocket"
sprocket_teeth = 10
rod_pitch_m = 0.0381
[readout]
unit = "mph"
step = 0.1
setting = 254.0
setting_unit = "pulses/100 ft"
setting_step = 1.0
reads = "inverse"
[pickup]
kind = "variable-reluctance"
gap_best_m = 0.0016
gap_max_m = 0.0032
[limits]
ratio_low = 0.95
ratio_high = 1.05
speed_low_mps = 0.9
speed_high_mps = 1.4
readout_error = 0.02
"""


def test_a_whole_file_is_read() -> None:
    machine = parse_machine(GOOD)
    assert machine.name == "Six-row digger, left belt"
    assert (machine.drive.target_teeth, machine.drive.rod_pitch_m) == (24, 0.0381)
    assert (machine.readout.reads, machine.limits.ratio_high) == ("inverse", 1.05)
    assert machine.text == GOOD


def test_what_may_be_left_out_has_a_default() -> None:
    text = 'name = "x"\n[drive]\ntarget_teeth = 30\nkind = "roll"\nroll_diameter_m = 0.2'
    machine = parse_machine(text)
    assert machine.pickup.gap_max_m == 0.0032
    assert machine.drive.turns_per_target_turn == 1.0


WRONG = [
    ("name = ", 'title = "x"\n#', "title", "no such key"),
    ('name = "Six-row digger, left belt"', 'name = ""', "name", "text in quotes"),
    ('name = "Six-row digger, left belt"', "", "name", "missing"),
    ("target_teeth = 24", "target_teeth = 24.5", "drive.target_teeth", "whole number 1 to 500"),
    ("target_teeth = 24", "target_teeth = 0", "drive.target_teeth", "whole number 1 to 500"),
    ("target_teeth = 24", "target_teeth = true", "drive.target_teeth", "whole number"),
    ("target_teeth = 24", 'target_teeth = "24"', "drive.target_teeth", "whole number"),
    ("target_teeth = 24", "", "drive.target_teeth", "missing"),
    ("target_teeth", "target_tooth", "drive.target_tooth", "'drive.target_teeth'"),
    ('kind = "sprocket"', 'kind = "chain"', "drive.kind", '"sprocket", "roll"'),
    ('kind = "sprocket"', "", "drive.kind", "missing"),
    ('kind = "sprocket"', 'kind = "roll"', "drive.roll_diameter_m", "missing"),
    ("sprocket_teeth = 10", "", "drive.sprocket_teeth", "missing"),
    ("sprocket_teeth = 10", "sprocket_teeth = 2", "drive.sprocket_teeth", "3 to 200"),
    ("rod_pitch_m = 0.0381", "rod_pitch_m = 38.1", "drive.rod_pitch_m", "0.005 to 0.5 metres"),
    ("rod_pitch_m = 0.0381", "rod_pitch_m = nan", "drive.rod_pitch_m", "0.005 to 0.5 metres"),
    ("rod_pitch_m = 0.0381", "rod_pitch_m = -0.04", "drive.rod_pitch_m", "0.005 to 0.5 metres"),
    ("lap_length_m = 9.84", "lap_length_m = 984", "belt.lap_length_m", "1 to 60 metres"),
    ("u_lap_length_m = 0.004", "u_lap_length_m = 0", "belt.u_lap_length_m", "above 0"),
    ("turns_per_target_turn = 1.0", "turns_per_target_turn = 0", "drive.turns_per_target_turn", ""),
    ('unit = "mph"', 'unit = "knots"', "readout.unit", '"km/h"'),
    ("step = 0.1", "step = 0", "readout.step", "above 0"),
    ("setting = 254.0", "setting = -1", "readout.setting", "above 0"),
    ('reads = "inverse"', 'reads = "up"', "readout.reads", '"direct", "inverse"'),
    ('kind = "variable-reluctance"', 'kind = "optical"', "pickup.kind", '"hall"'),
    ("gap_best_m = 0.0016", "gap_best_m = 1.6", "pickup.gap_best_m", "0.0001 to 0.02 metres"),
    ("gap_max_m = 0.0032", "gap_max_m = 0.001", "pickup.gap_max_m", "more than gap_best_m"),
    ("ratio_low = 0.95", "ratio_low = 1.2", "limits.ratio_high", "more than ratio_low"),
    ("speed_low_mps = 0.9", "speed_low_mps = 2", "limits.speed_high_mps", "more than speed_low"),
    ("readout_error = 0.02", "readout_error = 2", "limits.readout_error", "0.0001 to 0.5"),
    ("[belt]", "[belts]", "belts", "'belt"),
    ("[limits]", "[limits", "", "it is not TOML"),
    ('name = "Six-row digger, left belt"', 'name = "x"\npickup = 3', "", "it is not TOML"),
    ('name = "Six-row digger, left belt"', 'name = "x"\nhitch = 3', "hitch", "no such key"),
]


@pytest.mark.parametrize(("right", "wrong", "key", "says"), WRONG)
def test_a_wrong_key_is_named(right: str, wrong: str, key: str, says: str) -> None:
    assert right in GOOD
    text = GOOD.replace(right, wrong, 1)
    with pytest.raises(MachineFileError) as refused:
        parse_machine(text, "digger.toml")
    assert "digger.toml" in str(refused.value)
    assert key in str(refused.value)
    assert says in str(refused.value)


def test_a_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    with pytest.raises(MachineFileError, match=r"nothere\.toml"):
        load_machine(tmp_path / "nothere.toml")
    with pytest.raises(MachineFileError, match="folder"):
        load_machine(tmp_path)
    if Path("/dev/zero").exists():
        with pytest.raises(MachineFileError, match="device or a pipe"):
            load_machine("/dev/zero")
    (tmp_path / "large.toml").write_bytes(b"# nothing\n" * 200_000)
    with pytest.raises(MachineFileError, match="larger than 1 MB"):
        load_machine(tmp_path / "large.toml")


@pytest.mark.parametrize("content", [b"\xff\xfe\x00n\x00a", b"\x00" * 50, b"", b"name = 'a'\n\x80"])
def test_bytes_that_are_no_machine_file(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "m.toml"
    path.write_bytes(content)
    with pytest.raises(MachineFileError):
        load_machine(path)


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "m.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.encode())
    assert load_machine(path).drive.target_teeth == 24


def test_a_file_too_large_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "m.toml"
    path.write_bytes(b"# " + b"x" * 1_100_000)
    with pytest.raises(MachineFileError, match="larger than 1 MB"):
        load_machine(path)


@pytest.mark.parametrize(
    "readout",
    [
        "[readout]\nunit = 'mph'\nsetting = 2340.0  # as found\nsetting_step = 1\n",
        "[ readout ]\nunit='mph'\n  setting=2340\n",
        "readout.unit = 'mph'\nreadout.setting = 2340\n",
    ],
)
def test_a_new_setting_changes_that_number_in_the_file_alone(readout):
    head = "name = 'Digger 4'\n"
    rest = (
        "[drive]\ntarget_teeth = 30\nkind = 'sprocket'\nsprocket_teeth = 12\nrod_pitch_m = 0.05\n"
    )
    parts = (head, readout, rest) if readout.startswith("readout") else (head, rest, readout)
    text = "".join(parts)
    changed = with_readout_setting(parse_machine(text, "test"), 2260.5)
    assert changed.readout.setting == 2260.5
    old = "2340.0" if "2340.0" in text else "2340"
    assert changed.text == text.replace(old, "2260.5")


@pytest.mark.parametrize("day", ["2026-09-14", '"2026-09-14"'])
def test_the_day_of_a_measurement_is_a_day(day):
    text = (
        "name = 'Digger 4'\n[drive]\ntarget_teeth = 30\nkind = 'sprocket'\nsprocket_teeth = 12\n"
        f"rod_pitch_m = 0.05\nmeasured_on = {day}\n"
    )
    assert parse_machine(text, "test").drive.measured_on == "2026-09-14"
    with pytest.raises(MachineFileError, match=r"measured_on.*a day such as"):
        parse_machine(text.replace(day, '"last fall"'), "test")


def test_a_setting_whose_place_is_not_found_is_refused():
    text = (
        "name = 'Digger 4'\nreadout = {unit = 'mph', setting = 2340}\n[drive]\n"
        "target_teeth = 30\nkind = 'sprocket'\nsprocket_teeth = 12\nrod_pitch_m = 0.05\n"
    )
    with pytest.raises(MachineFileError, match=r"readout\.setting"):
        with_readout_setting(parse_machine(text, "test"), 2260.5)
