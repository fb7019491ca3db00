"""The machine file as a form: typed text, errors at the field, files out and in again."""

from __future__ import annotations

import pytest

from drivers.catalogue import open_input
from workbench.errors import WrongInput
from workbench.machine import load_machine, parse_machine
from workbench.models.machine_form import MachineForm
from workbench.units import INCH_M, METRIC, US


@pytest.fixture
def machine():
    return parse_machine(open_input("sim:healthy").machine_text)


def test_a_machine_comes_back_as_it_went_in(machine, tmp_path):
    form = MachineForm(US, machine)
    form.save(tmp_path / "m.toml")
    again = load_machine(tmp_path / "m.toml")
    assert again.drive == machine.drive
    assert again.limits == machine.limits
    assert again.readout == machine.readout


def test_a_sprocket_drive_moves_teeth_times_pitch_a_turn(machine):
    # Handbook: one turn of a sprocket moves N·P of chain (see calibration/driveline.py).
    form = MachineForm(US, machine)
    form.type("drive.sprocket_teeth", "10")
    form.type("drive.rod_pitch_m", "2")
    form.type("drive.target_teeth", "40")
    form.type("drive.turns_per_target_turn", "1")
    assert form.derived().metre_per_pulse_m == pytest.approx(10 * 2 * INCH_M / 40)


@pytest.mark.parametrize(
    ("key", "text"),
    [
        ("drive.target_teeth", "thirty"),
        ("drive.target_teeth", "30.5"),
        ("drive.target_teeth", "-3"),
        ("drive.rod_pitch_m", "2 furlongs"),
        ("limits.ratio_low", "nan"),
        ("limits.ratio_low", "1.2"),
    ],
)
def test_a_wrong_entry_stays_as_typed_and_gets_a_sentence(machine, key, text):
    form = MachineForm(US, machine)
    form.type(key, text)
    assert form.machine is None
    assert form.entries[key] == text
    assert all(said.endswith(".") for said in form.errors.values())
    assert len(form.errors) == 1
    with pytest.raises(WrongInput):
        form.save("nowhere.toml")


def test_units_change_the_text_and_not_the_machine(machine):
    form = MachineForm(US, machine)
    before, pitch = form.machine, form.entries["drive.rod_pitch_m"]
    form.use_units(METRIC)
    assert float(form.entries["drive.rod_pitch_m"]) == pytest.approx(float(pitch) * 25.4)
    assert form.machine.drive.rod_pitch_m == pytest.approx(before.drive.rod_pitch_m)
    assert form.unit("drive.rod_pitch_m") == "mm"
