"""The machine file as a form: typed text, errors at the field, drafts, files out and in again."""

from __future__ import annotations

import pytest

from drivers.catalogue import open_input
from workbench.base.files import write_file
from workbench.base.machine import keys, load_machine, parse_machine
from workbench.base.units import INCH_M, METRIC, US
from workbench.models.machine.fields import NAMES
from workbench.models.machine.figures import figures, shown_at_work, standing
from workbench.models.machine.form import MachineForm

FLAT_BELT = """
name = "Two-row digger, flat belt"
[drive]
target_teeth = 24
kind = "roll"
roll_diameter_m = 0.16
rod_pitch_m = 0.05
[readout]
unit = "km/h"
step = 0.01
setting = 55.25
"""


@pytest.fixture
def machine():
    return parse_machine(open_input("sim:healthy").machine_text)


@pytest.fixture
def form(machine):
    return MachineForm(US, machine)


def saved(form, path):
    write_file(path, form.to_toml())
    form.was_saved(path, form.content())
    return load_machine(path)


def test_every_key_of_a_machine_file_has_a_field():
    assert set(NAMES) == set(keys())


@pytest.mark.parametrize("scenario", ["healthy", "roll-drive", "wrong-setting", "hall-pickup"])
def test_a_machine_comes_back_as_it_went_in(scenario, tmp_path):
    machine = parse_machine(open_input(f"sim:{scenario}").machine_text)
    assert saved(MachineForm(US, machine), tmp_path / "m.toml") == machine
    assert saved(MachineForm(METRIC, machine), tmp_path / "m.toml") == machine


def test_what_does_not_matter_for_this_drive_is_kept_all_the_same(tmp_path):
    machine = parse_machine(FLAT_BELT)
    form = MachineForm(METRIC, machine)
    assert not form.applies("drive.rod_pitch_m")
    assert saved(form, tmp_path / "m.toml").drive.rod_pitch_m == 0.05


def test_opened_edited_saved_and_opened_it_holds_the_edit(form, machine, tmp_path):
    form.type("drive.rod_pitch_m", "1 5/8")
    form.type("name", 'Left belt, "the old one" \\ shed')
    form.type("limits.readout_error", "1.5")
    again = saved(form, tmp_path / "m.toml")
    assert again.drive.rod_pitch_m == pytest.approx(1.625 * INCH_M)
    assert again.name == 'Left belt, "the old one" \\ shed'
    assert again.limits.readout_error == pytest.approx(0.015)
    assert again.readout == machine.readout
    assert form.saved


def test_a_file_that_cannot_be_written_leaves_the_old_one(form, tmp_path):
    from workbench.base.errors import StoreError

    with pytest.raises(StoreError, match="cannot be written"):
        write_file(tmp_path / "no folder" / "m.toml", form.to_toml())
    (tmp_path / "m.toml").mkdir()
    with pytest.raises(StoreError):
        write_file(tmp_path / "m.toml", form.to_toml())
    assert [one.name for one in tmp_path.iterdir()] == ["m.toml"]


def test_a_sprocket_drive_moves_teeth_times_pitch_a_turn(form):
    # Handbook: one turn of a sprocket moves N·P of chain (see calibration/driveline.py): here
    # 10 · 2 in, so 0.5 in for each of 40 teeth, 2400 pulses in 100 ft, and at 2.5 mph
    # (44 in/s) 88 pulses a second; one step of 0.1 mph is 4 % of that.
    for key, text in {
        "drive.sprocket_teeth": "10",
        "drive.rod_pitch_m": "2",
        "drive.u_rod_pitch_m": "0.004",
        "drive.target_teeth": "40",
        "drive.turns_per_target_turn": "1",
        "limits.speed_low_mps": "2",
        "limits.speed_high_mps": "3",
    }.items():
        form.type(key, text)
    numbers = [one.number for one in figures(form.machine, US)]
    assert numbers == ["0.5000 ± 0.0010", "2400.0 ± 4.8", "88.0", "4.0"]
    assert shown_at_work(form.machine) == "2.5 mph"
    # 100 m hold 100/30.48 times as many pulses as 100 ft; 12.7 mm is half an inch.
    metric = [one.number for one in figures(form.machine, METRIC)]
    assert metric[:2] == ["12.700 ± 0.025", "7874 ± 16"]
    assert "88.0" in metric


