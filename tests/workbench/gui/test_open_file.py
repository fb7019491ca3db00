"""A file from elsewhere is judged on the page where it is wanted: by its button, or dropped.

By mouse, through what a person sees; the dialogue for files, which is the system's own, answers
with the file, and a drop comes from the window system as an event of the window.
"""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QCoreApplication, QMimeData, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from PySide6.QtWidgets import QFileDialog, QLineEdit

from tests.workbench.invented import DIGGER_RUNS, GAPS
from workbench.base.machine import parse_machine
from workbench.gui.app import make_window
from workbench.jobs.keep import any_answer
from workbench.jobs.verify import verify
from workbench.records.store import open_store

MACHINE = """
name = "Four-row digger"
[belt]
lap_length_m = 9.84
u_lap_length_m = 0.004
[drive]
target_teeth = 24
kind = "sprocket"
sprocket_teeth = 10
rod_pitch_m = 0.0381
measured_on = 2026-09-14
[readout]
unit = "mph"
step = 0.1
setting = 1920
setting_unit = "pulses/100 ft"
setting_step = 1
reads = "inverse"
"""
METRE_PER_PULSE_M = 10 * 0.0381 / 24  # a sprocket's turn moves the belt by ten rods


def pulses(speed_mps, for_s, at_s=5.0):
    """An edge table of a sound wheel's pulses at one speed."""
    step_s = METRE_PER_PULSE_M / speed_mps
    times = at_s + step_s * np.arange(int(for_s / step_s))
    # Teeth are cut to some 0.5 % of a pitch (common practice, no source).
    times += 0.005 * step_s * np.random.default_rng(1).standard_normal(times.size)
    return "time_s,channel\n" + "".join(f"{time:.6f},belt\n" for time in times)


@pytest.fixture
def screen(bench, put_away, screen_of):
    bench.use_machine(parse_machine(MACHINE, "the test's machine file"))
    window = make_window(bench)
    window.timer.stop()
    window.resize(1024, 600)
    window.show()
    yield screen_of(window)
    put_away(window)


@pytest.fixture
def by_button(screen, monkeypatch):
    """Open files on a page by its button."""

    def go(page, *paths):
        answer = [str(path) for path in paths], ""
        monkeypatch.setattr(QFileDialog, "getOpenFileNames", lambda *_a, **_k: answer)
        go_to(screen, page)
        screen.press("Open file")
        screen.settle()

    return go


@pytest.fixture
def by_drop(screen):
    """Drop files on the window while a page is seen."""

    def go(page, *paths):
        go_to(screen, page)
        drop(screen.widget, paths)
        screen.settle()

    return go


def go_to(screen, page):
    """A page, its caution read."""
    screen.press(page)
    if "I have read this" in screen.offers:
        screen.press("I have read this")
    screen.settle()


def drop(window, paths):
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(path)) for path in paths])
    copy, left, free = (
        Qt.DropAction.CopyAction,
        Qt.MouseButton.LeftButton,
        Qt.KeyboardModifier.NoModifier,
    )
    event = QDropEvent(QPointF(500, 300), copy, data, left, free)
    QCoreApplication.sendEvent(window.windowHandle(), event)


@pytest.fixture(params=["by button", "by drop"])
def bring(request, by_button, by_drop):
    return by_button if request.param == "by button" else by_drop


def the_result(bench):
    """The one result in the store, verified, and its answer."""
    with open_store(bench.store) as store:
        (entry,) = store.results()
        assert verify(store, entry.number).verified
        return entry, any_answer(store.result(entry.number))


def test_a_log_of_real_speeds_is_judged_on_pass(bring, screen, bench, data_dir):
    """The data's own README: mean GNSS ÷ wheel 1.0077, so that wheel ÷ GNSS is 0.992."""
    bring("Pass", data_dir / "car_wheel_gnss.csv")
    assert screen.next == "Judge this file"
    screen.choose("Belt from", "wheel")
    screen.choose("Ground from", "gnss")
    screen.press("Judge this file")
    screen.settle()
    _entry, answer = the_result(bench)
    assert answer.ratio == pytest.approx(1 / 1.0077, abs=0.004)
    assert screen.next.startswith("Start next pass")
    with open_store(bench.store) as store:
        (recording,) = store.recordings()
    assert recording.name == "car_wheel_gnss.csv"
    assert bench.recording.number is None  # nothing was driven or recorded anew


def test_a_bus_log_offers_its_sources_on_pass(by_drop, screen, data_dir):
    """Speed over ground (129026) and through water (128259), as the data's README has them."""
    by_drop("Pass", data_dir / "boat_n2k_two_speeds.raw")
    grounds = screen.field("Ground from")
    offered = [grounds.itemText(at) for at in range(grounds.count())]
    assert len(offered) == 2
    assert any("129026" in one or "sog" in one.lower() or "gnss" in one.lower() for one in offered)


