"""The signals page: what comes in well, badly, not at all; inputs, edges, wiring, recording."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QCoreApplication, Qt
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QPushButton, QScrollArea

from drivers.contract import ChannelKind, DeviceLost, DeviceMissing, EdgeBlock
from drivers.plugged import Found
from workbench.base.cautions import Caution
from workbench.gui.signals.page import SignalsPage, View
from workbench.gui.signals.table import NAME, STATE
from workbench.gui.window import Window
from workbench.live.session import InputState
from workbench.models.live import Stream
from workbench.models.signals.channel_health import ChannelHealth
from workbench.models.signals.plugged import PluggedModel
from workbench.records.store import open_store
from workbench.words.words import Words


@pytest.fixture
def window(bench, qtbot, put_away):
    """A window with this one page, so that nothing else costs time."""
    made = Window(bench, {"Signals": SignalsPage})
    made.timer.stop()
    made.resize(1024, 600)
    made.show()
    yield made
    put_away(made)


@pytest.fixture
def page(window, bench):
    bench.use_inputs(["sim:valve-off?seed=4"])
    return window.page("Signals")


@pytest.fixture
def run(window, bench, pass_time):
    """Use a scenario and let it run, the page in sight."""

    def go(address, for_s):
        bench.machine = None
        bench.use_inputs([address])
        pass_time(for_s, look=window.tick)
        shown(window)

    return go


def shown(window):
    """Frames enough for the page to show what there is."""
    for _ in range(7):
        window.tick()
    QCoreApplication.processEvents()  # what was just laid out becomes visible


def cells(page, name):
    """The texts of a stream's line, by their heads."""
    table = page._table
    heads = [table.horizontalHeaderItem(column).text() for column in range(table.columnCount())]
    for at in range(table.rowCount()):
        if table.item(at, NAME).text().startswith(name):
            return dict(
                zip(heads, (table.item(at, c).text() for c in range(len(heads))), strict=True)
            )
    raise AssertionError(f"there is no line {name}")


def press(page, name):
    (one,) = [
        b for b in page.findChildren(QPushButton) if b.isVisible() and b.accessibleName() == name
    ]
    one.click()


def test_a_healthy_machine_is_said_to_be_well(page, run):
    run("sim:healthy?seed=4", 20)
    left = cells(page, "left pickup")
    assert (left["Missed"], left["Extra"], left["Lost"]) == ("0", "0", "0")
    assert left["State"] == "● live"
    assert left["Speed"].endswith("mph")
    assert float(left["Pulses/s"]) > 50
    assert cells(page, "radar speed")["Pulses/s"] == "–"
    assert cells(page, "lap mark")["Speed"] == "–"
    assert cells(page, "simulated digger")["State"] == "● open"
    assert page._told.text().startswith("● All signals come: belt 2.")


def test_missed_teeth_are_counted_said_and_seen(page, window, run):
    run("sim:gap-too-wide?seed=4", 20)
    left, right = cells(page, "left pickup"), cells(page, "right pickup")
    assert int(left["Missed"].split()[0]) > 20
    assert left["State"] == "▲ misses teeth"
    assert right["State"] == "● live"
    assert "left pickup misses" in page._told.text()
    page._do.click()
    assert page.view is View.EDGES
    assert page._edges.channel == "left"
    assert page._edges.plot._look.missed.sum() > 0
    assert "missed" in page._edges._words.text()


def test_extra_pulses_are_told_from_missed_ones(page, run):
    run("sim:noisy-wiring?seed=4", 30)
    left = cells(page, "left pickup")
    assert int(left["Extra"].split()[0]) > 5
    assert left["State"] == "◆ extra pulses"
    assert "noise" in page._told.text()


def test_a_pickup_that_falls_silent_is_named_with_what_to_check(
    page, window, run, bench, pass_time
):
    run("sim:healthy?seed=4", 8)
    take = bench.live._take

    def without_left(address, item):
        if not (isinstance(item, EdgeBlock) and item.channel == "left"):
            take(address, item)

    bench.live._take = without_left
    pass_time(6, look=window.tick)
    shown(window)
    left = cells(page, "left pickup")
    assert left["State"] == "○ silent"
    assert left["Speed"] == "– mph"  # what was last heard is no longer so
    assert "left pickup gives no pulses, and right does" in page._told.text()
    assert page._do.text() == "See what to check"
    page._do.click()
    assert page.view is View.WIRING
    assert page._wiring.isVisible()


def test_a_channel_without_a_pickup_is_no_trouble(page, window, run, bench):
    run("sim:healthy?seed=4", 5)
    bench.live.streams["third"] = Stream(
        "third",
        bench.live.drivers[0].address,
        is_pulses=True,
        kind=ChannelKind.BELT,
        health=ChannelHealth(),
    )
    shown(window)
    assert cells(page, "third pickup")["State"] == "○ no pulses yet"
    assert "No pulse yet from third: if a pickup is wired there" in page._told.text()
    assert page._told.text().startswith("○ Belt 2.")


