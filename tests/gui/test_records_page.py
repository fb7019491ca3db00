"""Records: look at, filter, compare, verify, export, delete and undo."""

from __future__ import annotations

import csv

import pytest
from PySide6.QtCore import Qt

from workbench.gui.pages import records
from workbench.models import archive
from workbench.models.pass_judge import judge_recording
from workbench.records.store import open_store


@pytest.fixture
def page(window, bench, pass_time, settle):
    bench.recording.start("north field")
    pass_time(40, step_s=5)
    bench.recording.stop()
    bench.recording.wait()
    for ground in ("radar", "gnss"):
        judge_recording(1, "left", ground, bench.store)
    made = window.page("Records")
    settle(made)
    return made


@pytest.fixture
def choose(page, settle):
    def select(*wanted):
        page._list.clearSelection()
        mode = page._list.selectionMode()
        page._list.setSelectionMode(page._list.SelectionMode.MultiSelection)
        for at, entry in enumerate(page._shown):
            if (entry.is_result, entry.number) in wanted:
                page._list.selectRow(at)
        page._list.setSelectionMode(mode)
        settle(page)

    return select


def test_all_that_is_kept_is_listed_and_filtered(page):
    assert {(one.is_result, one.number) for one in page._shown} == {
        (False, 1),
        (True, 1),
        (True, 2),
    }
    page._filter.setText("north")
    assert [one.is_result for one in page._shown] == [False]
    page._filter.setText("fail")
    assert all(one.is_result for one in page._shown)
    page._filter.setText("no such thing")
    assert page._shown == []
    assert "fits the filter" in page._nothing.text()


def test_an_empty_store_says_how_to_fill_it(window, settle):
    page = window.page("Records")
    settle(page)
    assert page._nothing.text() == records.EMPTY


def test_a_recording_opens_as_its_speeds(page, choose):
    choose((False, 1))
    assert page._views.currentIndex() == records.SPEEDS
    shown = page._speeds._shown
    assert {"left", "right"} == set(shown.is_belt)
    assert {"radar", "gnss", "wheel"} <= set(shown.lines)
    judged = archive.result(page._bench.store, 1).answer
    assert shown.lines["left"].value[-1] == pytest.approx(judged["belt_speed_mps"], rel=0.03)


def test_a_pass_opens_at_its_plot_and_is_verified(page, choose, settle, qtbot):
    choose((True, 1))
    assert page._views.currentIndex() == records.PASS
    assert "Ratio belt ÷ ground" in page._answer.sentence.text()
    qtbot.mouseClick(page._verify, Qt.MouseButton.LeftButton)
    settle(page)
    assert page._said.text().startswith("Result 1 is verified")


def test_two_results_are_compared_side_by_side(page, choose):
    choose((True, 1), (True, 2))
    assert page._views.currentIndex() == records.FIGURES
    header = [page._figures.horizontalHeaderItem(at).text() for at in range(3)]
    assert header == ["", "Result 2", "Result 1"]
    names = [page._figures.item(at, 0).text() for at in range(page._figures.rowCount())]
    assert "Ratio belt ÷ ground" in names
    page._bench.settings.change(units="metric")
    page.refresh()
    row = names.index("Belt speed")
    assert page._figures.item(row, 1).text().endswith("km/h")


def test_a_deleted_recording_is_out_of_sight_and_comes_back(page, bench, choose, settle, qtbot):
    choose((True, 1))
    assert not page._delete.isEnabled()
    choose((False, 1))
    qtbot.mouseClick(page._delete, Qt.MouseButton.LeftButton)
    settle(page)
    assert page._shown == []
    assert "Undo brings them back" in page._said.text()
    qtbot.mouseClick(page._undo, Qt.MouseButton.LeftButton)
    settle(page)
    assert len(page._shown) == 3
    with open_store(bench.store) as store:
        assert [one.number for one in store.recordings()] == [1]
        assert not list(store.check())


def test_a_recording_is_exported_as_tables_and_a_result_as_a_report(page, choose, settle, tmp_path):
    choose((False, 1))
    page.export_to(tmp_path / "out.csv")
    settle(page)
    with (tmp_path / "out-edges.csv").open(encoding="utf-8", newline="") as table:
        assert {row["channel"] for row in csv.DictReader(table)} >= {"left", "right"}
    choose((True, 1))
    page.export_to(tmp_path / "out.html")
    settle(page)
    assert "Saved as out.html" in page._said.text()
    assert "belt ÷ ground" in (tmp_path / "out.html").read_text(encoding="utf-8")


def test_a_store_that_fails_is_said_on_the_page(window, bench, tmp_path, settle):
    (tmp_path / "no").write_text("")
    bench.store = str(tmp_path / "no" / "store.db")
    page = window.page("Records")
    settle(page)
    assert "cannot be" in page._said.text()
