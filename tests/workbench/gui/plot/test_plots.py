"""What a person can do with a plot: look closer, read out, get back, save; nothing overlaps."""

from __future__ import annotations

import csv
import math
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PySide6.QtCore import QCoreApplication, QEvent, QPoint, Qt
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QLayout, QVBoxLayout, QWidget

from drivers.contract import ChannelKind
from workbench.base.errors import StoreError
from workbench.base.units import METRIC, US
from workbench.gui.calibrate.error_plot import ErrorPlot
from workbench.gui.passes.drift_plot import DriftPlot
from workbench.gui.plot.axes import LINE_PX, clock_text, nice_step, number_text, spread
from workbench.gui.plot.save import tell_simulated
from workbench.gui.plot.speeds import SpeedsPlot
from workbench.gui.plot.strip import StripChart
from workbench.gui.theme import BRIGHT, DARK, TOUCH_PX
from workbench.match.ratio import PaceLimits
from workbench.models.live import Stream
from workbench.models.plot.history import History
from workbench.models.plot.pyramid import Pyramid
from workbench.models.plot.table import Column, write_table
from workbench.models.records.speed_lines import SpeedLines

MPH = 0.44704
"""One mile an hour in m/s, exact (NIST SP 811, appendix B.8)."""


@pytest.fixture
def shown(qtbot):
    """A plot in a window of its own, put away at the end."""
    made = []

    def show(plot, width=800, height=400):
        holder = QWidget()
        made.append(holder)
        column = QVBoxLayout(holder)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSizeConstraint(QLayout.SizeConstraint.SetNoConstraint)
        column.addWidget(plot)
        holder.resize(width, height)
        holder.show()
        QCoreApplication.processEvents()
        return plot

    yield show
    for plot in made:
        plot.close()
        plot.deleteLater()
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


@pytest.fixture
def speeds(shown):
    """Belt at 2 mph, ground at 3 mph; the belt pauses from 40 to 60 s."""
    belt_s = np.concatenate((np.arange(0, 40, 0.1), np.arange(60, 100, 0.1)))
    ground_s = np.arange(0, 100, 0.5)
    lines = {
        "left": Pyramid(belt_s, np.full(belt_s.size, 2 * MPH), 1.5),
        "gnss": Pyramid(ground_s, np.full(ground_s.size, 3 * MPH), 2.0),
    }
    plot = shown(SpeedsPlot(BRIGHT))
    plot.show_lines(SpeedLines(lines, frozenset({"left"}), []), US)
    return plot


@pytest.fixture
def drift(shown):
    plot = shown(DriftPlot(BRIGHT))
    time_s = np.arange(0, 60, 0.5)
    rows = [(t, 1.0, 1.25, -0.25 * t) for t in time_s.tolist()]
    plot.show_pass(rows, PaceLimits(0.95, 1.05), METRIC)
    return plot


@settings(max_examples=200, deadline=None)
@given(ends=st.lists(st.floats(-50, 450), max_size=20), spare=st.floats(0, 100))
def test_names_never_overlap_nor_leave_the_plot(ends, spare):
    room = len(ends) * LINE_PX + spare
    places = spread(sorted(ends), room, LINE_PX)
    assert all(b - a >= LINE_PX - 1e-6 for a, b in pairwise(places))
    assert all(LINE_PX / 2 - 1e-6 <= at <= room - LINE_PX / 2 + 1e-6 for at in places)


@pytest.mark.parametrize("height", [60, 110, 400])
def test_names_of_many_lines_at_one_height(shown, height):
    plot = shown(StripChart(BRIGHT), 830, height)
    streams = {
        name: Stream(name, "x", is_pulses=at < 2, kind=ChannelKind.BELT)
        for at, name in enumerate("abcdefg")
    }
    for stream in streams.values():
        for at_s in range(50):
            stream.history.append((float(at_s), 1.0))
    plot.show_streams(streams, 50.0, US)
    names = plot.panels[0].names
    placed = names.placed()
    middles = [at for _, at, _, _ in placed]
    assert all(b - a >= LINE_PX - 1e-6 for a, b in pairwise(middles))
    if len(middles) > 1:
        assert middles[0] >= LINE_PX / 2 - 1e-6
        assert middles[-1] <= names.size().height() - LINE_PX / 2 + 1e-6
    assert sorted(", ".join(name for *_, name, _ in placed).split(", ")) == list("abcdefg")