def test_pulses_are_judged_tooth_by_tooth_on_gap(bring, screen, bench, tmp_path):
    path = tmp_path / "left.csv"
    path.write_text(pulses(1.2, 40.0))
    bring("Gap", path)
    screen.press("Judge this file")
    screen.settle()
    entry, answer = the_result(bench)
    assert entry.kind == "gap"
    assert answer.pickups[0].teeth == 24
    assert "Kept as result" in screen.said
    screen.press("Go back")
    assert "Is the gap right?" in screen.said


def test_a_gap_table_goes_into_the_list(bring, screen, tmp_path):
    path = tmp_path / "feeler.csv"
    path.write_text(GAPS)
    bring("Gap", path)
    assert "1 pickup from feeler.csv" in screen.said
    assert "The gap is 0.0669" in screen.said  # the mean of the four, 1.7 mm


def test_a_run_table_is_judged_on_calibrate(bring, screen, bench, tmp_path, monkeypatch):
    """The table of the README: the middle of three runs reads some 4 % too much."""
    path = tmp_path / "runs.csv"
    path.write_text(DIGGER_RUNS)
    bring("Calibrate", path)
    screen.press("Judge this file")
    screen.settle()
    entry, answer = the_result(bench)
    assert entry.kind == "calibrate"
    assert answer.error_at_work == pytest.approx(0.045, abs=0.01)
    report = tmp_path / "certificate.html"
    asked = []

    def save(_parent, _title, begin, _kinds):
        asked.append(begin)
        return str(report), ""

    monkeypatch.setattr(QFileDialog, "getSaveFileName", save)
    screen.press("Save report")
    screen.settle()
    assert f"esult {entry.number}" in report.read_text(encoding="utf-8")
    assert "Four-row digger" in asked[0]


def test_a_recording_and_what_the_readout_showed_are_judged_together(
    bring, screen, bench, tmp_path
):
    """At 1.2 m/s (2.684 mph) a readout of 2.7 that is rounded reads 0.6 % too much, one that cuts
    digits off 2.5 %: where nobody says which, it is taken for the middle, 2.725 ÷ 2.684 - 1."""
    recorded, shown = tmp_path / "belt.csv", tmp_path / "shown.csv"
    recorded.write_text(pulses(1.2, 60.0))
    shown.write_text("from_s,to_s,shown\n6,30,2.7\n32,60,2.7\n")
    bring("Calibrate", recorded, shown)
    assert "shown.csv" in screen.said
    screen.press("Judge this file")
    screen.settle()
    _entry, answer = the_result(bench)
    assert answer.error_at_work == pytest.approx(2.725 / (1.2 / 0.44704) - 1, abs=0.002)


def test_records_keeps_a_file_and_opens_it(bring, screen, bench, data_dir):
    bring("Records", data_dir / "car_wheel_gnss.csv")
    screen.settle()
    with open_store(bench.store) as store:
        (recording,) = store.recordings()
    assert recording.name in screen.said
    assert "Judge as a pass" in screen.offers


def test_a_file_opened_twice_is_kept_once(by_drop, bench, data_dir):
    by_drop("Records", data_dir / "gnss_walking.nmea")
    by_drop("Pass", data_dir / "gnss_walking.nmea")
    with open_store(bench.store) as store:
        assert len(store.recordings()) == 1


@pytest.mark.parametrize("page", ["Pass", "Calibrate", "Gap", "Records"])
def test_a_wrong_file_gets_a_sentence(page, by_drop, screen, bench, tmp_path):
    path = tmp_path / "letter.csv"
    path.write_text("Dear all,\nthis is no recording.\n")
    by_drop(page, path)
    screen.settle()
    assert "letter.csv" in screen.said
    assert "expected" in screen.said
    with open_store(bench.store) as store:
        assert not store.recordings()


def test_a_table_of_another_page_says_what_it_is(by_drop, screen, tmp_path):
    path = tmp_path / "runs.csv"
    path.write_text(DIGGER_RUNS)
    by_drop("Gap", path)
    screen.settle()
    assert "run table" in screen.said


def test_a_file_dropped_on_a_field_is_opened_and_not_typed(screen, tmp_path, by_drop):
    path = tmp_path / "feeler.csv"
    path.write_text(GAPS)
    go_to(screen, "Gap")
    drop(screen.widget, [path])
    screen.settle()
    assert not any("feeler.csv" in one.text() for one in screen.shown(QLineEdit))


def test_the_next_dialogue_begins_where_the_last_one_ended(by_button, bench, data_dir, screen):
    by_button("Records", data_dir / "car_wheel_gnss.csv")
    assert bench.settings.now.folder == str(data_dir)
