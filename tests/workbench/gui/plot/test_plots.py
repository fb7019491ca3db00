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
from workbench.gui.plot.plot import Plot
from workbench.gui.plot.save import tell_simulated
from workbench.gui.plot.words import LINE_PX
from workbench.gui.theme import BRIGHT, DARK, TOUCH_PX
from workbench.jobs.passes.answer import Change
from workbench.live.health import EdgeLook
from workbench.live.streams import Stream
from workbench.match.ratio import PaceLimits
from workbench.models.plot.streams import edge_picture, strip_picture
from workbench.models.plot.table import write_table
from workbench.models.records.speed_lines import SpeedLines, speeds_picture
from workbench.words.pictures.calibrate import error_picture
from workbench.words.pictures.extent import spread
from workbench.words.pictures.passes import pass_picture
from workbench.words.pictures.picture import Axis, Column, Panel, Picture, Points
from workbench.words.pictures.pyramid import Pyramid
from workbench.words.pictures.ticks import clock_text, nice_step

MPH = 0.44704
"""One mile an hour in m/s, exact (NIST SP 811, appendix B.8)."""
LIMITS = PaceLimits(0.95, 1.05)
ROWS = np.array([(t, 1.0, 1.25, -0.25 * t) for t in np.arange(0, 60, 0.5)])


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
    plot = shown(Plot(BRIGHT, "Speeds"))
    plot.show_picture(speeds_picture(SpeedLines(lines, frozenset({"left"}), [])), US)
    return plot


@pytest.fixture
def drift(shown):
    plot = shown(Plot(BRIGHT, "Drift plot"))
    plot.show_picture(pass_picture(ROWS, LIMITS), METRIC)
    return plot


@pytest.fixture
def season(shown):
    """Three values with their uncertainty, the last beyond what is allowed."""
    day_s, values = 1_789_300_000 + 86_400 * np.arange(3.0), np.array([1.0, 1.01, 0.9])
    points = Points("", day_s, values, np.full(3, 0.02), odd=np.array([False, False, True]))
    plot = shown(Plot(BRIGHT, "Season"))
    panel = Panel(Axis("ratio", "ratio"), points=(points,), include=(0.9, 1.1))
    plot.show_picture(Picture(Axis("day", "day"), (panel,)), US)
    return plot


def names_of(plot, panel):
    """The names that stand beside a panel, from the top."""
    box = plot.panels[panel].box
    names = [one for one in plot.words if one.begin is not None]
    return [one for one in names if box.top() <= one.begin.y() <= box.bottom()]


def ends_of(plot, panel):
    """Where each name's line ends, in pixels from the top."""
    return {one.text: one.begin.y() for one in names_of(plot, panel)}


def marks_of(plot):
    """The words that stand in the row above the first panel."""
    top = plot.panels[0].box.top()
    return [one.text for one in plot.words if one.box.bottom() == pytest.approx(top)]


def drawn(plot, panel, name):
    """A line's places and values as they are drawn."""
    return next((x, y) for trace, x, y in plot.panels[panel].drawn if trace.name == name)


@settings(max_examples=200, deadline=None)
@given(ends=st.lists(st.floats(-50, 450), max_size=20), spare=st.floats(0, 100))
def test_names_never_overlap_nor_leave_the_plot(ends, spare):
    room = len(ends) * LINE_PX + spare
    places = spread(sorted(ends), room, LINE_PX)
    assert all(b - a >= LINE_PX - 1e-6 for a, b in pairwise(places))
    assert all(LINE_PX / 2 - 1e-6 <= at <= room - LINE_PX / 2 + 1e-6 for at in places)


@pytest.mark.parametrize("height", [60, 110, 400])
def test_names_of_many_lines_at_one_height(shown, height):
    plot = shown(Plot(BRIGHT, "Speeds"), 830, height)
    kinds = {True: ChannelKind.BELT, False: ChannelKind.RADAR}
    streams = {
        name: Stream(name, "x", is_pulses=at < 2, kind=kinds[at < 2])
        for at, name in enumerate("abcdefg")
    }
    for stream in streams.values():
        stream.add_speeds(np.arange(50.0), np.ones(50), None)
    plot.show_picture(strip_picture(streams, 50.0), US)
    (panel,) = plot.panels
    middles = [name.box.center().y() for name in names_of(plot, 0)]
    assert all(b - a >= LINE_PX - 1e-6 for a, b in pairwise(middles))
    if len(middles) > 1:
        assert middles[0] >= panel.box.top() + LINE_PX / 2 - 1e-6
        assert middles[-1] <= panel.box.bottom() - LINE_PX / 2 + 1e-6
    told = ", ".join(name.text for name in names_of(plot, 0))
    assert sorted(told.split(", ")) == list("abcdefg")


