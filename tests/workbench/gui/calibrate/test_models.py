"""The calibration's models without a screen: laps, undo, drafts, the run table."""

import math
from dataclasses import replace

import numpy as np
import pytest

from drivers.catalogue import open_input
from drivers.contract import AddressError, EdgeBlock
from workbench.base.errors import StoreError, WrongInput
from workbench.base.machine import load_machine, parse_machine
from workbench.calibration.readout.recorded_runs import wander_rel
from workbench.calibration.readout.run_table import marked_simulated, read_run_table
from workbench.calibration.readout.runs import HAND_INTERVAL_U_S, USUAL_WANDER_REL
from workbench.jobs.calibrate.answer import CalibrateOptions
from workbench.jobs.calibrate.compute import compute
from workbench.live.streams import Streams
from workbench.models.calibrate.draft import Drafts
from workbench.models.calibrate.job import CalibrateJob
from workbench.models.calibrate.lap_marks import LapMarks, change_rel
from workbench.models.calibrate.runs import Reference, State, TakenRun, run_table, save_runs
from workbench.models.calibrate.words import NextStep, laps_needed, next_step
from workbench.models.entry import typed_number
from workbench.words.words import Words

RUN = TakenRun(2.6, 6, 44.6, 1830, simulated=True)


@pytest.fixture
def job(bench):
    bench.use_inputs(["sim:calibration-shop"])
    made = CalibrateJob(bench)
    yield made
    made.close()


def mark_laps(job, clock, laps, lap_s=9.144 / 1.1):
    for _ in range(laps + 1):
        job.mark()
        clock.now_s += lap_s


def test_laps_count_down_to_the_uncertainty_asked_for(job, clock):
    mark_laps(job, clock, 2)
    # 0.10 s a start and stop (Am. J. Phys. 87(2) 2019 p. 110), lap known to 0.06 %:
    # 0.25 % needs 0.10/8.31/sqrt(0.0025² − 0.00059²) = 4.95, so 5 laps.
    assert job.timer.laps == 2
    assert laps_needed(job) == 5
    assert job.timer.laps_left == 3
    # Half the uncertainty: 0.10/8.31/sqrt(0.00125² − 0.00059²) = 10.9, so 11 laps.
    job.ask_for("0,25 %")
    assert laps_needed(job) == 11
    for wrong in ("", "0", "-1", "0.01", "20", "little"):
        with pytest.raises(WrongInput):
            job.ask_for(wrong)
    # Less than the lap's own length allows, 2 · 0.059 %: no number of laps will do.
    job.ask_for("0.1")
    assert laps_needed(job) is None
    assert next_step(job) is NextStep.KEEP_RUN


def test_a_run_without_a_lap_is_refused_and_drop_forgets_it(job):
    job.mark()
    with pytest.raises(WrongInput, match="no whole lap"):
        job.keep_run("2.5")
    with pytest.raises(WrongInput, match="'2,5x'"):
        job.keep_run("2,5x")
    job.drop_run()
    assert not job.running
    job.undo()
    assert job.running


def test_a_missed_mark_is_named_and_can_be_taken_back(job, clock):
    for wait_s in (0, 8, 8, 16, 8):
        clock.now_s += wait_s
        job.mark()
    assert "Lap 3 took about twice" in job.said
    job.undo()
    assert job.timer.laps == 3


def said_of(error):
    return Words().say(error.value)


def test_a_run_with_a_drifting_speed_is_asked_about_and_kept_the_second_time(job, clock):
    for wait_s in (0, 8.0, 8.0, 7.8, 7.6, 7.4, 7.4):
        clock.now_s += wait_s
        job.mark()
    with pytest.raises(WrongInput) as refused:
        job.keep_run("2.5")
    assert "changed by +8.1 %" in said_of(refused)
    assert job.runs == ()
    job.keep_run("2.5")
    assert len(job.runs) == 1
    assert change_rel((0.0, 8.0, 16.0)) == 0


def test_two_laps_that_differ_by_a_third_are_asked_about(job, clock):
    for wait_s in (0, 10.0, 7.5):
        clock.now_s += wait_s
        job.mark()
    with pytest.raises(WrongInput, match="steady speed"):
        job.keep_run("2.3")


@pytest.mark.parametrize("slip", ["19", "0.246", "24.6"])
def test_a_slip_of_the_finger_is_asked_about(job, clock, slip):
    mark_laps(job, clock, 6)  # 1.1 m/s are 2.46 mph
    with pytest.raises(WrongInput) as refused:
        job.keep_run(slip)
    assert "2.46 mph" in said_of(refused)
    with pytest.raises(WrongInput):
        job.keep_run("2.5x")
    job.keep_run("2.5")
    assert [run.shown for run in job.runs] == [2.5]


