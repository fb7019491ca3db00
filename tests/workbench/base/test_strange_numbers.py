"""Numbers, lines and brackets that no person types: a sentence, not a traceback."""

import pytest

from workbench.base.errors import MachineFileError
from workbench.base.machine import parse_machine
from workbench.calibration.typed_rows import number

MACHINE = """name = "Digger 4"
[belt]
u_lap_length_m = {u_lap}
[drive]
target_teeth = {teeth}
kind = "sprocket"
sprocket_teeth = 12
rod_pitch_m = 0.05
[readout]
step = {step}
"""


def machine(u_lap="0.004", teeth="30", step="0.1"):
    return MACHINE.format(u_lap=u_lap, teeth=teeth, step=step)


@pytest.mark.parametrize(
    "text",
    [
        machine(teeth="9" * 300),
        machine(teeth="9" * 5000),
        machine(teeth="0x" + "f" * 4000),
        machine() + '[[chain]]\nname = "main"\nspan_m = 0x' + "f" * 4000,
        machine(step="1e308"),
        machine(step="5e-324"),
        machine(u_lap="1e308"),
        "x = " + "[" * 5000,
        "a" + ".a" * 100_000 + " = 1",
    ],
    ids=[
        "300 digits",
        "5000 digits",
        "hex",
        "hex in a chain",
        "huge",
        "tiny",
        "huge u",
        "brackets",
        "dots",
    ],
)
def test_a_strange_machine_file_is_refused(text):
    with pytest.raises(MachineFileError) as refused:
        parse_machine(text, "digger.toml")
    assert "digger.toml" in str(refused.value)
    assert len(str(refused.value)) < 400


def test_an_ordinary_one_is_read():
    assert parse_machine(machine(), "digger.toml").readout.step == 0.1


@pytest.mark.parametrize("cell", ["1e98", "-1e308", "1e-308", "inf", "nan", "1_0"])
def test_no_measurement_is_like_this(cell):
    with pytest.raises(ValueError, match=cell.replace("-", r"\-")):
        number(cell)


def test_what_is_measured_is_a_number():
    assert number("0") == 0
    assert number("0.0005") == 0.0005
    assert number("86400") == 86400
