"""Records: look at, filter, compare, verify, export, judge, name, delete and undo, the season."""

from __future__ import annotations

import csv
import json
import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest
from PySide6.QtCore import QCoreApplication, QPoint, Qt

from drivers.catalogue import open_input
from workbench.base.machine import parse_machine
from workbench.gui.records import page as records
from workbench.gui.records.buttons import Action
from workbench.jobs.gap.answer import GapOptions
from workbench.jobs.gap.compute import compute
from workbench.jobs.keep import add, any_answer
from workbench.jobs.passes.answer import PassOptions
from workbench.models.passes.judge import judge_with_history
from workbench.models.records import archive
from workbench.records.store import open_store

READINGS = "pickup,angle_deg,gap_m\n" + "".join(
    f"left,{angle},{gap}\n"
    for angle, gap in ((0, 0.0016), (90, 0.0018), (180, 0.002), (270, 0.0018))
)


@pytest.fixture
def done(window, qtbot):
    """Frames until the page has nothing left to do in the background."""

    def wait(page):
        def idle():
            window.tick()
            assert not page.works.busy

        for _ in range(3):
            qtbot.waitUntil(idle, timeout=60_000)
            QCoreApplication.processEvents()

    return wait


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    """A store with one recording, judged against two sources; made once, copied for each test."""
    path = tmp_path_factory.mktemp("kept") / "filled.db"
    address = "sim:valve-off?seed=4&pace=fast"
    driver = open_input(address)
    machine = parse_machine(driver.machine_text)
    with open_store(str(path)) as store:
        begun_s = driver.clock()
        writer = store.begin_recording(
            "north field", started_host_s=begun_s, simulated=True, machine=machine
        )
        driver.open()
        while driver.clock() < begun_s + 40:
            writer.write([(address, item) for item in driver.read(1.0)], driver.notes)
        driver.close()
        writer.end(driver.notes, "over")
    for ground in ("radar", "gnss"):
        judge_with_history(1, PassOptions("left", ground), str(path))
    return path


@pytest.fixture
def page(window, bench, filled, done):
    shutil.copy(filled, bench.store)
    window.resize(1600, 900)
    made = window.page("Records")
    done(made)
    return made


@pytest.fixture
def choose(page, done):
    def select(*wanted):
        page.list.choose(wanted)
        page.list.opened.emit()
        done(page)

    return select


def keys(page):
    return {one.key for one in page.list.shown}


def click(qtbot, button):
    qtbot.mouseClick(button, Qt.MouseButton.LeftButton)


def keep_gap(bench, store, when):
    options = GapOptions(table_name="feeler readings")
    # A table of its own a day: the same one counts once.
    readings = READINGS.replace("left,0,0.0016\n", f"left,0,0.0016{when.day}\n")
    answer = compute(readings, bench.machine, options)
    with open_store(store, now=lambda: when) as opened:
        made_from = {"table": readings, "table_name": options.table_name}
        add(opened, "gap", answer, options, **made_from, machine=bench.machine)


def test_all_that_is_kept_is_listed_and_filtered(page):
    assert keys(page) == {(False, 1), (True, 1), (True, 2)}
    page.filter.words.setText("north")
    assert len(page.list.shown) == 3  # results carry the name of their recording
    page.filter.words.setText("recording north")
    assert keys(page) == {(False, 1)}
    page.filter.words.setText("fail")
    assert keys(page) == {(True, 1), (True, 2)}
    page.filter.words.setText("no such thing")
    assert page.list.shown == []
    assert page.panel.words.text() == records.NO_FIT
    page.filter.show_everything()
    page.filter.kinds.setCurrentIndex(page.filter.kinds.findData("pass"))
    assert {one.kind for one in page.list.shown} == {"pass"}
    assert page.count.text() == "2 of 3"


def test_an_empty_store_says_how_to_fill_it_and_leads_there(window, done, screen_of):
    page = window.page("Records")
    done(page)
    assert page.panel.words.text() == records.EMPTY
    assert not page.aside.isVisible()
    screen = screen_of(window)
    for place in ("Signals", "Calibrate", "Gap", "Pass"):
        window.show_page("Records")
        screen.press(f"Go to {place}")
        assert window.current is window.page(place)


def test_where_there_is_room_the_newest_is_seen_beside_the_list(page, done):
    assert [one.key for one in page.chosen()] == [page.list.shown[0].key]
    page.filter.words.setText("recording north")
    done(page)
    assert {one.key for one in page.chosen()} == {(False, 1)}


def test_a_recording_opens_as_its_speeds(page, bench, choose):
    choose((False, 1))
    assert page.panel.speeds.isVisible()
    (panel,) = page.panel.speeds.picture.panels
    shown = {line.name: line for line in panel.traces}
    assert {"left", "right"} == {name for name, line in shown.items() if line.role == "belt"}
    assert {"radar", "gnss", "wheel"} <= set(shown)
    judged = any_answer(archive.result(bench.store, 1))
    assert shown["left"].source.value[-1] == pytest.approx(judged.belt_speed_mps, rel=0.03)


