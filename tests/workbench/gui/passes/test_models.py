"""The pass without a screen: start and stop by itself, words, earlier passes."""

from __future__ import annotations

import csv
import json
import math
import re
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from drivers.catalogue import open_input
from workbench.base.cautions import Caution
from workbench.base.errors import WrongInput
from workbench.base.machine import parse_machine
from workbench.base.statements import statement
from workbench.base.units import METRIC, US
from workbench.calibration.statistics.decision import Verdict, decide
from workbench.jobs.keep import add, any_answer, options_of
from workbench.jobs.particulars import Particulars
from workbench.jobs.passes.answer import PassOptions, PassSays, Series
from workbench.jobs.passes.compute import compute
from workbench.jobs.passes.history import HistorySays, beside, step_learned
from workbench.match.advice import Advice, advise
from workbench.match.findings import EvidenceSays
from workbench.match.hypotheses import Cause
from workbench.match.ratio import Pace
from workbench.match.season import Visit
from workbench.models.passes import files as pass_files
from workbench.models.passes import job as passes
from workbench.models.passes.auto import STAND_S, START_S, AutoPass, AutoStep, rule_words
from workbench.models.passes.cues import Cue
from workbench.models.passes.job import NO_INPUT, NO_MACHINE, PassJob
from workbench.models.passes.judge import Judged, choices, judge_again, judge_with_history
from workbench.models.passes.live import Health, Tapes, line, readings
from workbench.models.records import archive
from workbench.models.records.listing import ended_recordings
from workbench.records.rebuild import collect
from workbench.records.store import open_store
from workbench.reports.document import render_html
from workbench.reports.made import Made
from workbench.reports.passes.report import pass_document
from workbench.words.passes import pass_words
from workbench.words.words import Words

STEP_S = 0.1


class ByHand:
    """An `AutoPass` looked at ten times a second; does what it says."""

    def __init__(self):
        self.auto, self.now_s, self.running, self.steps = AutoPass(), 0.0, False, []
        self.auto.on = True

    def go(self, for_s, belt, ground):
        for _ in range(round(for_s / STEP_S)):
            self.now_s += STEP_S
            step = self.auto.look(self.now_s, belt, ground, running=self.running)
            if step is not None:
                self.running = step is AutoStep.START
                self.steps.append((round(self.now_s, 1), step))
        return [step for _, step in self.steps]


def test_a_pass_begins_and_ends_by_itself():
    drive = ByHand()
    assert drive.go(20, 1.0, 0.0) == []
    drive.go(10, 1.0, 1.1)
    assert drive.steps == [(pytest.approx(20 + START_S, abs=0.2), AutoStep.START)]
    drive.go(3, 1.0, 0.0)  # a short stop
    drive.go(20, 1.0, 1.1)
    assert drive.running
    drive.go(10, 0.0, 0.02)
    assert drive.steps[1] == (pytest.approx(53 + STAND_S, abs=0.2), AutoStep.STOP)
    assert drive.go(10, 1.0, 1.1) == [AutoStep.START, AutoStep.STOP, AutoStep.START]


def test_a_lost_signal_neither_begins_nor_ends_a_pass():
    drive = ByHand()
    assert drive.go(20, 1.0, math.nan) == []
    drive.go(2, 1.0, 1.1)
    drive.go(1, math.nan, 1.1)
    assert drive.go(2, 1.0, 1.1) == []  # the seconds begin anew
    drive.go(2, 1.0, 1.1)
    assert drive.running
    drive.go(60, math.nan, math.nan)
    assert drive.running


def test_after_a_stop_by_hand_the_digger_has_to_stand_first():
    drive = ByHand()
    drive.go(10, 1.0, 1.1)
    drive.running = False
    assert drive.go(30, 1.0, 1.1) == [AutoStep.START]
    drive.go(1, 1.0, 0.0)
    assert drive.go(10, 1.0, 1.1) == [AutoStep.START, AutoStep.START]


def test_switched_off_nothing_is_done_by_itself():
    drive = ByHand()
    drive.auto.on = False
    assert drive.go(30, 1.0, 1.1) == []
    drive.running = True
    assert drive.go(30, 0.0, 0.0) == []


def test_the_rule_is_said_in_the_persons_units():
    # 0.3 m/s is 0.67 mph and 1.08 km/h (NIST SP 811, appendix B: 1 mph = 0.44704 m/s).
    assert "0.67 mph" in rule_words(US)
    assert "1.08 km/h" in rule_words(METRIC)


