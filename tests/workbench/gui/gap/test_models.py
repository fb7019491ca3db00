"""The shop's list of pickups without a screen, and what is said of it in either unit."""

import json
import math

import pytest

from workbench.base.errors import WrongInput
from workbench.base.machine import parse_machine
from workbench.base.units import METRIC, US
from workbench.calibration.statistics.decision import Verdict
from workbench.models.gap.machines import Held
from workbench.models.gap.pickups import BEGUN, NOT_YET, GapList, KeptRun
from workbench.models.gap.words import found_words, kept_words, limits_words, state_words
from workbench.words.gap_lengths import gap_text, in_units
from workbench.words.gap_summary import list_answer

ROUND_DEG = (0.0, 90.0, 180.0, 270.0)
BENT = KeptRun(
    drop_out=False, result=3, channel="left", verdict="fail", simulated=True, said="bent tooth 7"
)


MACHINE = """
name = "{}"
[drive]
target_teeth = 30
kind = "sprocket"
sprocket_teeth = 12
rod_pitch_m = 0.05
[pickup]
gap_max_m = {}
"""


def held(name, gap_max_m):
    return Held(parse_machine(MACHINE.format(name, gap_max_m)))


WIDE, NARROW = held("Digger 4", 0.0032), held("Digger 7", 0.0020)


@pytest.fixture
def in_use():
    """The machine in use is the last of these."""
    return [WIDE]


@pytest.fixture
def pickups(in_use):
    made = GapList(lambda: in_use[-1])
    made.start_with("Digger 4 / left")
    made.add("Digger 4 / right")
    made.go_to(0)
    return made


def read_round(pickups, gap_m=0.0016):
    for angle_deg in ROUND_DEG:
        pickups.read(angle_deg, gap_m)


class TestStates:
    def test_not_yet_begun_and_judged(self, pickups):
        words = []
        for angle_deg in ROUND_DEG:
            words.append(pickups.state(pickups.current).word)
            pickups.read(angle_deg, 0.0016)
        assert words == [NOT_YET, BEGUN, BEGUN, BEGUN]
        assert pickups.state(pickups.current).word == Verdict.PASS

    def test_a_gap_that_fails_already_needs_no_whole_round(self, pickups):
        pickups.read(0.0, 0.006)
        assert pickups.state(pickups.current).word == Verdict.FAIL

    def test_the_worst_of_readings_and_runs_holds(self, pickups):
        read_round(pickups)
        pickups.keep_run("Digger 4 / left", BENT)
        state = pickups.state(pickups.current)
        assert state_words(state) == "✕ fail, simulated"
        assert found_words(state, METRIC) == "1.60 mm, run-out 0.00; bent tooth 7"
        pickups.undo()
        assert state_words(pickups.state(pickups.current)) == "✓ pass"

    def test_each_pickup_keeps_the_machine_it_was_added_with(self, pickups, in_use):
        in_use.append(NARROW)
        pickups.add("Digger 7 / left")
        for at in (0, 2):
            pickups.go_to(at)
            read_round(pickups, 0.0030)
        words = [pickups.state(pickups.entries[at]).word for at in (0, 2)]
        assert words == [Verdict.PASS, Verdict.FAIL]
        names = [limits_words(state) for state in pickups.states()]
        assert names == ["Limits of Digger 4", "Limits of Digger 4", "Limits of Digger 7"]

    def test_another_machine_can_be_given_and_taken_back(self, pickups, in_use):
        read_round(pickups, 0.0030)
        in_use.append(NARROW)
        pickups.use_machine_in_use()
        assert pickups.state(pickups.current).word == Verdict.FAIL
        pickups.undo()
        assert pickups.state(pickups.current).word == Verdict.PASS

    def test_added_without_a_machine_the_first_reading_takes_the_one_in_use(self, pickups, in_use):
        in_use.append(Held())
        pickups.add("Digger 7 / left")
        assert limits_words(pickups.states()[-1]) == "Usual limits, no machine"
        in_use.append(NARROW)
        read_round(pickups, 0.0030)
        assert pickups.state(pickups.current).word == Verdict.FAIL

    def test_a_machine_that_the_simulator_plays_since_is_known_as_such(self, pickups, in_use):
        pickups.rename("Digger 4")
        in_use.append(Held(WIDE.machine, simulated=True))
        read_round(pickups)
        assert pickups.state(pickups.current).practice
        in_use.append(NARROW)
        assert pickups.state(pickups.current).practice

    def test_the_machines_are_resumed(self, pickups, in_use):
        read_round(pickups, 0.0030)
        in_use.append(NARROW)
        pickups.add("Digger 7 / left")
        pickups.rename("Digger 7 / right")
        data = json.loads(json.dumps(pickups.to_data()))
        later = GapList()
        later.resume(data)
        assert [state.held.name for state in later.states()] == ["Digger 4", "Digger 4", "Digger 7"]
        assert later.entries[2].limits.gap_max_m == 0.0020
        assert later.states()[0].word == Verdict.PASS

    def test_the_next_undone_goes_round(self, pickups):
        pickups.add("Digger 7 / left")
        read_round(pickups)
        assert pickups.next_undone() == 0
        pickups.go_to(0)
        read_round(pickups)
        assert pickups.next_undone() == 1
        pickups.go_to(1)
        read_round(pickups)
        assert pickups.next_undone() is None


