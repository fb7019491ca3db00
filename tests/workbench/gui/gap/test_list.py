"""A shop's list of pickups, from one season to the next."""

import csv
import json

import pytest
from PySide6.QtCore import Qt

from workbench.base.machine import parse_machine
from workbench.gui.gap.page import GapView
from workbench.jobs.keep import any_answer
from workbench.jobs.verify import verify
from workbench.models.gap.job import GapJob, Step
from workbench.records.store import open_store


def test_a_list_is_worked_through_by_enter_alone(page, qtbot, worked_out, tmp_path, type_round):
    page.job.list.rename("A / left")
    page.job.list.add("A / right")
    page.job.list.go_to(0)
    type_round(page)
    assert page.job.step is Step.NEXT_PICKUP
    qtbot.keyClick(page.feeler.gap, Qt.Key.Key_Return)
    assert page.feeler.name.text() == "A / right"
    type_round(page, ["0.140"] * 4)
    path = tmp_path / "pickups.csv"
    page.see_list_report()  # keeps the readings first
    worked_out(page)
    page.paper.save_as(path)
    worked_out(page)
    assert page.job.kept_as[0].answer.summary == {"pass": 1, "fail": 1}
    rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    assert [(row["machine"], row["side"], row["verdict"]) for row in rows] == [
        ("A", "left", "pass"),
        ("A", "right", "fail"),
    ]
    assert float(rows[1]["gap_m"]) == pytest.approx(0.140 * 0.0254, rel=1e-5)


def test_pickups_of_two_machines_are_kept_by_their_own_limits(
    page, screen, bench, worked_out, tmp_path, type_round, machine
):
    page.job.list.rename("A / left")
    type_round(page, ["0.110"] * 4)  # 2.8 mm: inside 3.2 mm, outside 2 mm
    narrow = machine.text.replace("Test", "Narrow") + "[pickup]\ngap_max_m = 0.002\n"
    bench.use_machine(parse_machine(narrow, "test"))
    page.refresh()
    assert page.feeler.whose.text() == "Limits of Test digger."
    assert page.feeler.use_machine.isVisible()
    assert page.list.rows.index(0, 0).data() == "A / left\nTest digger"
    page.job.start_run(drop_out=False)
    assert "Narrow digger is in use" in page.job.run.said
    page.job.list.add("B / left")
    assert not page.feeler.use_machine.isVisible()
    type_round(page, ["0.110"] * 4)
    screen.press("Keep result")
    worked_out(page)
    assert "Kept as results 1 and 2, one for each machine." in screen.said
    with open_store(bench.store) as store:
        for number, name, verdict in ((1, "Test digger", "pass"), (2, "Narrow digger", "fail")):
            stored = store.result(number)
            answer = any_answer(stored)
            assert (answer.limits_of, answer.verdict) == (name, verdict)
            assert parse_machine(stored.machine_text).name == name
            assert verify(store, number).verified
    assert page.job.shown_answer().number == 2
    page.see_list_report()
    worked_out(page)
    path = tmp_path / "pickups.html"
    page.paper.save_as(path)
    worked_out(page)
    text = path.read_text(encoding="utf-8")
    for words in ("Results 1 and 2", "Limits of Test digger: best", "Limits of Narrow digger"):
        assert words in text
    page.paper.closed.emit()
    page.job.list.go_to(0)
    page.feeler.use_machine.click()
    assert page.feeler.pill.accessibleName() == "Verdict: fail"
    assert page.job.kept_as == []