def test_a_name_stands_where_its_line_ends(drift):
    placed = {name: end for end, _, name, _ in drift.panels[0].names.placed()}
    view = drift.panels[0].view
    low, high = view.viewRange()[1]
    for name, kmh in (("belt", 3.6), ("ground", 4.5)):
        expected = view.height() * (high - kmh) / (high - low)
        assert placed[name] == pytest.approx(expected, abs=1.5)
    assert {name for _, _, name, _ in drift.panels[1].names.placed()} == {"in band", "ratio"}


@pytest.mark.parametrize("height", [208, 800])
def test_values_at_the_axis_stand_apart(drift, height):
    drift.window().resize(800, height)
    QCoreApplication.processEvents()
    for panel in drift.panels:
        low, high = panel.view.viewRange()[1]
        ((step, values),) = panel.left.tickValues(low, high, panel.view.height())
        assert step * panel.view.height() / (high - low) >= 1.5 * LINE_PX
        assert all(low <= value <= high for value in values)


def test_steps_and_texts_of_the_axes():
    assert [nice_step(one) for one in (0.011, 0.2, 3.0, 70.0)] == [0.02, 0.2, 5.0, 100.0]
    assert number_text(-0.02, 0.1) == "0.0"
    assert number_text(-12.3456, 0.02) == "−12.35"
    assert clock_text(75, 15, 100) == "75"
    assert clock_text(75, 60, 600) == "1:15"
    assert clock_text(3 * 3600 + 1800, 1800, 8 * 3600) == "3:30"
    assert clock_text(3 * 3600 + 1805, 5, 8 * 3600) == "3:30:05"


def test_the_mouse_reads_out_in_the_persons_units(speeds, qtbot):
    view = speeds.panels[0].view
    at = view.mapViewToScene(view.viewRect().center()).toPoint()  # 50 s: the belt pauses
    qtbot.mouseMove(speeds.picture().viewport(), QPoint(at.x() - 200, at.y()))
    qtbot.mouseMove(speeds.picture().viewport(), at)
    assert speeds.reading[0].endswith(" s")
    assert "left –" in speeds.reading
    assert "gnss 3.00 mph" in speeds.reading
    assert speeds.accessibleDescription() == ", ".join(speeds.reading)
    speeds.use_units(METRIC)
    assert "gnss 4.83 km/h" in speeds.reading  # 3 × 1.609344, exact


def test_keys_walk_zoom_and_come_back(speeds, qtbot):
    whole = speeds.seen()
    speeds.setFocus()
    qtbot.keyClick(speeds, Qt.Key.Key_Left)
    first = speeds.reading
    for _ in range(3):
        qtbot.keyClick(speeds, Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier)
    assert first != speeds.reading != []
    for _ in range(4):
        qtbot.keyClick(speeds, Qt.Key.Key_Plus)
    assert speeds.seen()[1] - speeds.seen()[0] < 0.5 * (whole[1] - whole[0])
    for _ in range(200):  # out of what is seen: the picture goes along, up to the first point
        qtbot.keyClick(speeds, Qt.Key.Key_Left)
    assert speeds.seen()[0] == pytest.approx(0, abs=1)
    qtbot.keyClick(speeds, Qt.Key.Key_Escape)
    assert speeds.reading == []
    qtbot.keyClick(speeds, Qt.Key.Key_Home)
    assert speeds.seen() == pytest.approx(whole)


def test_no_zoom_loses_the_plot(speeds, qtbot):
    for key in (Qt.Key.Key_Plus, Qt.Key.Key_Minus):
        for _ in range(200):
            qtbot.keyClick(speeds, key)
        low, high = speeds.seen()
        assert 1e-6 < high - low <= 3 * 99.9 + 1
        assert low < 100
        assert high > 0


def test_a_double_click_shows_the_whole_again(speeds, qtbot):
    whole = speeds.seen()
    speeds.see(10, 20)
    assert speeds.seen() == pytest.approx((10, 20))
    speeds.show_lines(speeds.shown, US, anew=False)  # more of it read: what is seen stays
    assert speeds.seen() == pytest.approx((10, 20))
    qtbot.mouseDClick(speeds.picture().viewport(), Qt.MouseButton.LeftButton, pos=QPoint(300, 200))
    assert speeds.seen() == pytest.approx(whole)


def test_a_pause_is_a_gap_in_the_line(speeds):
    x, y = speeds.panels[0].lines["left"].curve.getData()
    assert np.isnan(y[(x > 39) & (x < 61)]).any()
    x, y = speeds.panels[0].lines["gnss"].curve.getData()
    assert np.isfinite(y).all()


