"""Tooth runs and drop-out runs: live on the simulator, and from old recordings."""

from PySide6.QtCore import Qt

from workbench.base.cautions import Caution
from workbench.calibration.gap.faults import FaultKind
from workbench.calibration.statistics.decision import Verdict
from workbench.gui.gap.page import GapView
from workbench.gui.parts.basics import CautionCard
from workbench.jobs.keep import any_answer
from workbench.records.store import open_store


def recording_chosen(page, view, number, worked_out):
    """Chooses a stored recording in a view of runs; the view's panel."""
    page.show_view(view)
    worked_out(page)
    panel = page.runs[view]
    panel.source.setCurrentIndex(panel.source.findData(number))
    panel.source.activated.emit(panel.source.currentIndex())
    return panel


def drop_out_judged(page, number, worked_out):
    """Judges a stored recording as a drop-out run; the view's panel."""
    panel = recording_chosen(page, GapView.DROP_OUT, number, worked_out)
    panel.start.click()
    worked_out(page)
    return panel


def test_its_own_caution_comes_before_a_run(page, screen, worked_out):
    page.show_view(GapView.TEETH)
    assert screen.shown(CautionCard)
    assert not page.runs[GapView.TEETH].start.isVisible()
    assert page.focusWidget() is screen.button("I have read this")
    screen.key(Qt.Key.Key_Space)
    assert page.runs[GapView.TEETH].start.isVisible()
    worked_out(page)


def test_a_tooth_run_names_the_bent_tooth_counted_from_the_mark(
    run_page, screen_of, bench, pass_time, worked_out, tmp_path
):
    page = run_page
    page.job.list.rename("Digger 4 / left")
    pass_time(2)
    page.show_view(GapView.TEETH)
    panel = page.runs[GapView.TEETH]
    assert panel.live_channel == "left"
    run_teeth(page, bench, pass_time, 14)
    screen_of(page).until(lambda: page.job.run.so_far and page.job.run.so_far.turns > 20)
    assert page.job.run.so_far.late_rel.size == 30
    panel.start.click()
    worked_out(page)
    # The scenario 'bent-tooth' bends tooth 7 of the left pickup's wheel.
    assert page.job.run.faults() == {7: FaultKind.BENT}
    assert "bent tooth 7" in page.pictures.teeth.accessibleDescription()
    assert "Bent tooth 7, counted from the mark" in panel.sentence.text()
    state = page.job.list.state(page.job.list.current)
    assert (state.standing, state.simulated) == (Verdict.FAIL, True)
    with open_store(bench.store) as store:
        stored = store.result(state.runs[0].result)
    assert any_answer(stored).verdict is Verdict.FAIL
    page.see_report()
    page.paper.save_as(tmp_path / "tooth.html")
    page.job.list.add("Digger 4 / right")
    page.see_list_report()
    worked_out(page)
    page.paper.save_as(tmp_path / "list.html")
    worked_out(page)
    assert "SIMULATED DATA" in (tmp_path / "tooth.html").read_text(encoding="utf-8")
    sheet = (tmp_path / "list.html").read_text(encoding="utf-8")
    assert "fail, simulated" in sheet
    assert "not yet" in sheet


def test_an_old_recording_is_judged_away_from_the_screen(
    run_page, bench, worked_out, store_simulated
):
    page = run_page
    with open_store(bench.store) as store:
        number = store_simulated(store, "sim:missing-tooth?seed=2", 30.0, bench.machine)
    panel = recording_chosen(page, GapView.TEETH, number, worked_out)
    assert panel.start.text() == f"Judge recording {number}"
    panel.start.click()
    worked_out(page)
    assert FaultKind.MISSING in page.job.run.faults().values()
    assert panel.channel.count() == 2
    panel.channel.setCurrentIndex(1 - panel.channel.currentIndex())
    panel.channel.activated.emit(panel.channel.currentIndex())
    assert page.job.run.faults() == {}
    panel = drop_out_judged(page, number, worked_out)
    assert "The belt was not slowed" in panel.said.text() + panel.sentence.text()