def test_a_run_taken_back_keeps_its_own_times(job, clock):
    mark_laps(job, clock, 6)
    job.keep_run("2.5")
    kept = job.runs[0]
    job.undo()
    assert job.running
    clock.now_s += 60.0
    job.mark()
    assert "over" in job.said
    job.keep_run("2.4")
    assert replace(job.runs[0], shown=2.5) == kept


def test_a_setting_that_is_used_is_in_the_file_at_once_and_undo_takes_it_out(job, bench, tmp_path):
    path = tmp_path / "digger.toml"
    path.write_text(bench.machine.text)
    bench.use_machine(bench.machine, path)
    before = bench.machine.readout.setting
    job.add_run(RUN)
    found = compute(run_table([RUN]), job.machine, CalibrateOptions())
    job.worked_out(found, job.version, 4)
    job.use_new_setting()
    assert load_machine(path).readout.setting == found.setting_new
    assert bench.machine.readout.setting == found.setting_new
    # The runs as found are still judged by the setting that they were taken with.
    again, _kept = job.answer_work(keep=False)()
    assert again.setting_now == before
    assert again.setting_new == found.setting_new
    job.start_anew()
    assert load_machine(path).readout.setting == found.setting_new
    job.undo()
    job.undo()
    assert load_machine(path).readout.setting == before


def test_a_file_that_cannot_be_written_is_told(job, bench, tmp_path):
    path = tmp_path / "gone" / "digger.toml"
    bench.use_machine(bench.machine, path)
    (tmp_path / "gone").write_text("a file where the folder was")
    bench.change_setting(2000.0)
    assert "2000 is not in the machine's file" in bench.told[-1]
    assert bench.machine.readout.setting == 2000.0


def test_a_change_of_runs_makes_the_stored_result_the_last_one(job):
    job.add_run(RUN)
    wrong = compute(run_table([RUN]), job.machine, CalibrateOptions())
    assert wrong.has_new_setting
    assert wrong.verdict.is_fail
    job.worked_out(wrong, job.version, 4)
    assert job.state.result == 4
    assert next_step(job) is NextStep.USE_SETTING
    job.add_run(RUN)
    assert job.state.result is None
    job.undo()
    assert job.state.result == 4
    job.worked_out(wrong, job.version - 1, 5)
    assert job.state.result == 4


def test_no_machine_no_lap_length_no_ramp_have_sentences(bench):
    job = CalibrateJob(bench)
    job.mark()
    assert "length of one lap" in job.said
    job.use_reference(Reference.FLIPS)
    job.start_ramp()
    assert "machine is needed" in job.said
    with pytest.raises(WrongInput, match="Start the ramp"):
        job.flip("2.4", up=True)
    job.close()


def test_each_machine_has_its_own_runs(job, bench):
    job.add_run(RUN)
    first = bench.machine
    bench.use_machine(replace(first, name="Another digger"))
    assert job.runs == ()
    job.add_run(replace(RUN, shown=2.2))
    bench.use_machine(first)
    assert job.runs == (RUN,)
    version = job.version
    bench.use_machine(replace(first, belt=replace(first.belt, lap_length_m=9.2)))
    assert job.runs == (RUN,)
    assert job.version > version


class TestDrafts:
    STATE = State(
        Reference.READING,
        runs=(RUN, replace(RUN, dropped=True)),
        left_runs=(TakenRun(2.4, reference_mps=1.07, u_reference_mps=0.004),),
        flips=((1.5, 2.4, True),),
        ramp=3,
        new_setting=2260.0,
        result=7,
    )

    def write(self, drafts, name="Digger", state=STATE):
        drafts.keep(name, state)
        drafts.write()

    def test_a_state_comes_back_whole_without_the_run_under_way(self, tmp_path):
        self.write(Drafts(tmp_path / "kept"), "Digger ä/1", replace(self.STATE, marks_s=(1.0,)))
        assert repr(Drafts(tmp_path / "kept").load("Digger ä/1")) == repr(self.STATE)
        assert Drafts(tmp_path / "kept").load("Digger 2") is None

    def test_without_a_folder_it_stays_in_memory(self):
        drafts = Drafts(None)
        drafts.keep("Digger", self.STATE)
        assert drafts.load("Digger") == self.STATE

    @pytest.mark.parametrize("text", ["", "[]", "{", '{"machine": "Digger"}', "\xff"])
    def test_a_damaged_file_counts_as_none(self, tmp_path, text):
        self.write(Drafts(tmp_path))
        (path,) = tmp_path.glob("*.json")
        path.write_bytes(text.encode("latin-1"))
        assert Drafts(tmp_path).load("Digger") is None

    def test_a_place_that_cannot_be_written_is_a_sentence(self, tmp_path):
        (tmp_path / "file").touch()
        with pytest.raises(StoreError, match="cannot be written"):
            self.write(Drafts(tmp_path / "file"))