def test_a_name_stands_where_its_line_ends(drift):
    for name, mps in (("belt", 1.0), ("ground", 1.25)):
        end = drift.panels[0].px(0.0, mps).y()
        assert ends_of(drift, 0)[name] == pytest.approx(end, abs=1.5)
    assert ends_of(drift, 1).keys() == {"in band", "ratio"}


@pytest.mark.parametrize("height", [208, 800])
def test_values_at_the_axis_stand_apart(drift, height):
    drift.window().resize(800, height)
    QCoreApplication.processEvents()
    for panel in drift.panels:
        at = [panel.px(0.0, value).y() for value, _ in panel.ticks]
        assert at
        assert all(abs(a - b) >= 1.5 * LINE_PX for a, b in pairwise(at))
        assert all(panel.box.top() - 1 <= one <= panel.box.bottom() + 1 for one in at)


def test_steps_and_texts_of_the_axes():
    assert [nice_step(one) for one in (0.011, 0.2, 3.0, 70.0)] == [0.02, 0.2, 5.0, 100.0]
    assert clock_text(75, 15, 100) == "75"
    assert clock_text(75, 60, 600) == "1:15"
    assert clock_text(3 * 3600 + 1800, 1800, 8 * 3600) == "3:30"
    assert clock_text(3 * 3600 + 1805, 5, 8 * 3600) == "3:30:05"


def test_values_on_the_axis_are_round_in_the_persons_units(speeds):
    for units, one_mps in ((US, MPH), (METRIC, 1 / 3.6)):
        speeds.use_units(units)
        ticks = speeds.panels[0].ticks
        shown = [float(text) for _, text in ticks]
        assert [value / one_mps for value, _ in ticks] == pytest.approx(shown)


def test_the_mouse_reads_out_in_the_persons_units(speeds, qtbot):
    middle = speeds.panels[0].box.center().toPoint()  # 50 s: the belt pauses
    qtbot.mouseMove(speeds.viewport(), QPoint(middle.x() - 200, middle.y()))
    qtbot.mouseMove(speeds.viewport(), middle)
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
    speeds.show_picture(speeds.picture, US)  # more of it read: what is seen stays
    assert speeds.seen() == pytest.approx((10, 20))
    qtbot.mouseDClick(speeds.viewport(), Qt.MouseButton.LeftButton, pos=QPoint(300, 200))
    assert speeds.seen() == pytest.approx(whole)


def test_a_pause_is_a_gap_in_the_line(speeds):
    x, y = drawn(speeds, 0, "left")
    assert np.isnan(y[(x > 39) & (x < 61)]).any()
    assert np.isfinite(drawn(speeds, 0, "gnss")[1]).all()
    image, (panel,) = speeds.grab().toImage(), speeds.panels
    for at_s, is_drawn in ((20.5, True), (52.5, False)):
        x, y = panel.px(at_s, 2 * MPH).toPoint().toTuple()
        least_red = min(image.pixelColor(x, y + by).red() for by in (-1, 0, 1))
        assert (least_red < BRIGHT.color("line").red() / 2) is is_drawn


def test_only_what_can_be_seen_is_drawn(shown):
    plot = shown(Plot(BRIGHT, "Speeds"))
    time_s = np.arange(300_000) / 100
    line = Pyramid(time_s, np.random.default_rng(1).normal(size=time_s.size), 1.5)
    plot.show_picture(speeds_picture(SpeedLines({"left": line}, frozenset(), [])), US)
    assert drawn(plot, 0, "left")[0].size <= 3 * plot.width()
    plot.see(10.0, 11.0)
    assert drawn(plot, 0, "left")[0].size == pytest.approx(101, abs=4)