def test_only_what_can_be_seen_is_drawn(shown):
    plot = shown(SpeedsPlot(BRIGHT))
    time_s = np.arange(300_000) / 100
    line = Pyramid(time_s, np.random.default_rng(1).normal(size=time_s.size), 1.5)
    plot.show_lines(SpeedLines({"left": line}, frozenset(), []), US)
    drawn = plot.panels[0].lines["left"].curve.getData()[0].size
    assert drawn <= 3 * plot.width()
    plot.see(10.0, 11.0)
    assert plot.panels[0].lines["left"].curve.getData()[0].size == pytest.approx(101, abs=4)


def test_a_table_holds_what_is_seen_with_units(speeds, qtbot, tmp_path):
    speeds.see(10, 20)
    told = []
    speeds.save.said.connect(told.append)
    for name, everything in (("seen.csv", False), ("all.csv", True)):
        speeds.save.save_to(tmp_path / name, everything=everything)
    qtbot.waitUntil(lambda: len(told) == 2)
    assert told == ["Saved as seen.csv.", "Saved as all.csv."]
    with (tmp_path / "seen.csv").open(encoding="utf-8") as file:
        heads, *rows = csv.reader(file)
    assert heads == [
        "time, s (left speed, mph)",
        "left speed, mph",
        "time, s (gnss speed, mph)",
        "gnss speed, mph",
    ]
    assert [float(row[0]) for row in rows] == pytest.approx(np.arange(10, 20.05, 0.1))
    assert {float(row[1]) for row in rows} == {2.0}
    assert [row[3] for row in rows if row[3]] == ["3"] * 21
    with (tmp_path / "all.csv").open(encoding="utf-8") as file:
        assert sum(1 for _ in file) == 1 + 800


def test_lines_that_share_their_times_share_a_column(drift, qtbot, tmp_path):
    drift.save.save_to(tmp_path / "pass.csv")
    qtbot.waitUntil(lambda: not drift.save.works.busy)
    with (tmp_path / "pass.csv").open(encoding="utf-8") as file:
        heads, first, *_ = csv.reader(file)
    assert heads == [
        "time, s",
        "belt speed, km/h",
        "ground speed, km/h",
        "ratio belt ÷ ground",
        "belt ahead of ground, m",
    ]
    assert [float(one) for one in first] == pytest.approx([0, 3.6, 4.5, 0.8, 0])


def test_pictures_are_saved(drift, tmp_path):
    drift.save.save_to(tmp_path / "pass.png")
    picture = QImage(str(tmp_path / "pass.png"))
    assert picture.size() == 2 * drift.size()
    colors = {
        picture.pixelColor(x, y).name()
        for x in range(0, picture.width(), 2)
        for y in range(picture.height())
    }
    assert {BRIGHT.belt.lower(), BRIGHT.earth.lower(), BRIGHT.ground.lower()} <= colors
    drift.save.save_to(tmp_path / "pass.svg")
    drawing = ElementTree.parse(tmp_path / "pass.svg")
    texts = {node.text.strip() for node in drawing.iter() if node.tag.endswith("text")}
    assert {"belt", "ground", "in band", "speed, km/h", "seconds"} <= texts


def test_what_is_saved_of_simulated_data_says_so(drift, qtbot, tmp_path):
    for simulated in (False, True):
        tell_simulated(drift, simulated)
        for ending in ("png", "svg", "csv"):
            drift.save.save_to(tmp_path / f"{simulated}.{ending}")
    qtbot.waitUntil(lambda: not drift.save.works.busy)

    def heads(name):
        with (tmp_path / name).open(encoding="utf-8") as file:
            return next(csv.reader(file))

    assert heads("True.csv") == [
        heads("False.csv")[0],
        *(f"Simulated {head}" for head in heads("False.csv")[1:]),
    ]
    texts = {
        name: [
            node.text.strip()
            for node in ElementTree.parse(tmp_path / name).iter()
            if node.tag.endswith("text")
        ]
        for name in ("False.svg", "True.svg")
    }
    assert "Simulated" in texts["True.svg"]
    assert "Simulated" not in texts["False.svg"]
    pills = [
        QImage(str(tmp_path / f"{name}.png")).pixelColor(drift.width(), 8).name()
        for name in (False, True)
    ]
    assert pills == [BRIGHT.ground.lower(), BRIGHT.attention.lower()]


