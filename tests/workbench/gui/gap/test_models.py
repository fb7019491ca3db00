"""The shop's list of pickups without a screen, and what is said of it in either unit."""

import csv
import io
import json

import numpy as np
import pytest

from workbench.base.cautions import Caution
from workbench.base.errors import WrongInput
from workbench.base.machine import Pickup, parse_machine
from workbench.base.statements import statement
from workbench.base.units import METRIC, US
from workbench.calibration.gap.answer import WheelAnswer
from workbench.calibration.gap.faults import FaultKind, WheelFault
from workbench.calibration.gap.feeler import feeler_gap
from workbench.calibration.gap.judgement import GapSays
from workbench.calibration.gap.table import GapReadings
from workbench.calibration.gap.wheel_faults import WheelSays
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.gap.sheet import Sheet, SheetLine, Standing
from workbench.jobs.gap.together import together
from workbench.models.gap.machines import Held
from workbench.models.gap.pickups import GapList, KeptRun
from workbench.models.gap.store import KeptAnswer
from workbench.models.gap.words import found_words, kept_words, limits_words, state_words
from workbench.words.gap import summary_table
from workbench.words.words import Words

ROUND_DEG = (0.0, 90.0, 180.0, 270.0)
BENT = KeptRun(
    drop_out=False,
    result=3,
    channel="left",
    verdict=Verdict.FAIL,
    simulated=True,
    said=statement(FaultKind.BENT),
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


def key_of(pickups, name):
    return next(entry.key for entry in pickups.entries if entry.name == name)


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
            words.append(pickups.state(pickups.current).standing)
            pickups.read(angle_deg, 0.0016)
        assert words == [Standing.NOT_YET, *[Standing.BEGUN] * 3]
        assert pickups.state(pickups.current).standing == Verdict.PASS

    def test_a_gap_that_fails_already_needs_no_whole_round(self, pickups):
        pickups.read(0.0, 0.006)
        assert pickups.state(pickups.current).standing == Verdict.FAIL

    def test_the_worst_of_readings_and_runs_holds(self, pickups):
        read_round(pickups)
        pickups.keep_run(key_of(pickups, "Digger 4 / left"), BENT)
        state = pickups.state(pickups.current)
        assert state_words(state, Words(METRIC)) == "✕ fail, simulated"
        assert found_words(state, Words(METRIC)) == "1.60 mm, run-out 0.00 mm; bent tooth"
        assert found_words(state, Words(US)) == "0.063 in, run-out 0.000 in; bent tooth"
        pickups.undo()
        assert state_words(pickups.state(pickups.current), Words(METRIC)) == "✓ pass"

    def test_each_pickup_keeps_the_machine_it_was_added_with(self, pickups, in_use):
        in_use.append(NARROW)
        pickups.add("Digger 7 / left")
        for at in (0, 2):
            pickups.go_to(at)
            read_round(pickups, 0.0028)
        words = [pickups.state(pickups.entries[at]).standing for at in (0, 2)]
        assert words == [Verdict.PASS, Verdict.FAIL]
        names = [limits_words(state) for state in pickups.states()]
        assert names == ["Limits of Digger 4", "Limits of Digger 4", "Limits of Digger 7"]

    def test_another_machine_can_be_given_and_taken_back(self, pickups, in_use):
        read_round(pickups, 0.0028)
        in_use.append(NARROW)
        pickups.use_machine_in_use()
        assert pickups.state(pickups.current).standing == Verdict.FAIL
        pickups.undo()
        assert pickups.state(pickups.current).standing == Verdict.PASS

    def test_added_without_a_machine_the_first_reading_takes_the_one_in_use(self, pickups, in_use):
        in_use.append(Held())
        pickups.add("Digger 7 / left")
        assert limits_words(pickups.states()[-1]) == "Usual limits, no machine"
        in_use.append(NARROW)
        read_round(pickups, 0.0028)
        assert pickups.state(pickups.current).standing == Verdict.FAIL

    def test_a_machine_that_the_simulator_plays_since_is_known_as_such(self, pickups, in_use):
        pickups.rename("Digger 4")
        in_use.append(Held(WIDE.machine, simulated=True))
        read_round(pickups)
        assert pickups.state(pickups.current).practice
        in_use.append(NARROW)
        assert pickups.state(pickups.current).practice

    def test_the_machines_are_resumed(self, pickups, in_use):
        read_round(pickups, 0.0028)
        in_use.append(NARROW)
        pickups.add("Digger 7 / left")
        pickups.rename("Digger 7 / right")
        data = json.loads(json.dumps(pickups.to_data()))
        later = GapList()
        later.resume(data)
        assert [state.held.name for state in later.states()] == ["Digger 4", "Digger 4", "Digger 7"]
        assert later.entries[2].held.limits.gap_max_m == 0.0020
        assert later.states()[0].standing == Verdict.PASS

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


class TestChannels:
    def test_a_pickup_is_the_one_called_as_its_side(self, pickups):
        left, right = pickups.entries
        assert pickups.its_channel(left, ["right", "left"]) == "left"
        assert pickups.its_channel(right, ["left", "right"]) == "right"

    @pytest.mark.parametrize("channels", [["left"], ["a", "b"], []])
    def test_else_only_the_person_knows(self, pickups, channels):
        assert pickups.its_channel(pickups.entries[1], channels) == ""

    def test_a_single_line_serves_one_pickup_after_the_other(self, pickups):
        for entry in pickups.entries:
            assert pickups.its_channel(entry, ["pickup"]) == "pickup"

    def test_one_channel_is_not_two_pickups_of_a_machine(self, pickups):
        left, right = pickups.entries
        pickups.bind(left.key, "b")
        with pytest.raises(WrongInput, match="another channel"):
            pickups.bind(right.key, "b")
        pickups.add("Digger 5 / left")
        pickups.bind(pickups.current.key, "b")
        assert pickups.current.channel == "b"

    def test_a_channel_that_is_taken_is_not_found_by_itself(self, pickups):
        left, right = pickups.entries
        pickups.bind(right.key, "left")  # the plugs are crossed
        assert pickups.its_channel(left, ["left", "right"]) == ""
        pickups.add("Digger 5 / left")
        assert pickups.its_channel(pickups.current, ["left", "right"]) == "left"

    def test_another_channel_takes_what_the_wrong_one_found(self, pickups):
        key = pickups.current.key
        pickups.bind(key, "left")
        pickups.keep_run(key, BENT)
        pickups.bind(key, "right")
        assert pickups.current.runs == ()
        pickups.undo()
        assert pickups.current.runs == (BENT,)

    def test_it_is_written_down(self, pickups, in_use):
        pickups.bind(pickups.current.key, "b")
        again = GapList(lambda: in_use[-1])
        again.resume(json.loads(json.dumps(pickups.to_data())))
        assert again.entries[0].channel == "b"


class TestUndo:
    def test_every_change_is_taken_back_in_turn(self, pickups):
        before = [pickups.to_data()]
        for change in (
            lambda: read_round(pickups),
            lambda: pickups.rename("Digger 5 / left"),
            lambda: pickups.keep_run(key_of(pickups, "Digger 5 / left"), BENT),
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
        assert [entry.name for entry in pickups.entries] == ["Pickup 1"]


@pytest.mark.parametrize("name", ["", "  ", "Digger 4 / right", "a" * 101, "two\nlines"])
def test_names_that_cannot_be(pickups, name):
    with pytest.raises(WrongInput):
        pickups.rename(name)
    assert pickups.current.name == "Digger 4 / left"


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


def test_gaps_in_the_units_of_their_reader():
    # 25.4 mm an inch: NIST SP 811, appendix B (from memory).
    us, metric = Words(US), Words(METRIC)
    said = statement(GapSays.SET_CLOSER, by_m=0.00026, target_m=0.0016)
    assert us.say(said) == "Set the pickup 0.010 in closer, to 0.063 in on average."
    assert metric.say(said) == "Set the pickup 0.26 mm closer, to 1.60 mm on average."
    # Sixteenths as feeler sets have them: 0.0625 is 0.063.
    assert us.number("gap", 0.0254 / 16) == "0.063 in"
    assert us.number("gap", -1e-9) == "0.000 in"


def feeler(name):
    angle, gap_m = np.arange(0, 360, 45.0), np.full(8, 0.0016)
    return feeler_gap(GapReadings(name, angle, gap_m, np.zeros(8, int)), Pickup())


def bent(name):
    said = statement(GapSays.LEAVE_IT)
    return WheelAnswer(
        pickup=name,
        machine_name=name,
        side="",
        pickup_kind="",
        verdict=Verdict.FAIL,
        reason=said,
        advice=statement(WheelSays.HAS_FAULTS, faults=()),
        warnings=(statement(WheelSays.ONLY_FEW_TURNS, turns=12.0),),
        teeth=30,
        missed=2,
        extra=0,
        faults=(WheelFault(FaultKind.BENT, said, 0.0, 7),),
    )


def test_what_feeler_and_run_found_becomes_one_line_of_the_sheet():
    found = (feeler("A / left"), bent("left"))
    line = SheetLine("A / left", Verdict.FAIL, found, None, Pickup(), simulated=True)
    empty = SheetLine("A / right", Standing.NOT_YET, (), None, Pickup(), simulated=False)
    sheet = Sheet("list", (line, empty))
    assert (line.gap, line.wheel) == found
    assert [said.what for said in line.advice] == [GapSays.LEAVE_IT, WheelSays.HAS_FAULTS]
    assert [said.what for said in line.warnings][-1] == WheelSays.ONLY_FEW_TURNS
    assert sheet.cautions == (Caution.AT_THE_WHEEL, Caution.WITH_THE_BELT_RUNNING)
    assert sheet.counts == {Verdict.FAIL: 1, Standing.NOT_YET: 1}
    assert (sheet.state, sheet.simulated) == (Verdict.FAIL, True)
    first, second = csv.DictReader(io.StringIO(summary_table(sheet, Words())))
    assert (first["gap_m"], first["teeth"], first["faults"]) == ("0.0016", "30", "bent tooth 7")
    assert (second["verdict"], second["gap_m"], second["teeth"]) == ("not yet", "", "")


def test_where_nothing_is_to_be_done_no_caution_is_asked_for():
    line = SheetLine("A", Verdict.PASS, (feeler("A"),), None, Pickup(), simulated=False)
    assert line.cautions == ()


def test_what_was_kept_is_said_by_its_numbers():
    def kept(number, *, simulated=False):
        answer = together(
            [feeler("A")],
            warnings=[],
            source="t",
            kind="gap table",
            simulated=simulated,
            machine=None,
            blade_step_m=5e-5,
        )
        return KeptAnswer(answer, number, None)

    assert kept_words([kept(4)]) == "Kept as result 4."
    assert kept_words([kept(4), kept(5), kept(6)]) == (
        "Kept as results 4, 5 and 6, one for each machine."
    )
    mixed = kept_words([kept(4), kept(5, simulated=True)])
    assert mixed.endswith("one for each machine, simulated readings apart.")