def test_a_table_holds_what_is_seen_with_units(speeds, qtbot, tmp_path):
    speeds.see(10, 20)
    told = []
    speeds.save.said.connect(told.append)
    for name, everything in (("seen.csv", False), ("all.csv", True)):
        speeds.save.save_to(tmp_path / name, everything=everything)
    qtbot.waitUntil(lambda: len(ended(told)) == 2)
    assert ended(told) == ["Saved as seen.csv.", "Saved as all.csv."]
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


def ended(told):
    """What was told but that it is under way."""
    return [one for one in told if not one.startswith("Saving")]


def test_a_place_that_cannot_be_written_is_a_sentence(drift, qtbot, tmp_path):
    told = []
    drift.save.said.connect(told.append)
    for ending in ("png", "svg", "csv"):
        drift.save.save_to(tmp_path / "missing" / f"pass.{ending}")
    qtbot.waitUntil(lambda: len(ended(told)) == 3)
    assert all("cannot be written" in one for one in ended(told))


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
    changes = [Change(20.0, 0.015), Change(21.0, -0.019), Change(50.0, 0.008)]
    top = drift.panels[0].box.top()
    drift.show_picture(pass_picture(ROWS, LIMITS, changes=changes), METRIC)
    assert marks_of(drift) == ["+1.5 %", "+0.8 %"]
    assert drift.panels[0].box.top() >= top + LINE_PX  # room for them above the lines
    drift.see(19.0, 22.0)
    assert marks_of(drift) == ["+1.5 %", "−1.9 %"]


def test_a_start_from_standstill_does_not_flatten_the_ratio(shown):
    plot = shown(Plot(DARK, "Drift plot"))
    rows = [(t / 2, 1.0, min(1.0, 0.1 + t / 20), 0.0) for t in range(120)]
    plot.show_picture(pass_picture(np.array(rows), LIMITS), US)
    low, high = plot.panels[1].view.viewRange()[1]
    assert low <= 0.95
    assert 1.05 <= high < 1.5


def test_lost_ground_is_a_gap_and_the_belt_goes_on(shown):
    plot = shown(Plot(BRIGHT, "Drift plot"))
    rows = [(float(t), 1.0, math.nan if 20 <= t < 40 else 1.0, 0.0) for t in range(60)]
    plot.show_picture(pass_picture(np.array(rows), LIMITS), METRIC)
    assert np.isfinite(drawn(plot, 0, "belt")[1]).all()
    assert np.isnan(drawn(plot, 0, "ground")[1][20:40]).all()
    plot.point_at(30.0)
    assert plot.reading == ["30.0 s", "belt 3.60 km/h", "ground –", "ratio –", "ahead 0.0 m"]


def test_what_was_left_out_is_grey_in_every_panel(shown):
    plot = shown(Plot(BRIGHT, "Drift plot"))
    nothing = (math.nan,) * 3
    rows = [(float(t), *(nothing if t < 20 else (1.0, 1.0, 0.0))) for t in range(60)]
    plot.show_picture(pass_picture(np.array(rows), LIMITS), METRIC)
    image = plot.grab().toImage()
    for panel in plot.panels:
        y = round(panel.box.bottom()) - 3
        left_out, judged = (
            image.pixelColor(round(panel.px(at, 0.0).x()), y) for at in (10.5, 50.5)
        )
        assert left_out.name() != BRIGHT.ground.lower()
        assert judged.name() == BRIGHT.ground.lower()


def test_the_error_plot_shows_limit_ribbon_and_runs(shown, two_runs):
    plot = shown(Plot(BRIGHT, "Error"), 420, 260)
    plot.show_picture(error_picture(None, 0.02), US)
    assert ends_of(plot, 0).keys() == {"allowed ± 2 %"}
    found = two_runs((3 * MPH, 3.5 * MPH), (0.06, 0.09), ((2 * MPH, 0.01), (4 * MPH, 0.01)))
    plot.show_picture(error_picture(found, 0.02), US)
    low, high = plot.panels[0].view.viewRange()[1]
    assert low <= -0.02
    assert high >= 0.09 + 2 * 0.002
    assert ends_of(plot, 0).keys() == {"allowed ± 2 %", "as found"}
    plot.point_at(3.0 * MPH)
    assert plot.reading == [
        "true belt speed 3 mph",
        "as found +1.00 %",
        "as found run 1 +6.00 ± 0.40 %",
    ]
    heads = [column.head for column in plot.columns()]
    assert heads == [
        "fitted error as found, %",
        "error of the runs as found, %",
        "error of the runs as found, expanded uncertainty, %",
        "error of runs not used, as found, %",
        "error of runs not used, as found, expanded uncertainty, %",
    ]
    (ribbon,) = plot.picture.panels[0].fills
    assert ribbon.high.value == pytest.approx([0.014, 0.014])