def test_a_recording_is_judged_by_the_sources_chosen(page, bench, choose, done, qtbot):
    choose((False, 1))
    for box, source in ((page.panel.belt, "right"), (page.panel.ground, "wheel")):
        box.setCurrentIndex(box.findData(source))
    assert page.buttons.next.text() == "Judge as a pass"
    click(qtbot, page.buttons.next)
    done(page)
    assert [one.key for one in page.chosen()] == [(True, 3)]
    answer = any_answer(archive.result(bench.store, 3))
    assert (answer.belt, answer.ground) == ("right", "wheel")
    assert page.panel.result.passing.isVisible()


def test_a_recordings_belt_speed_is_measured(page, bench, choose, done, tmp_path):
    choose((False, 1))
    page.buttons.menu_actions[Action.MEASURE].trigger()
    done(page)
    stored = archive.result(bench.store, 3)
    assert stored.kind == "speed"
    assert page.panel.result.speed.sentence.text().startswith("The belt ran at")
    assert page.buttons.next.text() == "Save numbers"
    page.do.export_to(tmp_path / "speed.json")
    done(page)
    written = json.loads((tmp_path / "speed.json").read_text(encoding="utf-8"))
    assert written["belt_speed_mps"] == any_answer(stored).belt_speed_mps


def test_a_pass_opens_at_its_plot_and_is_verified(page, choose, done):
    choose((True, 1))
    assert page.panel.result.passing.isVisible()
    assert "atio belt ÷ ground" in page.panel.result.passing.sentence.text()
    page.buttons.menu_actions[Action.VERIFY].trigger()
    done(page)
    assert page.said.text().startswith("Result 1 is verified")


def test_everything_is_verified_and_a_change_is_found(page, bench, choose, done):
    page.buttons.menu_actions[Action.VERIFY_ALL].trigger()
    done(page)
    assert page.said.text().startswith("All is as it was written: 1 recordings")
    with closing(sqlite3.connect(bench.store)) as raw:
        raw.execute("DROP TRIGGER result_no_update")
        raw.execute("UPDATE result SET answer = replace(answer, 'fail', 'pass') WHERE number = 1")
        raw.commit()
    page.buttons.menu_actions[Action.VERIFY_ALL].trigger()
    done(page)
    assert "Result 1" in page.said.text()
    choose((True, 1))
    assert "altered" in page.panel.words.text()


def test_two_results_are_compared_side_by_side(page, bench, choose, done, qtbot):
    choose((True, 2))
    click(qtbot, page.buttons.compare)
    page.list.choose([(True, 1)])
    done(page)
    table = page.panel.compare.table
    assert table.isVisible()
    names = [table.item(at, 0).text() for at in range(table.rowCount())]
    row = names.index("Ratio belt ÷ ground")
    first, second = (any_answer(archive.result(bench.store, one)).ratio for one in (1, 2))
    shown = float(table.item(row, 3).text().split(" ±")[0].replace("−", "-"))
    assert shown == pytest.approx(second - first, abs=0.002)
    assert page.panel.compare.charts[0].isVisible()
    bench.settings.change(units="metric")
    page.refresh()
    assert table.item(names.index("Belt speed"), 1).text().endswith("km/h")
    choose((False, 1), (True, 1))
    assert "compared with a recording" in page.panel.words.text()


def test_delete_pressed_again_before_the_list_is_read_does_nothing_more(
    page, bench, choose, done, qtbot
):
    choose((False, 1))
    page.buttons.delete.click()
    page.list.choose(())
    page.do.delete()
    page.do.verify()
    done(page)
    click(qtbot, page.undo)
    done(page)
    assert (False, 1) in keys(page)
    assert page.do.deleted == []


def test_deleted_lines_come_back_by_undo_or_after_a_restart(page, bench, choose, done, qtbot):
    choose((True, 2))
    click(qtbot, page.buttons.delete)
    done(page)
    choose((False, 1))
    click(qtbot, page.buttons.delete)
    done(page)
    assert page.list.shown == []
    click(qtbot, page.undo)  # the recording, and with it the result that was not deleted
    done(page)
    assert keys(page) == {(False, 1), (True, 1)}
    page.do.deleted.clear()  # as after a restart
    click(qtbot, page.filter.deleted)
    assert keys(page) == {(True, 2)}
    choose((True, 2))
    assert page.buttons.next.text() == "Bring back"
    click(qtbot, page.buttons.next)
    done(page)
    assert [one.key for one in page.chosen()] == [(True, 2)]
    with open_store(bench.store) as store:
        assert [one.number for one in store.results()] == [2, 1]
        assert not store.check().problems


