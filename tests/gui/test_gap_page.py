"""The gap check by keyboard and on the simulator: to stored results and a report."""

import csv
import json

import pytest
from PySide6.QtCore import Qt

from drivers.catalogue import open_input
from workbench.cautions import AT_THE_WHEEL, WITH_THE_BELT_RUNNING
from workbench.cli.verify import verify
from workbench.gui.pages.gap import GapPage, View
from workbench.gui.theme import BRIGHT, DARK
from workbench.machine import parse_machine
from workbench.models.gap_job import GapJob, Step
from workbench.records.store import open_store

MACHINE = """
name = "Test digger"
[drive]
target_teeth = 30
kind = "sprocket"
sprocket_teeth = 12
rod_pitch_m = 0.05
"""
ROUND = ("1/16", "1.6 mm", "0.062 in", "1.6mm")


@pytest.fixture
def make_page(bench, qtbot):
    made = []

    def make():
        page = GapPage(bench, BRIGHT)
        qtbot.addWidget(page)
        page.setMinimumSize(816, 460)  # what the smallest window leaves to a page
        page.show()
        made.append(page)
        return page

    yield make
    for page in made:
        page._works.wait()
        page._drafts.wait()


@pytest.fixture
def page(bench, make_page):
    """With a machine of 30 teeth and no input: feelers need no signal."""
    bench.use_machine(parse_machine(MACHINE, "test"))
    bench.cautions_read.add(AT_THE_WHEEL)
    return make_page()


@pytest.fixture
def run_page(bench, make_page):
    """On the simulator, all cautions read."""
    bench.use_inputs(["sim:bent-tooth?seed=1"])
    bench.cautions_read |= {AT_THE_WHEEL, WITH_THE_BELT_RUNNING}
    return make_page()


@pytest.fixture
def worked_out(qtbot):
    def wait(page):
        qtbot.waitUntil(lambda: not (page._works.busy or page._drafts.busy), timeout=20_000)

    return wait


def enter(page, qtbot, gap):
    qtbot.keyClicks(page.feeler.gap, gap)
    qtbot.keyClick(page.feeler.gap, Qt.Key.Key_Return)


def type_round(page, qtbot, readings=ROUND):
    for gap in readings:
        enter(page, qtbot, gap)