def test_a_plug_that_is_pulled_and_put_back(page, window, run, bench, qtbot):
    run("sim:healthy?seed=4", 3)
    (driver,) = bench.live.drivers
    read, opens = driver.read, driver._open

    def gone(_timeout_s):
        raise DeviceLost("/dev/ttyACM0 went away: was its cable pulled?")

    def missing():
        raise DeviceMissing("There is no port /dev/ttyACM0; 'evenpace inputs' lists them.")

    driver.read, driver._open = gone, missing

    def state():
        return bench.live.statuses()[0].state

    qtbot.waitUntil(lambda: state() is InputState.RECONNECTING, timeout=5000)
    qtbot.waitUntil(lambda: "no port" in bench.live.statuses()[0].reason, timeout=5000)
    shown(window)
    assert page._told.text().startswith("✕ There is no port /dev/ttyACM0; the list of inputs")
    assert "Plug it in again" in page._told.text()
    assert cells(page, "simulated digger")["State"] == "▲ trying again"
    driver.read, driver._open = read, opens
    qtbot.waitUntil(lambda: state() is InputState.RUNNING, timeout=8000)
    shown(window)
    assert cells(page, "simulated digger")["State"] == "● open"
    assert "plugged in again 1 time" in cells(page, "simulated digger")["Signal"]


def test_damaged_frames_are_counted_beside_their_input(page, window, run, bench):
    run("sim:healthy?seed=4", 3)
    (driver,) = bench.live.drivers
    driver.rejects["wrong checksum"] = 12
    shown(window)
    assert "12 damaged frames" in cells(page, "simulated digger")["Signal"]
    assert "12 wrong checksum" in page._told.text()


def test_units_change_every_speed(page, window, run, bench):
    run("sim:healthy?seed=4", 6)
    bench.settings.change(units="metric")
    shown(window)
    assert cells(page, "left pickup")["Speed"].endswith("km/h")
    assert "km/h" in page._told.text()
    page.show_view(View.WIRING)
    assert "mm" in page._wiring._drawing._gap


def test_a_wrong_address_is_refused_in_place(page, window, run, qtbot):
    run("sim:healthy?seed=4", 2)
    page._plugged.searched = True
    page.show_view(View.INPUTS)
    page._list.address.setText("counter/dev/ttyACM0")
    qtbot.keyClick(page._list.address, Qt.Key.Key_Return)
    assert "it begins with one of" in page._list._said.text()
    assert page._list.address.text() == "counter/dev/ttyACM0"
    assert page._inputs.in_use == ["sim:healthy?seed=4"]


def test_a_device_that_is_not_there_is_said_with_what_to_do(page, window, bench, qtbot):
    page._list.address.setText("counter:/dev/no-such-port")
    page._list.use_typed()
    assert page._list.address.text() == ""
    qtbot.waitUntil(lambda: bench.live.statuses()[0].state is InputState.ENDED, timeout=5000)
    shown(window)
    assert "There is no port /dev/no-such-port" in page._told.text()
    assert page._do.text() == "See the inputs"
    assert cells(page, "counter:")["State"] == "✕ stopped"


def test_what_is_plugged_in_is_found_and_used_by_one_click_each(page, window, bench, qtbot):
    heard = (
        Found("/dev/a", "a board", "counter 'x', 4 channels", "counter:/dev/no-a"),
        Found("/dev/b", "a receiver", "looks like NMEA", "gnss:/dev/no-b?baud=9600"),
        Found("/dev/c", "held", problem="Another program holds /dev/c; close that one first."),
    )
    page._plugged._hear = lambda in_use: heard
    press(page, "Inputs")
    qtbot.waitUntil(lambda: shown(window) or len(page._plugged.found) == 3, timeout=5000)
    press(page, "Use /dev/a: a board")
    shown(window)
    press(page, "Use /dev/b: a receiver")
    shown(window)
    assert bench.settings.now.inputs == ["counter:/dev/no-a", "gnss:/dev/no-b?baud=9600"]
    with pytest.raises(ValueError, match="unpack"):
        press(page, "Use /dev/c: held")
    page.show_view(View.INPUTS)
    press(page, "Remove counter:/dev/no-a")
    assert bench.settings.now.inputs == ["gnss:/dev/no-b?baud=9600"]
    page._plugged._hear = lambda in_use: ()
    page._list.search()
    qtbot.waitUntil(lambda: shown(window) or not page._plugged.found, timeout=5000)
    press(page, "Use Healthy machine")  # what is gone from the list does no harm
    shown(window)
    assert bench.settings.now.inputs == ["sim:healthy"]