@pytest.fixture(scope="module")
def slow_pass():
    """(answer, machine) of a simulated pass whose belt is set too slow."""
    driver = open_input("sim:valve-off?seed=4&pace=fast")
    recording = collect(driver, 45)
    machine = parse_machine(driver.machine_text, "the scenario's machine file")
    return compute(recording, machine, PassOptions()), machine


def every_sentence(words):
    parts = (words.cautions, words.to_do, words.why, words.parts, words.sources, words.notes)
    return " ".join([words.sentence, *(one for part in parts for one in part)])


def test_a_judged_pass_in_words(slow_pass):
    answer, _ = slow_pass
    words = pass_words(answer, Words(METRIC))
    assert "slower than the ground" in words.headline
    assert "km/h" in words.detail
    assert words.to_do[0].startswith("Run the belt ")
    assert "engine off" in words.cautions[0]
    assert "Flow control set off by a constant factor" in words.why[0]
    assert "% likely" in words.why[0]
    assert "To tell: Move the flow control" in words.why[0]
    assert all("behind" in part for part in words.parts)
    assert choices(answer) == (["left", "right"], ["wheel", "radar", "gnss"])


METRIC_ONLY = re.compile(r"\d (m|km/h|m/s|mm)\b|°C")
US_ONLY = re.compile(r"\d (ft|mph|ft/min|in)\b|°F")


def test_nobody_reads_a_foreign_unit(slow_pass):
    """Of a cause of every kind, advice of every kind, and the report."""
    answer, machine = slow_pass
    answer = replace(
        answer,
        causes=(
            replace(
                answer.causes[0],
                evidence=(
                    statement(EvidenceSays.OIL_WARMED, from_c=20.0, to_c=50.0),
                    statement(EvidenceSays.MISSED_AT_SPEED, missed_mps=0.4, usual_mps=1.2),
                ),
            ),
        ),
        advice=advise(
            Pace(
                decide(0.8, 0.01, 0.95, 1.05), 0.8, 0.01, belt_speed_mps=0.5, ground_speed_mps=0.625
            ),
            machine.limits,
        ),
    )
    for units, foreign, own in (
        (US, METRIC_ONLY, "68 °F to 122 °F"),
        (METRIC, US_ONLY, "20 °C to 50 °C"),
    ):
        words = Words(units)
        said = every_sentence(pass_words(answer, words))
        assert not foreign.search(said), said
        assert own in said
        page = render_html(pass_document(answer, machine, words, Made((1,))))
        text = re.sub(r"<[^>]*>|data:[^\"]*", " ", page)
        assert not foreign.search(text), foreign.search(text)
        assert own in text


def test_the_caution_goes_with_what_is_to_be_done(slow_pass):
    answer, _ = slow_pass
    assert Caution.HANDS_OFF in answer.cautions
    resting = replace(answer, advice=None, causes=())
    assert resting.cautions == ()
    (cause, *_others) = answer.causes
    tooth = replace(resting, causes=(replace(cause, cause=Cause.DAMAGED_WHEEL, probability=0.9),))
    assert tooth.cautions == (Caution.AT_THE_WHEEL,)
    assert "cardboard" in pass_words(tooth, Words()).cautions[0]


def test_without_a_known_source_the_words_say_what_to_do(slow_pass):
    reason = statement(PassSays.NO_BELT_KNOWN, held=statement(PassSays.NO_SPEED_HELD))
    answer = replace(
        slow_pass[0],
        ratio=math.nan,
        belt=None,
        advice=None,
        causes=(),
        verdict=Verdict.CANNOT_TELL,
        reason=reason,
    )
    words = pass_words(answer, Words(US))
    assert words.headline == "Nothing here is known to be the belt"
    assert "Choose belt and ground on the Pass page" in words.to_do[0]
    assert "--" not in words.sentence + words.to_do[0]
    words = pass_words(replace(answer, sources=("vtg",)), Words(US))
    assert words.to_do == ["The recording holds vtg. Record the next pass with both plugged in."]
    told = pass_document(answer, None, Words()).blocks[0].sentence
    assert told.startswith("Nothing here is known to be the belt")
    assert "--" not in told