def test_keys_walk_from_point_to_point_and_enter_picks_one(season, qtbot):
    picked = []
    season.picked.connect(picked.append)
    season.setFocus()
    for _ in range(2):
        qtbot.keyClick(season, Qt.Key.Key_Right)
    day, value = season.reading
    assert day.split()[1:3] == ["Sep", "2026,"]
    assert value == "1.010 ± 0.020"
    qtbot.keyClick(season, Qt.Key.Key_Return)
    for _ in range(5):  # the last one is the last
        qtbot.keyClick(season, Qt.Key.Key_Right)
    qtbot.keyClick(season, Qt.Key.Key_Return)
    assert picked == [1, 2]
    assert season.reading[1] == "0.900 ± 0.020"


def test_a_click_picks_the_point_under_it_and_no_other(season, qtbot):
    picked = []
    season.picked.connect(picked.append)
    (panel,) = season.panels
    (points,) = panel.panel.points
    at = panel.px(points.x[2], points.y[2]).toPoint()
    qtbot.mouseClick(season.viewport(), Qt.MouseButton.LeftButton, pos=at)
    qtbot.mouseClick(season.viewport(), Qt.MouseButton.LeftButton, pos=at - QPoint(0, 60))
    assert picked == [2]


def test_what_stands_out_has_its_own_colour_and_the_bars_their_height(season):
    image = season.grab().toImage()
    (panel,) = season.panels
    (points,) = panel.panel.points
    for at, color in ((0, BRIGHT.ink), (2, BRIGHT.bad)):
        x = round(panel.px(points.x[at], 0.0).x())
        for value in (points.y[at], points.y[at] + 0.018):  # in the bar of ± 0.020
            y = round(panel.px(0.0, value).y())
            assert color.lower() in [image.pixelColor(x + by, y).name() for by in (-1, 0)]
        beyond = image.pixelColor(x, round(panel.px(0.0, points.y[at] + 0.024).y()))
        assert beyond.name() != color.lower()


def test_single_edges_are_read_out_by_tooth(shown):
    tooth = np.array([4, 5, 8, 9], dtype=np.int64)
    interval_s, missed = np.array([0.01, 0.01, 0.03, 0.012]), np.array([0, 0, 2, 0])
    look = EdgeLook(tooth, interval_s, missed, np.array([5.5]), 0.01)
    plot = shown(Plot(BRIGHT, "Edges"))
    plot.show_picture(edge_picture(look, 8, 8), US)
    readings = []
    for place in plot.picture.places:
        plot.point_at(place)
        readings.append(plot.reading)
    assert readings == [
        ["tooth 5", "10.00 ms, 0 % against the median"],
        ["tooth 6", "10.00 ms, 0 % against the median"],
        ["tooth 1", "30.00 ms since the pulse before, 2 missed in it"],
        ["tooth 2", "12.00 ms, +20 % against the median"],
    ]
    assert marks_of(plot) == ["2 missed"]
    assert ends_of(plot, 0).keys() == {"extra", "median 10.0 ms"}
    assert [column.written.tolist() for column in plot.columns()] == [tooth.tolist()] * 3


def test_panels_that_go_are_painted_no_more(shown):
    """Panels that come and go as a plot is resized; what of them was left in the scene crashed."""
    plot = shown(Plot(BRIGHT, "Speeds"))
    axis = Axis("speed")
    for panels in (2, 0, 1, 3, 0, 2, 1):
        picture = Picture(Axis("time"), (Panel(axis, include=(0.0, 1.0)),) * panels, ends=(0, 9))
        plot.show_picture(picture, METRIC)
        for width in (400, 700):
            plot.window().resize(width, width // 2)
            QCoreApplication.processEvents()
        assert len(plot.panels) == panels
        assert plot.grab().toImage().width() == 700