def test_a_place_that_cannot_be_written_is_a_sentence(drift, qtbot, tmp_path):
    told = []
    drift.save.said.connect(told.append)
    for ending in ("png", "svg", "csv"):
        drift.save.save_to(tmp_path / "missing" / f"pass.{ending}")
    qtbot.waitUntil(lambda: len(told) == 3)
    assert all("cannot be written" in one for one in told)


def test_a_table_half_written_is_not_left(tmp_path):
    def full(_fraction):
        raise OSError(28, "No space left on device")

    column = Column("time, s", np.arange(3.0), "speed, mph", np.arange(3.0))
    with pytest.raises(StoreError, match="No space left"):
        write_table([column], tmp_path / "a.csv", full)
    assert list(tmp_path.iterdir()) == []


def test_the_button_is_big_enough_and_has_its_menu(drift):
    assert drift.save.accessibleName() == "Save plot"
    assert min(drift.save.width(), drift.save.height()) >= TOUCH_PX
    words = [action.text() for action in drift.save.menu().actions()]
    assert len(words) == 4
    assert any("PNG" in one for one in words)
    assert any("SVG" in one for one in words)
    assert any("everything" in one for one in words)


def test_words_of_change_points_do_not_overlap(drift):
    for at_s, word in ((20.0, "+1.5 %"), (21.0, "−1.9 %"), (50.0, "+0.8 %")):
        drift.mark(at_s, word)
    seen = [mark.word.isVisible() for mark in drift._marks.made]
    assert seen == [True, False, True]
    drift.see(19.0, 22.0)
    assert [mark.word.isVisible() for mark in drift._marks.made] == [True, True, False]
    top = drift.panels[0].view.viewRange()[1][1]
    assert top > 4.5 * 1.05  # room above the lines for the words
    drift.clear_marks()
    assert drift._marks.made == []


def test_a_start_from_standstill_does_not_flatten_the_ratio(shown):
    plot = shown(DriftPlot(DARK))
    rows = [(t / 2, 1.0, min(1.0, 0.1 + t / 20), 0.0) for t in range(120)]
    plot.show_pass(rows, PaceLimits(0.95, 1.05), US)
    low, high = plot.panels[1].view.viewRange()[1]
    assert low <= 0.95
    assert 1.05 <= high < 1.5


def test_lost_ground_is_a_gap_and_the_belt_goes_on(shown):
    plot = shown(DriftPlot(BRIGHT))
    rows = [(float(t), 1.0, math.nan if 20 <= t < 40 else 1.0, 0.0) for t in range(60)]
    plot.show_pass(rows, PaceLimits(0.95, 1.05), METRIC)
    belt, ground = (plot.panels[0].lines[name].curve.getData()[1] for name in ("belt", "ground"))
    assert np.isfinite(belt).all()
    assert np.isnan(ground[20:40]).all()
    plot.point_at(30.0)
    assert plot.reading == ["30.0 s", "belt 3.60 km/h", "ground –", "ratio –", "ahead 0.00 m"]


def test_the_error_plot_shows_limit_ribbon_and_runs(shown):
    plot = shown(ErrorPlot(BRIGHT), 420, 260)
    plot.show_answer(None, 0.02, US)
    assert [band.word for band in plot.panels[0].bands] == ["allowed ± 2 %"]
    ends = [{"speed_mps": one, "error": 0.01, "u_error": 0.002} for one in (2 * MPH, 4 * MPH)]
    runs = [{"true_mps": 3 * MPH, "error": 0.06, "u_error": 0.002, "used": True}]
    plot.show_answer({"k": 2.0, "error_at_ends": ends, "runs": runs}, 0.02, US)
    low, high = plot.panels[0].view.viewRange()[1]
    assert low <= -6.4
    assert high >= 6.4
    plot.point_at(3.0)
    assert plot.reading == ["true belt speed 3 mph", "as found +1.00 %"]
    heads = [column.head for column in plot.columns()]
    assert heads[1:] == ["error of the runs as found, used, %", "its U (k = 2) as found, used, %"]
    x, high_edge = plot.panels[0].areas["as found"].high.getData()
    assert x == pytest.approx([2, 4])
    assert high_edge == pytest.approx([1.4, 1.4])


def test_a_history_keeps_the_newest_in_order():
    history = History(kept=4)
    for at in range(11):
        history.append((float(at), 10.0 * at))
    time_s, value = history.since(8.0)
    assert time_s.tolist() == [8, 9, 10]
    assert value.tolist() == [80, 90, 100]
    assert 4 <= len(history) <= 8
    history.append((3.0, 1.0))  # late: never back in time
    assert list(history)[-1] == (10.0, 1.0)