def test_without_an_input_the_list_is_shown(page, window, bench):
    page._inputs.remove("sim:valve-off?seed=4")
    shown(window)
    assert page.view is View.INPUTS
    assert "No input is in use" in page._told.text()
    assert not page._record.switch.isEnabled()
    assert page._list.find_button.property("role") == "next"
    assert isinstance(page._plugged, PluggedModel)


def test_a_frozen_picture_holds_while_the_belt_goes_on(page, window, run, pass_time, qtbot):
    run("sim:healthy?seed=4", 8)
    page.show_view(View.EDGES)
    press(page, "Freeze the picture")
    last = page._edges.plot._look.tooth[-1]
    pass_time(3, look=window.tick)
    shown(window)
    assert page._edges.plot._look.tooth[-1] == last
    qtbot.keyClick(page._edges.plot, Qt.Key.Key_Left)
    qtbot.keyClick(page._edges.plot, Qt.Key.Key_Left)
    assert "against the median" in page._edges.plot.reading()
    press(page, "Go on live")
    shown(window)
    assert page._edges.plot._look.tooth[-1] > last


def test_the_broken_tooth_stands_at_one_place_of_every_turn(page, run):
    run("sim:missing-tooth?seed=4", 20)
    page.show_view(View.EDGES)
    look = page._edges.plot._look
    teeth = page._bench.machine.drive.target_teeth
    places = set(((look.tooth[look.missed > 0] - 1) % teeth).tolist())
    assert len(places) == 1
    assert f"sees no tooth {places.pop() + 1} in any turn" in page._told.text()
    assert look.missed.sum() == 2


def test_the_edges_are_saved_as_a_table(page, window, run, tmp_path, qtbot):
    run("sim:healthy?seed=4", 8)
    page.show_view(View.EDGES)
    path = tmp_path / "edges.csv"
    page._edges._save.save_to(path)
    qtbot.waitUntil(path.exists, timeout=5000)
    qtbot.waitUntil(lambda: not page._edges._save.works.busy, timeout=5000)
    shown(window)
    assert "Saved as edges.csv." in page._edges._words.text()
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    assert head.startswith("running tooth,Simulated tooth of the turn,")
    assert len(rows) == page._edges.plot._look.tooth.size
    page._edges._save.save_to(tmp_path / "edges.svg")
    assert "ms from pulse to pulse" in (tmp_path / "edges.svg").read_text(encoding="utf-8")
    page._edges._save.save_to(tmp_path / "edges.png")
    drawn = QImage(str(tmp_path / "edges.png"))
    assert drawn.size() == 2 * page._edges.plot.size()


def test_the_steps_at_the_machine_come_after_the_caution(page, window, bench):
    page.show_view(View.WIRING)
    wiring = page._wiring
    assert not wiring._after_caution.isVisible()
    for word in ("engine", "key", "hydraulic pressure", "manual", "qualified persons"):
        assert word in Words().say(Caution.AT_THE_WHEEL)
    wiring._caution.understood.click()
    shown(window)
    assert wiring._after_caution.isVisible()
    assert Caution.AT_THE_WHEEL in bench.cautions_read


def test_a_recording_gets_its_name_and_note(page, window, bench, pass_time, qtbot):
    qtbot.keyClicks(page._record.name, "north field")
    qtbot.keyClicks(page._record.note, "third gear")
    page._record.switch.click()
    pass_time(3, look=window.tick)
    assert bench.recording.running
    assert page._record.switch.text() == "Stop recording"
    page._record.switch.click()
    bench.recording.wait()
    qtbot.waitUntil(lambda: not page._record._works.busy, timeout=5000)
    with open_store(bench.store) as store:
        (entry,) = store.recordings()
    assert (entry.name, entry.note, entry.state) == ("north field", "third gear", "ended")
    assert page._record.name.text() == ""


def test_nothing_is_cut_on_a_small_screen_and_the_page_needs_no_scrolling(page, window, run):
    run("sim:healthy?seed=4", 2)
    page._plugged.searched = True
    window.resize(1024, 600)
    for view in (*View, View.ALL):
        page.show_view(view)
        shown(window)
        for area in page.findChildren(QScrollArea):
            if area.isVisible():
                assert area.widget().minimumSizeHint().width() <= area.viewport().width(), view
        assert page.minimumSizeHint().width() <= page.width(), view
        assert page.height() <= page.parent().height(), view
    table = page._table
    widths = [table.columnWidth(column) for column in range(table.columnCount())]
    assert sum(widths) <= table.width()
    assert widths[NAME] >= 90
    assert widths[STATE] >= 90


def test_a_large_screen_shows_the_edges_beside_the_table(page, window, run):
    run("sim:healthy?seed=4", 2)
    window.resize(1920, 1080)
    shown(window)
    assert page._table.isVisible()
    assert page._edges.isVisible()
    assert not page._buttons[View.ALL].isVisible()
