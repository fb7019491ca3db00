"""One's own scenarios: what is taken, and what a wrong one is told."""

import dataclasses
import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.contract import AddressError
from sim import scenarios, spec
from sim.readout import metres_per_pulse
from sim.run import simulate
from sim.scenarios import load, parse
from sim.typed import KEYS
from workbench.base.machine import _SECTIONS, parse_machine

SAMPLE = scenarios.__doc__.split("::")[1].split("`load`")[0]
"""The sample in the documentation."""


def test_the_documented_sample_works(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text("\n".join(line[4:] for line in SAMPLE.splitlines()))
    scenario = load(path)
    assert scenario.name == "mine"
    assert scenario.title == "Oil cold, belt a little tight"
    assert scenario.value("hydraulics", "oil_start_c") == 5.0
    assert scenario.value("hydraulics", "motor_leak") == 1.2e-8  # from its base, cold-oil
    truth = simulate(scenario, 1, 62.0).truth
    assert 0 <= truth.plan.hydraulics.oil_start_c <= 10
    assert truth.plan.valve[0] == spec.Move(at_s=60.0, to=0.9, over_s=1.0)
    assert parse_machine(scenario.machine_text).drive.target_teeth == 28


def test_a_pair_is_drawn_evenly_and_a_new_key_moves_no_other():
    scenario = parse("[left]\ngap_m = [0.001, 0.003]\n", "mine", "mine.toml")
    drawn = [scenario.draw(seed).left.gap_m for seed in range(200)]
    assert min(drawn) >= 0.001
    assert max(drawn) <= 0.003
    assert sum(drawn) / 200 == pytest.approx(0.002, abs=0.00015)
    more = parse("[left]\ngap_m = [0.001, 0.003]\nworn_gap_m = [0, 0.01]\n", "mine", "mine.toml")
    assert [more.draw(seed).left.gap_m for seed in range(200)] == drawn


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[hydraulic]\n", ("key 'hydraulic'", "'hydraulics'")),
        ("[left]\ngap = 0.001\n", ("key 'left.gap'", "'gap_m'")),
        ("[left]\ngap_m = 1.6\n", ("key 'left.gap_m'", "1.6", "0.0002 to 0.02")),
        ("[left]\ngap_m = [0.003, 0.001]\n", ("key 'left.gap_m'", "pair [low, high]")),
        ("[left]\ngap_m = [0.001]\n", ("key 'left.gap_m'", "pair [low, high]")),
        ('[left]\ngap_m = "wide"\n', ("key 'left.gap_m'", "'wide'", "number")),
        ("[left]\ngap_m = nan\n", ("key 'left.gap_m'", "nan")),
        ("[left]\ngap_m = true\n", ("key 'left.gap_m'", "True")),
        ("[left]\nbent_tooth = 31\n", ("key 'left.bent_tooth'", "31", "at most 30")),
        ("[left]\nbent_tooth = 1.5\n", ("key 'left.bent_tooth'", "whole number")),
        ('[left]\nkind = "optical"\n', ("key 'left.kind'", "variable-reluctance, hall")),
        ("[drive]\nrod_pitch_m = [0.05, 0.06]\n", ("key 'drive.rod_pitch_m'", "0.005 to 0.5")),
        ("[drive]\nlap_rods = 10\n", ("key 'drive.lap_rods'", "0.508 m", "1 to 60 m")),
        (
            "[drive]\nturns_per_target_turn = 0.01\ntarget_teeth = 400\n",
            ("key 'drive'", "pulses a second", "at most 10000"),
        ),
        ("left = 3\n", ("key 'left'", "section [left]")),
        ("valve = 3\n", ("key 'valve'", "sections [[valve]]")),
        ("[[valve]]\nat = 3\n", ("key 'valve 1.at'", "'at_s'")),
        (
            "[[valve]]\nat_s = 9\nover_s = 5\n[[valve]]\nat_s = 10\n",
            ("key 'valve 2.at_s'", "it is 10", "at least 14"),
        ),
        ('base = "helthy"\n', ("key 'base'", "'helthy'", "healthy")),
        ('cause = "gremlins"\n', ("key 'cause'", "valve-off")),
        ("title = 3\n", ("key 'title'", "text in quotes")),
        ("[typed.drives]\nx = 1\n", ("key 'typed.drives'", "[typed.drive]")),
        ("[typed.drive]\nteeth = 1\n", ("key 'typed.drive.teeth'", "'target_teeth'")),
        ("[typed.drive]\ntarget_teeth = [1]\n", ("typed.drive.target_teeth", "number or text")),
        ("gap_m = \n", ("not TOML", "line 1")),
        ("", ()),
    ],
)
def test_a_wrong_file_is_told_where_and_what_would_be_right(tmp_path, text, words):
    path = tmp_path / "mine.toml"
    path.write_text(text)
    if not words:
        assert load(path).cause == "none"  # an empty file is the healthy machine
        return
    with pytest.raises(AddressError) as raised:
        load(path)
    for word in (str(path), *words):
        assert word in str(raised.value)


def test_files_that_are_no_text(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(AddressError, match="not UTF-8"):
        load(path)
    path.write_bytes(b"#" * 1_000_001)
    with pytest.raises(AddressError, match="larger than 1 MB"):
        load(path)
    folder = tmp_path / "folder.toml"
    folder.mkdir()
    with pytest.raises(AddressError, match="directory"):
        load(folder)


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_whatever_is_accepted_can_be_simulated(data):
    """Two keys at the ends of what is in sense, or of nonsense: a sentence, or a whole run."""
    lines = []
    for _ in range(2):
        section = data.draw(st.sampled_from(sorted(spec.SECTIONS)))
        entry = data.draw(st.sampled_from(dataclasses.fields(spec.SECTIONS[section])))
        words = entry.metadata.get("words", ("nonsense",))
        bounds = [entry.metadata.get(name, 0) for name in ("low", "high")]
        value = data.draw(st.sampled_from([*bounds, -1, [bounds[0], bounds[1]], *words]))
        lines.append(f"{section}.{entry.name} = {json.dumps(value)}")
    try:
        scenario = parse("\n".join(dict.fromkeys(lines)), "mine", "mine.toml")
    except AddressError as error:
        refused = str(error)
        assert refused.startswith("mine.toml")
        return
    result = simulate(scenario, data.draw(st.integers(0, 9)), 60.0)
    for track in result.recording.edges.values():
        assert np.isfinite(track.time_s).all()
        # A coarse counter clock can give two edges one and the same tick.
        assert (np.diff(track.time_s) >= 0).all()
    assert np.isfinite(result.truth.belt_m([0.0, 30.0, 60.0])).all()
    parse_machine(scenario.machine_text)


def test_every_machine_file_key_is_known_to_the_workbench():
    known = {
        f"{section}.{entry.name}"
        for section, kind in _SECTIONS.items()
        for entry in dataclasses.fields(kind)
    }
    assert {f"{section}.{key}" for section, keys in KEYS.items() for key in keys} <= known


def test_the_setting_is_on_its_step_and_right_to_it():
    for reads, unit in (("inverse", "pulses per 100 ft"), ("direct", "mm per pulse")):
        scenario = parse(f'[readout]\nreads = "{reads}"\n', "mine", "mine.toml")
        machine = parse_machine(scenario.machine_text)
        assert machine.readout.setting_unit == unit
        pulse_m = metres_per_pulse(reads, machine.readout.setting)
        exact_m = 8 * 0.0508 / 30
        step_rel = machine.readout.setting_step / machine.readout.setting
        assert pulse_m == pytest.approx(exact_m, rel=0.51 * step_rel)
