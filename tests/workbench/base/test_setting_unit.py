"""Units of the number set in a readout. Conversions: NIST SP 811 app. B, exact by definition."""

import math

import pytest

from workbench.base.errors import MachineFileError, WrongInput
from workbench.base.machine import parse_machine
from workbench.base.typed import parse_setting_unit


@pytest.mark.parametrize(
    ("text", "kind", "length_m"),
    [
        ("pulses/100 ft", "pulses a distance", 30.48),
        ("Pulses per 100ft", "pulses a distance", 30.48),
        ("p/m", "pulses a distance", 1.0),
        ("pulse/mile", "pulses a distance", 1609.344),
        ("imp/100m", "pulses a distance", 100.0),
        ("mm/pulse", "distance a pulse", 0.001),
        ("in / turn", "distance a turn", 0.0254),
        ("0.1 in/pulse", "distance a pulse", 0.00254),
        ("m/turn", "distance a turn", 1.0),
        ("cm per rev", "distance a turn", 0.01),
    ],
)
def test_a_unit_as_typed_becomes_metres(text, kind, length_m):
    unit = parse_setting_unit(text)
    assert unit.kind == kind
    assert unit.length_m == pytest.approx(length_m, rel=1e-15)


def test_the_setting_that_fits_a_drive_line():
    # 0.02 m a pulse: 50 pulses a metre, 1524 in 100 ft; 12 teeth a turn make 0.24 m.
    assert parse_setting_unit("pulses/100 ft").setting(0.02, 12) == pytest.approx(1524)
    assert parse_setting_unit("mm/pulse").setting(0.02, 12) == pytest.approx(20)
    assert parse_setting_unit("m/turn").setting(0.02, 12) == pytest.approx(0.24)
    assert math.isnan(parse_setting_unit("").setting(0.02, 12))


@pytest.mark.parametrize(
    "text", ["furlongs", "pulses/100 qx", "m/s", "pulses/0 m", "5", "pulse/pulse"]
)
def test_nonsense_is_refused_with_what_would_be_right(text):
    with pytest.raises(WrongInput, match="pulses/100 ft"):
        parse_setting_unit(text)


MACHINE = """
name = "m"
[drive]
target_teeth = 12
kind = "sprocket"
sprocket_teeth = 10
rod_pitch_m = 0.0254
[readout]
"""


def test_a_machine_file_with_a_wrong_unit_names_its_key():
    with pytest.raises(MachineFileError, match=r"readout\.setting_unit.*'bananas'"):
        parse_machine(MACHINE + 'setting_unit = "bananas"')


@pytest.mark.parametrize(
    ("lines", "reads"),
    [
        ("", "direct"),
        ('setting_unit = "pulses/100 ft"', "inverse"),
        ('setting_unit = "mm/pulse"', "direct"),
        ('setting_unit = "mm/pulse"\nreads = "inverse"', "inverse"),
    ],
)
def test_reads_follows_the_unit_unless_given(lines, reads):
    assert parse_machine(MACHINE + lines).readout.reads == reads