class TestUndo:
    def test_every_change_is_taken_back_in_turn(self, pickups):
        before = [pickups.to_data()]
        for change in (
            lambda: read_round(pickups),
            lambda: pickups.rename("Digger 5 / left"),
            lambda: pickups.keep_run("Digger 5 / left", BENT),
            lambda: pickups.drop_reading(2),
            lambda: pickups.remove(),
        ):
            change()
            before.append(pickups.to_data())
        for wanted in reversed(before[1:-1]):
            pickups.undo()
            assert pickups.to_data() == wanted
        for _ in ROUND_DEG:
            pickups.undo()
        assert pickups.to_data() == before[0]

    def test_the_last_pickup_leaves_an_empty_one_behind(self, pickups):
        pickups.remove()
        pickups.remove()
        assert [entry.pickup.name for entry in pickups.entries] == ["Pickup 1"]


@pytest.mark.parametrize("name", ["", "  ", "Digger 4 / right", "a" * 101, "two\nlines"])
def test_names_that_cannot_be(pickups, name):
    with pytest.raises(WrongInput):
        pickups.rename(name)
    assert pickups.current.pickup.name == "Digger 4 / left"


@pytest.mark.parametrize(
    "damage",
    [
        {"pickups": []},
        {"at": "x"},
        {"pickups": [{"name": "A", "readings": [[0, 0.5, 0]], "runs": []}]},
        {"pickups": [{"name": "A", "readings": [[0]], "runs": []}]},
        {"pickups": [{"name": "A", "readings": [], "runs": [{"result": 1}]}]},
        {"pickups": [{"name": "A", "readings": [], "runs": []}] * 2},
        {"pickups": None},
        {"machines": [["name = 3", False]]},
        {"machines": []},
    ],
)
def test_a_damaged_list_changes_nothing(pickups, damage):
    read_round(pickups)
    before = pickups.to_data()
    with pytest.raises(WrongInput, match="damaged"):
        pickups.resume(before | damage)
    assert pickups.to_data() == before


def test_lengths_and_speeds_in_a_sentence():
    # 25.4 mm an inch and 1609.344 m a mile: NIST SP 811, appendix B (from memory).
    said = "Set the pickup 0.26 mm closer, to 1.60 mm; 5 mm2 and 3 m/s2 stay, 0.894 m/s does not."
    assert in_units(said, US).startswith("Set the pickup 0.010 in closer, to 0.063 in; 5 mm2")
    assert "3 m/s2 stay, 2.00 mph does not" in in_units(said, US)
    assert "0.26 mm closer, to 1.60 mm" in in_units(said, METRIC)
    assert "3.22 km/h" in in_units(said, METRIC)
    assert gap_text(math.nan, US) == "– in"
    assert gap_text(0.0254 / 16, US) == "0.063 in"
    assert gap_text(-1e-9, US) == "0.000 in"


def test_what_feeler_and_run_found_becomes_one_line_of_the_sheet():
    feeler = {
        "pickup": "A / left",
        "gap_m": 0.0016,
        "teeth": None,
        "advice": "Leave the pickup where it is.",
        "warnings": [],
    }
    run = {
        "pickup": "left",
        "gap_m": math.nan,
        "teeth": 30,
        "faults": [{"kind": "bent tooth", "tooth": 7, "sentence": "Tooth 7 is bent."}],
        "advice": "See to this first: bent tooth 7.",
        "warnings": ["Only 12 turns."],
        "simulated": True,
    }
    found = [("A / left", "fail", [feeler, run]), ("A / right", "not yet", [])]
    answer = list_answer(found, {"gap_max_m": 0.0032, "result": 9})
    line, empty = answer["pickups"]
    assert (line["pickup"], line["verdict"], line["simulated"]) == ("A / left", "fail", True)
    assert (line["gap_m"], line["teeth"]) == (0.0016, 30)
    assert line["advice"] == "Leave the pickup where it is. See to this first: bent tooth 7."
    assert empty["gap_m"] is None
    assert answer["summary"] == {"fail": 1, "not yet": 1}
    assert (answer["verdict"], answer["simulated"], answer["result"]) == ("fail", True, 9)
    assert answer["warnings"] == ["A / left: Only 12 turns."]


def test_what_was_kept_is_said_by_its_numbers():
    real, made_up = {"simulated": False}, {"simulated": True}
    assert kept_words({"result": 4}) == "Kept as result 4."
    several = {"results": [4, 5, 6], "pickups": [real, real, real]}
    assert kept_words(several) == "Kept as results 4, 5 and 6, one for each machine."
    mixed = {"results": [4, 5], "pickups": [real, made_up]}
    assert kept_words(mixed).endswith("one for each machine, simulated readings apart.")