def test_no_machine_has_no_figures():
    assert {one.number for one in figures(None, US)} == {"–"}


@pytest.mark.parametrize(
    ("key", "text", "said"),
    [
        ("drive.target_teeth", "thirty", "'thirty' is not a whole number."),
        ("drive.target_teeth", "30.5", "'30.5' is not a whole number."),
        ("drive.target_teeth", "-3", "a whole number 1 to 500."),
        ("drive.rod_pitch_m", "2 furlongs", "the unit 'furlongs' is not known"),
        ("drive.rod_pitch_m", "40", "expected 0.197 to 19.6 in."),
        ("drive.rod_pitch_m", "-2", "it is below 0"),
        ("drive.u_rod_pitch_m", "a little", "it is not a length"),
        ("belt.lap_length_m", "300", "expected 3.29 to 196 ft."),
        ("belt.u_lap_length_m", "0", "above 0 in."),
        ("limits.ratio_low", "nan", "0.2 to 5."),
        ("limits.ratio_low", "1.2", "must be more than the lowest ratio belt ÷ ground, 1.2."),
        ("limits.speed_high_mps", "25", "expected 0 to 22.3 mph."),
        ("limits.speed_high_mps", "1.5", "must be more than the lowest working speed, 2 mph."),
        ("limits.readout_error", "80", "expected 0.01 to 50 %."),
        ("pickup.gap_best_m", "1/4", "must be more than the best gap, 0.25 in."),
        ("readout.setting", "2,250", "type 2250 or 2.250."),
        ("readout.setting", "1_0", "'1_0' is not a number."),
        ("readout.setting", "0", "above 0."),
        ("readout.setting_unit", "bananas", "'pulses/100 ft'"),
        ("readout.step", "ten", "'ten' is not a number."),
    ],
)
def test_a_wrong_entry_stays_as_typed_and_gets_a_sentence(form, key, text, said):
    form.type(key, text)
    assert form.machine is None
    assert form.entries[key] == text
    (sentence,) = form.errors.values()
    assert said in sentence
    assert sentence.endswith(".")
    assert "metres" not in sentence
    assert "m/s" not in sentence
    assert "need" in standing(form, None)


def test_both_limits_wrong_together_are_said_at_both(form):
    form.type("limits.ratio_low", "1.2")
    form.type("pickup.gap_best_m", "1/4")
    assert set(form.errors) == {"limits.ratio_high", "pickup.gap_max_m"}
    form.type("limits.ratio_high", "1.3")
    form.type("pickup.gap_best_m", "1/16")
    assert form.machine is not None


def test_units_change_the_text_and_not_the_machine(form):
    form.type("drive.rod_pitch_m", "1 5/8")
    before = form.machine
    form.use_units(METRIC)
    assert float(form.entries["drive.rod_pitch_m"]) == pytest.approx(1.625 * 25.4)
    assert form.machine == before
    assert form.unit("drive.rod_pitch_m") == "mm"
    form.use_units(US)
    assert form.entries["drive.rod_pitch_m"] == "1 5/8"


def test_a_wrong_length_is_not_taken_for_another_unit(form):
    form.type("drive.rod_pitch_m", "40")
    form.use_units(METRIC)
    # 40 in are 1016 mm, and not the 40 mm that would be a good pitch.
    assert form.entries["drive.rod_pitch_m"] == "1016"
    assert form.errors["drive.rod_pitch_m"].endswith("5 to 500 mm.")