def test_a_recording_under_way_is_shown_and_kept(window, bench, pass_time, done):
    page = window.page("Records")
    bench.recording.start("right now")
    pass_time(20, step_s=5)
    window.tick()
    done(page)
    assert bench.recording.under_way == {1}
    page.list.choose([(False, 1)])
    page.list.opened.emit()
    done(page)
    assert page.list.shown[0].state_words == "recording now"
    assert not page.buttons.delete.isEnabled()
    assert page.buttons.next.text() == ""
    bench.recording.stop()
    bench.recording.wait()
    done(page)
    assert bench.recording.under_way == frozenset()
    assert page.buttons.delete.isEnabled()


def test_a_name_and_a_note_are_kept_beside_what_was_sealed(page, bench, choose, done):
    choose((True, 1))
    page.panel.name_it("  Before the valve  ", "dry")
    done(page)
    (entry,) = page.chosen()
    assert (entry.words, entry.note) == ("Pass: Before the valve", "dry")
    page.filter.words.setText("valve")
    assert keys(page) == {(True, 1)}
    with open_store(bench.store) as store:
        assert not store.check().problems


def test_a_recording_is_exported_as_tables_and_a_result_as_a_report(page, choose, done, tmp_path):
    choose((False, 1))
    page.do.export_to(tmp_path / "out.csv")
    done(page)
    with (tmp_path / "out-edges.csv").open(encoding="utf-8", newline="") as table:
        assert {row["channel"] for row in csv.DictReader(table)} >= {"left", "right"}
    assert not list(tmp_path.glob(".evenpace-*"))
    page.do.export_to(tmp_path / "out.csv")
    done(page)
    assert "not overwritten" in page.said.text()
    choose((True, 1))
    page.do.export_to(tmp_path / "out.html")
    done(page)
    assert "Saved as out.html" in page.said.text()
    assert "belt ÷ ground" in (tmp_path / "out.html").read_text(encoding="utf-8")
    page.do.export_to(tmp_path / "out.doc")
    done(page)
    assert "out.doc" in page.said.text()
    assert "Saved" not in page.said.text()


def test_the_season_of_a_machine_and_back_to_a_point_of_it(page, bench, done, qtbot, tmp_path):
    day = datetime(2026, 9, 14, 14, 5, tzinfo=UTC)
    for at in range(3):
        keep_gap(bench, bench.store, day + timedelta(days=at))
    page.reload()
    done(page)
    click(qtbot, page.aside)
    done(page)
    view = page.season
    assert view.machines.currentText() == bench.machine.name
    titles = [view.quantities.itemText(at) for at in range(view.quantities.count())]
    assert titles == ["Ratio belt ÷ ground", "Gap at left"]
    view.quantities.setCurrentIndex(1)
    view.quantities.activated.emit(1)
    assert "3 visits so far; 2 more" in view.words.text()
    for ending in ("png", "svg", "csv"):
        view.chart.save.save_to(tmp_path / f"season.{ending}", everything=True)
    qtbot.waitUntil(lambda: not view.chart.save.works.busy)
    assert (tmp_path / "season.png").stat().st_size > 5000
    assert "<svg" in (tmp_path / "season.svg").read_text(encoding="utf-8")
    with (tmp_path / "season.csv").open(encoding="utf-8", newline="") as table:
        heads, *rows = csv.reader(table)
    assert len(rows) == 3
    assert (
        any(head.startswith("Simulated") for head in heads)
        is any_answer(archive.result(bench.store, 3)).simulated
    )
    view.chart.setFocus()
    qtbot.keyClick(view.chart, Qt.Key.Key_Right)
    assert "14 Sep 2026" in view.chart.reading[0]
    qtbot.keyClick(view.chart, Qt.Key.Key_Return)
    done(page)
    assert [one.key for one in page.chosen()] == [(True, 3)]
    assert page.panel.result.gap.isVisible()


def test_where_room_is_short_list_and_line_take_turns(page, window, done, qtbot):
    window.resize(1024, 600)
    QCoreApplication.processEvents()
    done(page)
    assert page.list.isVisible()
    assert not page.panel.isVisible()
    page.list.setFocus()
    qtbot.keyClick(page.list, Qt.Key.Key_Down)
    assert page.list.isVisible()  # walking through the list opens nothing
    qtbot.keyClick(page.list, Qt.Key.Key_Return)
    done(page)
    assert page.panel.isVisible()
    assert not page.list.isVisible()
    qtbot.keyClick(page.panel, Qt.Key.Key_Escape)
    assert page.list.isVisible()
    row = page.list.visualRect(page.list.model().index(0, 0)).center()
    qtbot.mouseClick(page.list.viewport(), Qt.MouseButton.LeftButton, pos=QPoint(row))
    done(page)
    assert page.panel.isVisible()
    assert page.title.text() == page.chosen()[0].words


def test_a_store_that_fails_is_said_on_the_page_and_tried_again(
    window, bench, tmp_path, done, qtbot
):
    (tmp_path / "no").write_text("")
    good, bench.store = bench.store, str(tmp_path / "no" / "store.db")
    page = window.page("Records")
    done(page)
    assert "cannot be" in page.panel.words.text()
    bench.store = good
    click(qtbot, page.again)
    done(page)
    assert page.panel.words.text() == records.EMPTY
