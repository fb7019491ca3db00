"""The inputs in use, and what is plugged in."""

from __future__ import annotations

import threading

import pytest

from drivers.plugged import Found
from workbench.base.machine import load_machine
from workbench.models.signals import plugged
from workbench.models.signals.inputs import RECORDING, InputsModel
from workbench.models.signals.plugged import PluggedModel


@pytest.fixture
def inputs(bench):
    return InputsModel(bench)


def test_an_input_is_used_and_taken_away(bench, inputs):
    assert inputs.add("sim:healthy")
    assert inputs.in_use == ["sim:healthy"]
    assert inputs.uses("sim:healthy")
    assert bench.settings.now.inputs == ["sim:healthy"]
    assert inputs.remove("sim:healthy")
    assert inputs.in_use == []
    assert bench.settings.now.inputs == []


def test_a_wrong_address_changes_nothing_and_says_what_is_right(bench, inputs):
    inputs.add("sim:healthy")
    for wrong in ("counter/dev/ttyACM0", "counter:", "gnss:/dev/x?baud=fast", "sim:no-such", ""):
        assert not inputs.add(wrong)
        assert inputs.said
        assert "evenpace inputs" not in inputs.said  # a person at the screen has a list
    assert inputs.in_use == ["sim:healthy"]
    assert inputs.add("  sim:gap-too-wide ")
    assert inputs.said == ""


def test_real_inputs_stand_side_by_side_and_never_beside_a_simulated_one(inputs):
    inputs.add("sim:healthy")
    inputs.add("counter:/dev/no-such-port")
    inputs.add("gnss:/dev/no-such-receiver?baud=9600")
    assert inputs.in_use == ["counter:/dev/no-such-port", "gnss:/dev/no-such-receiver?baud=9600"]
    assert not inputs.add("counter:/dev/no-such-port")
    inputs.remove("counter:/dev/no-such-port")
    assert inputs.in_use == ["gnss:/dev/no-such-receiver?baud=9600"]
    inputs.add("sim:healthy?seed=4")
    assert inputs.in_use == ["sim:healthy?seed=4"]
    assert inputs.uses("sim:healthy")


def test_a_scenarios_machine_goes_with_it(bench, inputs):
    inputs.add("sim:healthy")
    assert "healthy" in bench.machine.name
    inputs.add("sim:gap-too-wide")
    assert "too wide" in bench.machine.name
    inputs.add("counter:/dev/no-such-port")
    assert bench.machine is None


def test_a_machine_of_the_persons_own_stays(bench, inputs, tmp_path):
    inputs.add("sim:healthy")
    file = tmp_path / "digger.toml"
    file.write_text(bench.machine.text.replace("Demonstration digger", "Digger four"))
    bench.use_machine(load_machine(file), file)
    inputs.add("counter:/dev/no-such-port")
    assert bench.machine.name.startswith("Digger four")


def test_a_recording_is_not_cut_by_a_change_of_inputs(bench, inputs, pass_time):
    inputs.add("sim:healthy")
    bench.recording.start("north field")
    pass_time(1)
    for change in (lambda: inputs.add("sim:gap-too-wide"), lambda: inputs.remove("sim:healthy")):
        assert not change()
        assert inputs.said == RECORDING
    assert bench.recording.running
    assert inputs.in_use == ["sim:healthy"]


def found(model):
    """Until the listening thread has ended."""
    for _ in range(1000):
        model.take()
        if not model.listening:
            return model.found
        threading.Event().wait(0.005)
    pytest.fail("the finder did not end")


def test_what_is_heard_is_offered_with_its_problem():
    heard = (
        Found("/dev/a", "a board", "counter 'x', 4 channels", "counter:/dev/a"),
        Found("/dev/b", "an adapter", problem="There is no port; the list of inputs names those."),
    )
    model = PluggedModel(lambda in_use: heard)
    model.find()
    assert model.listening
    first, second = found(model)
    assert (first.address, first.about) == ("counter:/dev/a", "counter 'x', 4 channels")
    assert second.address == ""
    assert second.problem == "There is no port; the list of inputs names those."
    assert len(model.simulated) > 20
    assert all(offer.simulated for offer in model.simulated)


def test_a_defect_of_a_back_end_ends_the_search_with_a_sentence():
    def hear(in_use):
        raise RuntimeError("a maker's library is broken")

    model = PluggedModel(hear)
    model.find()
    (offer,) = found(model)
    assert offer.problem == "a maker's library is broken"


def test_a_port_in_use_here_is_named_and_not_opened_again(monkeypatch):
    ports = [Found("/dev/a", "a board"), Found("/dev/b", "a receiver"), Found("/dev/ab", "other")]
    heard = []
    monkeypatch.setattr(plugged, "serial_ports", lambda: ports)
    monkeypatch.setattr(plugged, "hear_ports", lambda free: heard.extend(free) or list(free))
    monkeypatch.setattr(plugged, "can_channels", lambda: [Found("socketcan:can0", "CAN channel")])
    monkeypatch.setattr(plugged, "hear_can", lambda free: heard.extend(free) or list(free))
    answer = plugged.listen(["counter:/dev/a", "can:socketcan:can0?bitrate=250000"])
    assert {one.name for one in heard} == {"/dev/b", "/dev/ab"}
    mine = [one for one in answer if one.looks_like == "in use here"]
    assert [one.address for one in mine] == ["counter:/dev/a", "can:socketcan:can0?bitrate=250000"]