class TestLapMarks:
    """A counter that numbers milliseconds, 5 s behind the host's clock."""

    @pytest.fixture
    def seen(self):
        return []

    @pytest.fixture
    def marks(self, seen):
        return LapMarks(seen.append)

    @pytest.fixture
    def streams(self):
        return Streams()

    @staticmethod
    def block(channel, edges_s, until_s, count=0):
        ticks = np.round(1000 * np.asarray(edges_s)).astype(np.int64)
        return EdgeBlock(channel, 0, ticks, 0.001, until_s + 5.0, count + ticks.size)

    def feed(self, streams, marks, seconds, lap_at, lap_s=8.0):
        counted = 0
        for second in range(seconds):
            belt = self.block("left", second + np.arange(1, 51) / 50, second + 1, 50 * second)
            laps = [at for at in lap_at if second < at <= second + 1]
            lap = self.block("lap", laps, second + 1, counted)
            counted += len(laps)
            streams.take("counter:x", [belt, lap])
            marks.follow(streams.by_name["lap"], lap_s)

    def test_passings_are_placed_by_the_counters_clock(self, streams, marks, seen):
        self.feed(streams, marks, 20, lap_at=(2.25, 10.251, 18.2))
        assert seen == pytest.approx([7.25, 15.251, 23.2], abs=1e-6)
        # 50 pulses a second, whole pulses between two passings: ± 1.
        pulses = streams.by_name["left"].pulses.teeth_between(seen[0], seen[-1])
        assert pulses == pytest.approx(50 * 15.95, abs=1)
        edges = streams.by_name["left"].pulses.edges_between(seen[0], seen[-1])
        assert edges.tooth[-1] - edges.tooth[0] == pulses
        assert wander_rel(edges, 25) == pytest.approx(0, abs=1e-4)
        assert not marks.blind(25.0, 8.0)
        assert marks.blind(50.0, 8.0)

    def test_a_bouncing_pickup_counts_once(self, streams, marks, seen):
        self.feed(streams, marks, 20, lap_at=(2.25, 2.28, 10.25, 10.9, 18.25))
        assert len(seen) == 3

    def test_no_pickup_is_blind(self, marks):
        assert marks.blind(0.0, math.nan)


class TestRunTable:
    RUNS = (
        replace(RUN, by_pickup=True, u_laps_time_s=0.004, u_wander_rel=0.0031),
        replace(RUN, shown=2.2, dropped=True),
        replace(RUN, shown=2.0, laps_time_s=57.9),
    )

    def test_it_says_who_timed_and_what_was_simulated(self, bench):
        bench.use_inputs(["sim:calibration-shop"])
        text = run_table(self.RUNS)
        assert marked_simulated(text)
        assert not marked_simulated(run_table([replace(RUN, simulated=False)]))
        table = read_run_table(text, "runs", bench.machine)
        assert not table.warnings
        assert [run.label for run in table.runs] == ["1", "3"]
        assert [run.u_laps_time_s for run in table.runs] == [0.004, HAND_INTERVAL_U_S]
        assert [run.wander_rel for run in table.runs] == [0.0031, USUAL_WANDER_REL]
        assert all(run.one_interval for run in table.runs)
        assert "# dropped: 2,2.2" in text
        assert run_table([replace(RUN, dropped=True)]) == ""

    def test_it_is_written_as_csv_only(self, tmp_path):
        assert save_runs("x\n", tmp_path / "runs.csv").read_text() == "x\n"
        with pytest.raises(WrongInput, match=r"ends in \.csv"):
            save_runs("x\n", tmp_path / "runs.txt")
        with pytest.raises(StoreError, match="cannot be written"):
            save_runs("x\n", tmp_path / "no folder" / "runs.csv")


def test_typed_numbers():
    assert typed_number(" 2,5 ", "a speed") == 2.5
    for wrong in ("", "-1", "nan", "1_0", "two", "0", "inf"):
        with pytest.raises(WrongInput, match=r"[Tt]ype"):
            typed_number(wrong, "a speed")


def test_the_simulated_readout_shows_by_the_setting_entered():
    """Pulses a distance read inversely: shown ÷ true goes as one over the setting."""
    shares = []
    for address in ("sim:calibration-shop", "sim:calibration-shop?setting=2250"):
        with open_input(f"{address}{'&' if '?' in address else '?'}pace=fast") as driver:
            shares.append((driver.truth().readout_error_rel, driver.machine_text))
    own = parse_machine(shares[0][1]).readout.setting
    assert (1 + shares[1][0]) / (1 + shares[0][0]) == pytest.approx(own / 2250)
    for wrong in ("0", "-3", "nan", "many"):
        with pytest.raises(AddressError, match="above 0"):
            open_input(f"sim:calibration-shop?setting={wrong}")