class TestFeeler:
    def test_the_caution_comes_first_and_takes_the_focus(self, bench, make_page, qtbot):
        page = make_page()
        assert not page.feeler.gap.isVisible()
        qtbot.keyClick(page._caution.understood, Qt.Key.Key_Space)
        assert page.feeler.gap.isVisible()
        assert not make_page()._caution.isVisible()

    def test_numbers_one_after_the_other_to_a_stored_result_and_a_report(
        self, page, bench, qtbot, worked_out, tmp_path
    ):
        places = []
        for gap in ROUND:
            places.append(page.feeler.place.text())
            enter(page, qtbot, gap)
        assert places == ["0", "90", "180", "270"]
        assert page.feeler.pill.accessibleName() == "Verdict: pass"
        assert page.feeler.take.text() == "Keep result (Enter)"
        qtbot.keyClick(page.feeler.gap, Qt.Key.Key_Enter)  # the number pad's
        worked_out(page)
        number = page.job.answer["result"]
        with open_store(bench.store) as store:
            stored = store.result(number).answer
            assert verify(store, number)["verified"]
        # 1/16 in is 1.5875 mm exactly; 0.062 in 1.5748 mm.
        assert stored["gap_m"] == pytest.approx((1.5875 + 1.6 + 1.5748 + 1.6) / 4000, abs=1e-8)
        assert page._said.text() == f"Kept as result {number}."
        qtbot.keyClick(page.feeler.gap, Qt.Key.Key_Enter)
        worked_out(page)
        assert page.paper.isVisible()
        assert page.paper.said.text() == "2 pages."
        path = tmp_path / "gap.html"
        page.paper.save_as(path)
        worked_out(page)
        text = path.read_text(encoding="utf-8")
        assert "the gap is 0.063 in (± " in text
        assert page.paper.said.text() == "Saved as gap.html."
        page.paper.save_as(tmp_path / "gap.doc")
        worked_out(page)
        assert "ends in .pdf" in page.paper.said.text()
        page.paper.closed.emit()
        assert page.feeler.gap.isVisible()

    def test_readings_on_the_simulators_own_machine_are_marked_and_real_ones_not(
        self, run_page, qtbot, worked_out
    ):
        page = run_page
        type_round(page, qtbot)
        page._keep()
        worked_out(page)
        assert page.job.answer["simulated"] is True
        assert page.list.rows.index(0, 1).data() == "✓ pass, simulated"
        page.job.name_pickup("Digger 4 / left")  # a real one: feelers need no signal
        page._keep()
        worked_out(page)
        assert page.job.answer["simulated"] is False

    def test_a_wrong_gap_says_so_at_the_field_and_nothing_is_lost(self, page, qtbot):
        type_round(page, qtbot)
        enter(page, qtbot, "1.6 furlong")
        assert page.feeler.gap_error.isVisible()
        assert "furlong" in page.feeler.gap_error.text()
        assert page.feeler.gap.text() == "1.6 furlong"
        page.job.changed()  # as anything else on the page may have it
        assert page.feeler.gap_error.isVisible()
        assert len(page.job.list.current.gap_m) == 4
        for wrong in ("abc", "", "1e999", "721"):
            page.feeler.place.setText(wrong)
            page.feeler.read()
            assert "degrees" in page.feeler.place_error.text()
        page.feeler.undo.click()
        assert len(page.job.list.current.gap_m) == 3
        page.feeler.gap.setText("")
        qtbot.keyClick(page.feeler.gap, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
        assert len(page.job.list.current.gap_m) == 2
        qtbot.keyClicks(page.feeler.gap, "1/1")  # first the text, as everywhere
        qtbot.keyClick(page.feeler.gap, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
        assert len(page.job.list.current.gap_m) == 2

    @pytest.mark.parametrize(
        ("typed", "units", "said"),
        [
            ("1.6", "us", "type 1.6 mm"),
            ("63", "us", "type 63 thou"),
            ("63", "metric", "type 63 thou"),
            ("-1", "us", "below 0"),
            ("1/0", "us", "divides by 0"),
            ("", "us", "as the feeler shows it"),
        ],
    )
    def test_a_number_in_another_unit_is_guessed_at(self, page, bench, qtbot, typed, units, said):
        bench.settings.change(units=units)
        enter(page, qtbot, typed)
        assert said in page.feeler.gap_error.text()
        assert page.job.list.current.gap_m == []

    def test_units_change_every_number_at_once(self, page, bench, qtbot):
        type_round(page, qtbot, ("0.070", "0.075", "0.080", "0.075"))
        assert " in " in page.feeler.sentence.text()
        assert page.feeler.advice.text().startswith("Set the pickup 0.012 in closer")
        bench.settings.change(units="metric")
        page.set_theme(DARK)
        page.refresh()
        assert " mm " in page.feeler.sentence.text()
        assert page.feeler.advice.text().startswith("Set the pickup 0.30 mm closer")
        assert page.feeler._gap_name.text() == "Gap, mm"
        for typed in ("1.7", "1,7", "1,70 mm", "0,067 in"):
            enter(page, qtbot, typed)
            assert page.job.list.current.gap_m[-1] == pytest.approx(0.0017, abs=2e-6)

    def test_teeth_from_the_mark_in_place_of_angles(self, page, qtbot):
        page.feeler.counted.setCurrentIndex(1)
        page.feeler.counted.activated.emit(1)
        places = []
        for gap in ROUND:
            places.append(page.feeler.place.text())
            enter(page, qtbot, gap)
        # Of 30 teeth a quarter turn is 7.5.
        assert places == ["1", "9", "16", "23"]
        assert page.job.list.current.angle_deg == pytest.approx([0, 96, 180, 264])
        page.feeler.place.setText("31")
        enter(page, qtbot, "1.6 mm")
        assert "teeth 1 to 30" in page.feeler.place_error.text()

    def test_a_reading_can_be_taken_out_and_is_asked_for_again(self, page, qtbot):
        type_round(page, qtbot)
        page.feeler.chips.setCurrentRow(1)
        qtbot.keyClick(page.feeler.chips, Qt.Key.Key_Delete)
        assert page.job.list.current.angle_deg == [0, 180, 270]
        assert page.feeler.place.text() == "90"
        assert "next at 90 degrees" in page.pictures.wheel.accessibleDescription()

    def test_the_number_pads_plus_and_minus(self, page, qtbot):
        page.job.add_pickup("Digger 4 / left")
        page.job.go_to(0)
        enter(page, qtbot, "1/16")
        pad = Qt.KeyboardModifier.KeypadModifier
        qtbot.keyClick(page.feeler.gap, Qt.Key.Key_Minus, pad)
        assert page.job.list.current.gap_m == []
        qtbot.keyClick(page.feeler.gap, Qt.Key.Key_Plus, pad)
        assert page.job.list.at == 1


class TestList:
    def test_a_list_is_worked_through_by_enter_alone(
        self, page, bench, qtbot, worked_out, tmp_path
    ):
        page.job.name_pickup("A / left")
        page.job.add_pickup("A / right")
        page.job.go_to(0)
        type_round(page, qtbot)
        assert page.job.step is Step.NEXT_PICKUP
        qtbot.keyClick(page.feeler.gap, Qt.Key.Key_Return)
        assert page.feeler.name.text() == "A / right"
        type_round(page, qtbot, ["0.140"] * 4)
        path = tmp_path / "pickups.csv"
        page.see_list_report()  # keeps the readings first
        worked_out(page)
        page.paper.save_as(path)
        worked_out(page)
        assert page.job.answer["summary"] == {"pass": 1, "fail": 1}
        rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
        assert [(row["machine"], row["side"], row["verdict"]) for row in rows] == [
            ("A", "left", "pass"),
            ("A", "right", "fail"),
        ]
        assert float(rows[1]["gap_m"]) == pytest.approx(0.140 * 0.0254, rel=1e-5)

    def test_pickups_of_two_machines_are_kept_by_their_own_limits(
        self, page, bench, qtbot, worked_out, tmp_path
    ):
        page.job.name_pickup("A / left")
        type_round(page, qtbot, ["0.110"] * 4)  # 2.8 mm: inside 3.2 mm, outside 2 mm
        narrow = MACHINE.replace("Test", "Narrow") + "[pickup]\ngap_max_m = 0.002\n"
        bench.use_machine(parse_machine(narrow, "test"))
        page.refresh()
        assert page.feeler.whose.text() == "Limits of Test digger."
        assert page.feeler.use_machine.isVisible()
        assert page.list.rows.index(0, 0).data() == "A / left\nTest digger"
        page.job.start_run(drop_out=False, channel="left")
        assert "Narrow digger is in use" in page.job.run.said
        page.job.add_pickup("B / left")
        assert not page.feeler.use_machine.isVisible()
        type_round(page, qtbot, ["0.110"] * 4)
        page._keep()
        worked_out(page)
        assert page._said.text() == "Kept as results 1 and 2, one for each machine."
        with open_store(bench.store) as store:
            for number, name, verdict in ((1, "Test digger", "pass"), (2, "Narrow digger", "fail")):
                stored = store.result(number)
                assert (stored.answer["limits_of"], stored.answer["verdict"]) == (name, verdict)
                assert parse_machine(stored.machine_text).name == name
                assert verify(store, number)["verified"]
        assert page.job.shown_answer()["result"] == 2
        page.see_list_report()
        worked_out(page)
        path = tmp_path / "pickups.html"
        page.paper.save_as(path)
        worked_out(page)
        text = path.read_text(encoding="utf-8")
        for words in ("Results 1 and 2", "Limits of Test digger: best", "Limits of Narrow digger"):
            assert words in text
        page.paper.closed.emit()
        page.job.go_to(0)
        page.feeler.use_machine.click()
        assert page.feeler.pill.accessibleName() == "Verdict: fail"
        assert page.job.answer is None

    def test_filter_and_find(self, page, qtbot):
        for name in ("Digger 4 / left", "Digger 4 / right", "Digger 7 / left"):
            page.job.add_pickup(name)
        type_round(page, qtbot)
        page.show_view(View.LIST)
        page.list.filter.setCurrentText("Pass")
        assert page.list.rows.rowCount() == 1
        assert page.list.rows.index(0, 1).data() == "✓ pass"
        page.list.filter.setCurrentText("Not yet")
        page.list.search.setText("digger 4")
        assert page.list.rows.rowCount() == 2
        page.list.table.setCurrentIndex(page.list.rows.index(1, 0))
        assert page.job.list.current.pickup.name == "Digger 4 / right"
        qtbot.keyClick(page.list.table, Qt.Key.Key_Return)
        assert page.view is View.FEELER
        page.show_view(View.LIST)
        page.list.search.setText("no such")
        assert page.list.empty.isVisible()

    def test_adding_removing_and_undo(self, page, qtbot):
        page.show_view(View.LIST)
        qtbot.keyClicks(page.list.fresh, "Digger 4 / left")
        qtbot.keyClick(page.list.fresh, Qt.Key.Key_Return)
        qtbot.keyClicks(page.list.fresh, "Digger 4 / left")
        qtbot.keyClick(page.list.fresh, Qt.Key.Key_Return)
        assert "in the list already" in page.list.error.text()
        assert len(page.job.list.entries) == 2
        qtbot.keyClick(page.list.table, Qt.Key.Key_Delete)
        assert len(page.job.list.entries) == 1
        page.job.undo()
        assert page.job.list.current.pickup.name == "Digger 4 / left"
        assert page._said.text() == "Taken back: removing Digger 4 / left."

    def test_a_table_becomes_the_list_and_a_wrong_one_is_told(
        self, page, qtbot, worked_out, tmp_path
    ):
        table = tmp_path / "shop.csv"
        rows = [
            f"{name},{at},0.0016" for name in ("A / left", "A / right") for at in (0, 90, 180, 270)
        ]
        table.write_text("\n".join(["pickup,angle_deg,gap_m", *rows]) + "\n", encoding="utf-8")
        page.open_table(table)
        worked_out(page)
        assert [state.word for state in page.job.list.states()] == ["pass", "pass"]
        page.open_table(tmp_path / "none.csv")
        worked_out(page)
        assert "expected a table" in page._said.text()
        table.write_text("pickup,angle_deg,gap_m\nA,0,oops\n", encoding="utf-8")
        page.open_table(table)
        worked_out(page)
        assert "line 2" in page._said.text()
        assert len(page.job.list.entries) == 2

    def test_a_restart_resumes_where_it_was_left(self, page, bench, qtbot, worked_out, make_page):
        page.job.add_pickup("Digger 9 / right")
        type_round(page, qtbot, ROUND[:2])
        page.refresh()
        worked_out(page)
        again = make_page()
        assert again.job.list.current.pickup.name == "Digger 9 / right"
        assert again.feeler.place.text() == "180"
        assert again.job.list.state(again.job.list.current).readings == 2
        assert again.job.list.to_data() == page.job.list.to_data()


class TestRuns:
    def test_its_own_caution_comes_before_a_run(self, page, qtbot, worked_out):
        page.show_view(View.TEETH)
        assert page._run_caution.isVisible()
        assert not page.runs[View.TEETH].start.isVisible()
        qtbot.keyClick(page._run_caution.understood, Qt.Key.Key_Space)
        assert page.runs[View.TEETH].start.isVisible()
        worked_out(page)

    def test_a_tooth_run_names_the_bent_tooth_counted_from_the_mark(
        self, run_page, bench, qtbot, pass_time, worked_out, tmp_path
    ):
        page = run_page
        page.job.name_pickup("Digger 4 / left")
        pass_time(2)
        page.show_view(View.TEETH)
        panel = page.runs[View.TEETH]
        assert panel.live_channel == "left"
        panel.start.click()
        assert page.job.run.running

        def look():
            bench.live.update()
            page.refresh()

        pass_time(14, 0.5, look)
        worked_out(page)
        page._works.add(page.job.run.fold_work(), page.job.run.folded, pytest.fail)
        worked_out(page)
        assert page.job.run.so_far.late_rel.size == 30
        assert page.job.run.so_far.turns > 20
        panel.start.click()
        worked_out(page)
        # The scenario 'bent-tooth' bends tooth 7 of the left pickup's wheel.
        assert page.job.run.faults() == {7: "bent tooth"}
        assert "bent tooth 7" in page.pictures.teeth.accessibleDescription()
        assert "number 7, counted from the mark" in panel.sentence.text()
        state = page.job.list.state(page.job.list.current)
        assert (state.word, state.simulated) == ("fail", True)
        with open_store(bench.store) as store:
            stored = store.result(state.runs[0].result)
        assert stored.answer["verdict"] == "fail"
        page.see_report()
        page.paper.save_as(tmp_path / "tooth.html")
        page.job.add_pickup("Digger 4 / right")
        page.see_list_report()
        worked_out(page)
        page.paper.save_as(tmp_path / "list.html")
        worked_out(page)
        assert "SIMULATED DATA" in (tmp_path / "tooth.html").read_text(encoding="utf-8")
        sheet = (tmp_path / "list.html").read_text(encoding="utf-8")
        assert "fail, simulated" in sheet
        assert "not yet" in sheet

    def test_an_old_recording_is_judged_away_from_the_screen(
        self, run_page, bench, qtbot, worked_out
    ):
        page = run_page
        with open_store(bench.store) as store:
            number = store_simulated(store, "sim:missing-tooth?seed=2", 30.0, bench.machine)
        page.show_view(View.TEETH)
        worked_out(page)
        panel = page.runs[View.TEETH]
        panel.source.setCurrentIndex(panel.source.findData(number))
        panel.source.activated.emit(panel.source.currentIndex())
        assert panel.start.text() == f"Judge recording {number}"
        panel.start.click()
        worked_out(page)
        assert "missing tooth" in page.job.run.faults().values()
        assert panel.channel.count() == 2
        panel.channel.setCurrentIndex(1 - panel.channel.currentIndex())
        panel.channel.activated.emit(panel.channel.currentIndex())
        assert page.job.run.faults() == {}
        page.show_view(View.DROP_OUT)
        worked_out(page)
        panel = page.runs[View.DROP_OUT]
        panel.source.setCurrentIndex(panel.source.findData(number))
        panel.start.click()
        worked_out(page)
        assert "The belt was not slowed" in panel.said.text() + panel.sentence.text()

    def test_a_drop_out_run_finds_the_speed(self, run_page, bench, worked_out):
        page = run_page
        bench.machine = None
        bench.use_inputs(["sim:drop-out-run?seed=3"])
        page.refresh()
        with open_store(bench.store) as store:
            number = store_simulated(
                store, "sim:drop-out-run?seed=3", 150.0, bench.machine, {"left"}
            )
        page.show_view(View.DROP_OUT)
        worked_out(page)
        panel = page.runs[View.DROP_OUT]
        panel.source.setCurrentIndex(panel.source.findData(number))
        panel.start.click()
        worked_out(page)
        drop = page.job.run.pickup["drop_out"]
        # Where the answer puts the drop-out about half the teeth of the weakest side are seen.
        seen = [share for speed, share in page.job.run.curve if speed > 1.1 * drop["speed_mps"]]
        assert min(seen) > 0.99
        assert page.job.run.curve[0][1] < 0.9
        assert "mph" in panel.sentence.text()
        assert page.pictures.currentWidget() is page.pictures.curve
        bench.settings.change(units="metric")
        page.refresh()
        assert "km/h" in panel.sentence.text()

    def test_without_pulses_no_run(self, bench, make_page, worked_out):
        bench.cautions_read |= {AT_THE_WHEEL, WITH_THE_BELT_RUNNING}
        page = make_page()
        page.show_view(View.TEETH)
        page.runs[View.TEETH].start.click()
        assert "No pulses" in page.runs[View.TEETH].said.text()
        worked_out(page)


def store_simulated(store, address, for_s, machine, channels=None):
    """A simulated recording in the store, made without waiting; all its channels or some."""
    driver = open_input(f"{address}&pace=fast")
    writer = store.begin_recording(
        "shop", started_host_s=driver.clock(), simulated=True, machine=machine
    )
    driver.open()
    end_s = driver.clock() + for_s
    while driver.clock() < end_s:
        items = driver.read(0.5)
        if channels:
            items = [item for item in items if getattr(item, "channel", "") in channels]
        writer.write([(address, item) for item in items], driver.notes)
    writer.end(driver.notes, "done")
    driver.close()
    return writer.number


def test_the_first_pickup_is_called_after_the_machine_until_it_is_named(bench):
    job = GapJob(bench)
    bench.use_machine(parse_machine(MACHINE, "test"))
    job.look_at_machine()
    assert job.list.current.pickup.name == "Test digger"
    job.name_pickup("Digger 4 / left")
    bench.use_machine(None)
    job.look_at_machine()
    assert job.list.current.pickup.name == "Digger 4 / left"
    job.close()


def test_a_damaged_list_of_last_time_is_put_aside(bench):
    path = bench.settings.path.with_name("gap-list.json")
    for damaged in ("{", "[]", '{"pickups": []}', '{"pickups": [{"name": "A"}], "at": 0}'):
        path.write_text(damaged, encoding="utf-8")
        job = GapJob(bench)
        assert "damaged" in job.said
        assert path.with_suffix(".damaged").read_text(encoding="utf-8") == damaged
        assert [entry.pickup.name for entry in job.list.entries] == ["Pickup 1"]
        job.close()
    good = {"at": 0, "pickups": [{"name": "A", "readings": [[0, 0.0016, 0]], "runs": []}]}
    path.write_text(json.dumps(good), encoding="utf-8")
    job = GapJob(bench)
    assert job.list.state(job.list.current).readings == 1
    job.close()