def test_a_person_s_plus_minus_is_twice_the_file_s_standard_uncertainty(form):
    # JCGM 100, 6.2.1 and G.6.6: U = k·u, k = 2 for about 95 %.
    form.type("belt.u_lap_length_m", "0.5")
    assert form.machine.belt.u_lap_length_m == pytest.approx(0.25 * INCH_M)
    assert form.entries["belt.u_lap_length_m"] == "0.5"


def test_a_new_machine_says_what_is_needed_and_nothing_is_wrong(form, machine):
    form.clear()
    assert form.errors == {}
    assert form.needed == ["name", "drive.target_teeth", "drive.kind"]
    assert standing(form, machine).startswith("Still needed: 'Name'")
    form.type("drive.kind", "roll")
    assert "drive.roll_diameter_m" in form.needed
    for key, text in {"name": "New", "drive.target_teeth": "24"}.items():
        form.type(key, text)
    form.type("drive.roll_diameter_m", "6")
    assert form.machine.drive.roll_diameter_m == pytest.approx(6 * INCH_M)


def test_a_wrong_entry_for_the_other_kind_of_drive_is_in_nobody_s_way(form):
    form.type("drive.sprocket_teeth", "many")
    form.type("drive.kind", "roll")
    form.type("drive.roll_diameter_m", "6")
    assert form.machine is not None
    form.type("drive.kind", "sprocket")
    assert form.entries["drive.sprocket_teeth"] == "many"
    assert form.machine is None


def test_a_copy_has_no_name_and_no_file(form, tmp_path):
    saved(form, tmp_path / "m.toml")
    form.duplicate()
    assert form.needed == ["name"]
    form.type("name", "Right belt")
    assert form.machine is not None
    assert (form.path, form.saved) == (None, False)


def test_a_draft_that_is_replaced_can_be_brought_back(form, machine):
    assert not form.can_bring_back
    form.type("drive.target_teeth", "sixty")
    form.show(machine)
    assert form.machine == machine
    form.bring_back()
    assert form.entries["drive.target_teeth"] == "sixty"


def test_the_machine_in_use_is_followed_unless_a_draft_stands(form, machine):
    other = parse_machine(FLAT_BELT)
    assert form.follow(other, None)
    assert form.machine == other
    form.type("drive.target_teeth", "25")
    assert not form.follow(machine, None)
    assert form.entries["drive.target_teeth"] == "25"
    assert standing(form, machine).startswith(f"Not in use: the bench works with '{machine.name}'.")


def test_a_new_setting_of_the_machine_of_a_file_belongs_into_that_file(tmp_path):
    from dataclasses import replace

    path = tmp_path / "m.toml"
    machine = parse_machine(FLAT_BELT)
    form = MachineForm(METRIC, machine, path)
    assert form.saved
    calibrated = replace(machine, readout=replace(machine.readout, setting=57.0), text="")
    assert form.follow(calibrated, None)
    assert (form.path, form.saved) == (path, False)
    assert standing(form, calibrated) == "In use. Changed, and not saved in m.toml yet."
    assert saved(form, path) == calibrated


def test_a_draft_outlives_the_program(form, machine):
    form.type("drive.rod_pitch_m", "1 5/8")
    form.type("drive.target_teeth", "thirty")
    texts = form.to_remember()
    again = MachineForm(METRIC, machine)
    again.remember(texts)
    assert again.machine == machine
    again.bring_back()
    assert again.errors.keys() == {"drive.target_teeth"}
    assert again.value("drive.rod_pitch_m") == 1.625 * INCH_M
    assert again.value("belt.u_lap_length_m") == machine.belt.u_lap_length_m
    again.remember({"drive.kind": ["odd"], "no such": "key", "name": "[1, 2, 3]", "path": "x"})
    again.remember({"drive.target_teeth": '["thirty", "metric", "thirty"]'})
    assert again.value("drive.rod_pitch_m") == 1.625 * INCH_M
    assert MachineForm(US, machine).to_remember() == {}