def test_what_can_be_saved_of_a_pass(slow_pass, tmp_path):
    earlier = [statement(HistorySays.FIRST_PASS_KEPT)]
    began, store = "2026-09-14T14:05:00+00:00", str(tmp_path / "bench.db")
    said = Particulars(customer="Miller", by="A. B.")
    with open_store(store) as opened:
        number = add(opened, "pass", slow_pass[0], PassOptions(), table="", said=said.text)
    judged = Judged(1, began, number, *slow_pass, earlier, store)
    words = Words(US)
    assert pass_files.save(judged, tmp_path / "a.csv", words) == "Saved as a.csv."
    with (tmp_path / "a.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(judged.answer.series.rows())
    known = [row for row in rows if row["ratio"]]
    means = [sum(float(row[f"{what}_mps"]) for row in known) for what in ("belt", "ground")]
    assert means[0] / means[1] == pytest.approx(judged.answer.ratio, rel=2e-3)
    pass_files.save(judged, tmp_path / "a.geojson", words)
    assert json.loads((tmp_path / "a.geojson").read_text())["type"] == "FeatureCollection"
    pass_files.save(judged, tmp_path / "a.json", words)
    report = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    assert report["simulated"] is True
    assert "first pass kept" in json.dumps(report)
    assert report["data"]["particulars"]["customer"] == "Miller"
    assert ["Driven by", "A. B."] in report["blocks"][3]["roles"]
    with pytest.raises(WrongInput, match="a report ends in"):
        pass_files.save(judged, tmp_path / "a.doc", words)
    with pytest.raises(WrongInput, match="cannot be written"):
        pass_files.save(judged, tmp_path / "no" / "a.csv", words)
    empty = replace(judged, answer=replace(judged.answer, series=Series()))
    with pytest.raises(WrongInput, match="no speeds"):
        pass_files.save(empty, tmp_path / "b.csv", words)


def test_a_change_against_earlier_passes_is_named_only_beyond_the_uncertainty():
    last, this = Visit("2026-09-01", 0.90, 0.005), Visit("2026-09-02", 0.99, 0.005)
    earlier, said = beside([last], this)
    assert earlier.what == HistorySays.ONE_EARLIER_PASS
    assert said.what == HistorySays.CHANGED_SINCE_LAST
    # By hand: 0.99/0.90 − 1 = 10 %; 2·√(0.005² + 0.005²)/0.90 = 1.57 %.
    assert "+10.0 ± 1.6 %" in Words().say(said)
    _, said = beside([last], replace(this, value=0.905))
    assert said.what == HistorySays.NO_CHANGE_SINCE_LAST


def test_a_pass_outside_the_usual_scatter_is_named():
    # Mean range 0.002 of neighbours: σ = 0.002/1.128, 3σ = 0.0053 (NIST/SEMATECH 6.3.2.2).
    visits = [Visit(f"2026-09-0{day}", 0.980 + 0.002 * (day % 2), 0.01) for day in range(1, 9)]

    def outside(value):
        said = [one.what for one in beside(visits, Visit("2026-09-09", value, 0.01))]
        return HistorySays.OUTSIDE_EARLIER_SCATTER in said

    assert outside(1.1)
    assert not outside(0.981)


def test_an_earlier_step_of_the_flow_control_is_remembered():
    (said,) = step_learned(Advice(ratio_per_step=0.02), 0.93)
    # By hand: (1 − 0.93)/0.02 = 3.5 steps.
    assert "+2.00 %: about +3.5 steps" in Words().say(said)
    assert step_learned(Advice(), 0.93) == []


def drive(bench, job, pass_time, for_s):
    job.start()
    pass_time(for_s, look=lambda: (bench.live.update(), job.look()))


def test_a_pass_is_judged_live_and_from_the_record(bench, pass_time):
    bench.use_inputs(["sim:valve-off?seed=4"])
    job, tapes = PassJob(bench), Tapes()
    pass_time(2)
    drive(bench, job, pass_time, 40)
    assert job.take_cue() is Cue.OUT_OF_BAND
    assert job.take_cue() is None
    assert "slow" in line(job).headline
    for _ in range(80):
        shown = tapes.look(job)
    assert shown.belt_m - shown.ground_m == pytest.approx(job.now.separation_m, abs=0.2)
    assert np.isnan(np.array(job.rows())[:3, 1]).all()  # the approach is left blank
    (driver,) = bench.live.drivers
    truth = driver.truth()
    job.stop()
    judged = job.judge()
    answer = judged.answer
    # The simulator's own truth of this run.
    assert answer.ratio == pytest.approx(truth.ratio(15, 39), abs=answer.U_ratio)
    assert answer.verdict.is_fail
    assert [one.what for one in judged.earlier] == [HistorySays.FIRST_PASS_KEPT]
    stored = archive.result(bench.store, judged.number)
    assert any_answer(stored).ratio == answer.ratio
    assert any_answer(stored).simulated is True
    assert options_of(stored).belt == "left"
    judge_with_history(judged.recording, PassOptions("left", "gnss"), bench.store)
    again = judge_again(judged.recording, bench.store, None)
    assert (again.answer.belt, again.answer.ground) == ("left", "gnss")
    # A pass is not its own past.
    assert [one.what for one in again.earlier] == [HistorySays.FIRST_PASS_KEPT]
    (past,) = ended_recordings(bench.store)
    assert (past.number, past.simulated) == (judged.recording, True)


def test_a_long_pass_keeps_its_whole_length_in_bounded_room(bench, pass_time, monkeypatch):
    monkeypatch.setattr(passes, "HISTORY", 16)
    bench.use_inputs(["sim:healthy?seed=1"])
    pass_time(2)
    job = PassJob(bench)
    job.start()
    pass_time(40, STEP_S, lambda: bench.live.update() or job.look())
    time_s = [at_s for at_s, *_ in job.history]
    assert 8 <= len(time_s) <= 16
    assert time_s[0] < 2 * STEP_S
    assert time_s[-1] > 40 - 3
    steps_s = [later_s - at_s for at_s, later_s in pairwise(time_s)]
    assert max(steps_s) - min(steps_s) < 1.5 * STEP_S  # even, but for a single look
    job.stop()


def test_a_recording_without_a_machine_says_so(bench, pass_time):
    bench.use_inputs(["sim:healthy?seed=1"])
    machine, bench.machine = bench.machine, None
    bench.recording.start("bare")
    pass_time(20, step_s=5)
    bench.recording.stop()
    bench.recording.wait()
    with open_store(bench.store) as store:
        (entry,) = store.recordings()
    with pytest.raises(WrongInput, match="Choose it on the Machine page"):
        judge_again(entry.number, bench.store, None)
    assert judge_again(entry.number, bench.store, machine).machine is machine


def test_what_stands_in_the_way_of_a_pass_is_said(bench, pass_time):
    job = PassJob(bench)
    assert job.obstacle() is NO_INPUT
    job.start()
    assert not job.running
    assert job.said == NO_INPUT.sentence
    bench.use_inputs(["sim:healthy?seed=1"])
    pass_time(2)
    machine, bench.machine = bench.machine, None
    assert job.obstacle() is NO_MACHINE
    bench.machine = machine
    for name in ("radar", "gnss", "wheel"):
        assert job.obstacle() is None
        del bench.live.streams[name]
    assert "ground speed" in job.obstacle().sentence
    assert readings(job, US)[1].health is Health.MISSING


def test_sources_can_be_chosen(bench, pass_time):
    bench.use_inputs(["sim:healthy?seed=1"])
    pass_time(2)
    job = PassJob(bench)
    assert [one.name for one in job.pace.belts()] == ["left", "right"]
    assert [one.name for one in job.pace.grounds()] == ["gnss", "radar", "wheel"]
    assert (job.belt.name, job.ground.name) == ("left", "gnss")
    bench.belt_source, bench.ground_source = "right", "wheel"
    assert (job.belt.name, job.ground.name) == ("right", "wheel")


def test_a_lost_ground_is_said_with_what_could_be_used_instead(bench, clock, pass_time):
    bench.use_inputs(["sim:healthy?seed=1"])
    job = PassJob(bench)
    pass_time(2)
    drive(bench, job, pass_time, 15)
    bench.live.stop()
    clock.now_s += 5
    job.look()
    assert job.take_cue() is Cue.LOST
    assert [one.health for one in readings(job, US)] == [Health.LOST] * 3
    assert line(job).headline == "Belt and ground are lost"
    job.now = replace(job.now, belt_lost=False)
    bench.live.streams["radar"].last_host_s = clock.now_s
    assert line(job).rest == "radar is still live: choose it before the next pass."
    job.now = replace(job.now, belt_lost=True, ground_lost=False)
    assert line(job).rest == "The belt stands, or its pickup is lost."