def test_filter_and_find(page, qtbot, type_round):
    for name in ("Digger 4 / left", "Digger 4 / right", "Digger 7 / left"):
        page.job.list.add(name)
    type_round(page)
    page.show_view(GapView.LIST)
    page.list.filter.setCurrentText("Pass")
    assert page.list.rows.rowCount() == 1
    assert page.list.rows.index(0, 1).data() == "✓ pass"
    page.list.filter.setCurrentText("Not yet")
    page.list.search.setText("digger 4")
    assert page.list.rows.rowCount() == 2
    page.list.table.setCurrentIndex(page.list.rows.index(1, 0))
    assert page.job.list.current.name == "Digger 4 / right"
    qtbot.keyClick(page.list.table, Qt.Key.Key_Return)
    assert page.view is GapView.FEELER
    page.show_view(GapView.LIST)
    page.list.search.setText("no such")
    assert page.list.empty.isVisible()


def test_adding_removing_and_undo(page, screen, qtbot):
    page.show_view(GapView.LIST)
    qtbot.keyClicks(page.list.fresh, "Digger 4 / left")
    qtbot.keyClick(page.list.fresh, Qt.Key.Key_Return)
    qtbot.keyClicks(page.list.fresh, "Digger 4 / left")
    qtbot.keyClick(page.list.fresh, Qt.Key.Key_Return)
    assert "in the list already" in page.list.error.text()
    assert len(page.job.list.entries) == 2
    qtbot.keyClick(page.list.table, Qt.Key.Key_Delete)
    assert len(page.job.list.entries) == 1
    page.job.undo()
    assert page.job.list.current.name == "Digger 4 / left"
    assert "Taken back: removing Digger 4 / left." in screen.said


def test_a_table_becomes_the_list_and_a_wrong_one_is_told(page, screen, worked_out, tmp_path):
    table = tmp_path / "shop.csv"
    rows = [f"{name},{at},0.0016" for name in ("A / left", "A / right") for at in (0, 90, 180, 270)]
    table.write_text("\n".join(["pickup,angle_deg,gap_m", *rows]) + "\n", encoding="utf-8")
    page.open_table(table)
    worked_out(page)
    assert [state.standing for state in page.job.list.states()] == ["pass", "pass"]
    page.open_table(tmp_path / "none.csv")
    worked_out(page)
    assert "expected a table" in screen.said
    table.write_text("pickup,angle_deg,gap_m\nA,0,oops\n", encoding="utf-8")
    page.open_table(table)
    worked_out(page)
    assert "line 2" in screen.said
    assert len(page.job.list.entries) == 2


def test_a_restart_resumes_where_it_was_left(page, worked_out, make_page, type_round, four_gaps):
    page.job.list.add("Digger 9 / right")
    type_round(page, four_gaps[:2])
    page.refresh()
    worked_out(page)
    again = make_page()
    assert again.job.list.current.name == "Digger 9 / right"
    assert again.feeler.place.text() == "180"
    assert again.job.list.state(again.job.list.current).readings == 2
    assert again.job.list.to_data() == page.job.list.to_data()


def test_the_first_pickup_is_called_after_the_machine_until_it_is_named(bench, machine):
    job = GapJob(bench)
    bench.use_machine(machine)
    job.look_at_machine()
    assert job.list.current.name == "Test digger"
    job.list.rename("Digger 4 / left")
    bench.use_machine(None)
    job.look_at_machine()
    assert job.list.current.name == "Digger 4 / left"
    job.keep_draft()


def test_a_damaged_list_of_last_time_is_put_aside(bench):
    path = bench.settings.path.with_name("gap-list.json")
    for damaged in ("{", "[]", '{"pickups": []}', '{"pickups": [{"name": "A"}], "at": 0}'):
        path.write_text(damaged, encoding="utf-8")
        job = GapJob(bench)
        assert "damaged" in job.said
        assert path.with_suffix(".damaged").read_text(encoding="utf-8") == damaged
        assert [entry.name for entry in job.list.entries] == ["Pickup 1"]
        job.keep_draft()
    good = {"at": 0, "pickups": [{"name": "A", "readings": [[0, 0.0016, 0]], "runs": []}]}
    path.write_text(json.dumps(good), encoding="utf-8")
    job = GapJob(bench)
    assert job.list.state(job.list.current).readings == 1
    job.keep_draft()