def run_teeth(page, bench, pass_time, for_s):
    """Starts a tooth run and lets it run; its panel."""
    panel = page.runs[GapView.TEETH]
    panel.start.click()
    assert page.job.run.running

    def look():
        bench.live.update()
        page.refresh()

    pass_time(for_s, 0.5, look)
    return panel


def tooth_run(page, bench, pass_time, worked_out):
    run_teeth(page, bench, pass_time, 20).start.click()
    worked_out(page)


def test_the_next_pickup_is_judged_by_its_own_channel(
    run_page, screen_of, bench, pass_time, worked_out
):
    page = run_page
    page.job.list.rename("Digger 4 / left")
    page.job.list.add("Digger 4 / right")
    page.job.list.go_to(0)
    pass_time(2)
    page.show_view(GapView.TEETH)
    panel = page.runs[GapView.TEETH]
    tooth_run(page, bench, pass_time, worked_out)
    # The scenario 'bent-tooth' bends tooth 7 of the left pickup's wheel, none of the right's.
    assert page.job.run.faults() == {7: FaultKind.BENT}
    page.buttons.next.click()
    assert page.job.run.judged is None
    assert panel.live_channel == "right"
    assert "'right'" in panel.sentence.text()
    tooth_run(page, bench, pass_time, worked_out)
    assert page.job.run.pickup.pickup == "right"
    assert page.job.run.faults() == {}
    runs = [[run.channel for run in entry.runs] for entry in page.job.list.entries]
    assert runs == [["left"], ["right"]]


def test_which_channel_an_unnamed_pickup_is_must_be_said(
    run_page, screen_of, bench, pass_time, worked_out
):
    page = run_page
    page.job.list.rename("Digger 4")
    pass_time(2)
    page.show_view(GapView.TEETH)
    worked_out(page)
    panel = page.runs[GapView.TEETH]
    page.refresh()
    assert panel.live_channel == ""
    assert not panel.start.isEnabled()
    screen_of(page).choose("By which channel", "right")
    assert page.job.list.current.channel == "right"
    assert panel.start.isEnabled()


def test_an_old_recording_is_noted_once_its_channel_is_known(
    run_page, screen_of, bench, worked_out, store_simulated
):
    page = run_page
    page.job.list.rename("Digger 4")
    with open_store(bench.store) as store:
        number = store_simulated(store, "sim:bent-tooth?seed=2", 30.0, bench.machine)
    panel = recording_chosen(page, GapView.TEETH, number, worked_out)
    panel.start.click()
    worked_out(page)
    assert page.job.list.current.runs == ()
    assert "until then nothing is noted" in panel.details.text()
    screen_of(page).choose("By which channel", "right")
    assert [run.channel for run in page.job.list.current.runs] == ["right"]
    assert page.job.run.faults() == {}


def test_a_drop_out_run_finds_the_speed(run_page, bench, worked_out, store_simulated):
    page = run_page
    bench.machine = None
    bench.use_inputs(["sim:drop-out-run?seed=3"])
    page.refresh()
    with open_store(bench.store) as store:
        number = store_simulated(store, "sim:drop-out-run?seed=3", 150.0, bench.machine, {"left"})
    panel = drop_out_judged(page, number, worked_out)
    drop = page.job.run.pickup.drop_out
    # Where the answer puts the drop-out about half the teeth of the weakest side are seen.
    seen = [share for speed, share in page.job.run.curve if speed > 1.1 * drop.speed_mps]
    assert min(seen) > 0.99
    assert page.job.run.curve[0][1] < 0.9
    assert "mph" in panel.sentence.text()
    assert "steady" not in panel.details.text()  # the belt was to be slowed
    assert page.pictures.currentWidget() is page.pictures.curve
    bench.settings.change(units="metric")
    page.refresh()
    assert "km/h" in panel.sentence.text()


def test_without_pulses_no_run(bench, make_page, worked_out):
    bench.cautions_read |= {Caution.AT_THE_WHEEL, Caution.WITH_THE_BELT_RUNNING}
    page = make_page()
    page.show_view(GapView.TEETH)
    page.runs[GapView.TEETH].start.click()
    assert "No pulses" in page.runs[GapView.TEETH].said.text()
    worked_out(page)
