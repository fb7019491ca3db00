"""The signals page: what comes in well, badly, not at all; inputs, edges, wiring, recording."""

from __future__ import annotations

import csv

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QAbstractButton, QFileDialog, QLabel, QScrollArea, QWidget

from drivers.contract import ChannelKind, DeviceLost, DeviceMissing
from drivers.plugged import Found
from workbench.base.cautions import Caution
from workbench.base.machine import parse_machine
from workbench.gui.signals.page import SignalsPage, SignalView
from workbench.gui.signals.table import NAME, STATE, SignalTable
from workbench.gui.signals.wiring_help import WiringDrawing, WiringHelp
from workbench.gui.window import BenchWindow
from workbench.live.session import InputState
from workbench.models.signals import plugged
from workbench.models.signals.wiring_steps import at_the_machine
from workbench.records.store import open_store
from workbench.words.words import Words


@pytest.fixture
def window(bench, qtbot, put_away):
    """A window with this one page, so that nothing else costs time."""
    made = BenchWindow(bench, {"Signals": SignalsPage})
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
def run(screen, bench, pass_time):
    """Use a scenario and let it run, the page in sight."""

    def go(address, for_s):
        bench.machine = None
        bench.use_inputs([address])
        pass_time(for_s, look=screen.frame)
        screen.settle()

    return go


@pytest.fixture
def save_plot(screen, monkeypatch):
    """Save the plot that is seen, by this entry of its menu, under this path."""

    def save(entry, path):
        monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(path), ""))
        (action,) = [a for a in screen.button("Save plot").menu().actions() if a.text() == entry]
        action.trigger()
        screen.settle()

    return save


@pytest.fixture
def edges(screen, save_plot, tmp_path):
    """The edges that are looked at, as they are saved: a dictionary a tooth."""

    def saved():
        path = tmp_path / "edges.csv"
        save_plot("CSV table of what is seen", path)
        with path.open(encoding="utf-8") as lines:
            return list(csv.DictReader(lines))

    return saved


def missed(edge):
    return int(float(edge["Simulated missed before it"]))


def cells(page, name):
    """The texts of a stream's line, by their heads."""
    table = page.findChild(SignalTable)
    columns = range(table.columnCount())
    for at in range(table.rowCount()):
        if table.item(at, NAME).text().startswith(name):
            return {table.horizontalHeaderItem(c).text(): table.item(at, c).text() for c in columns}
    raise AssertionError(f"there is no line {name}")


def test_a_healthy_machine_is_said_to_be_well(page, screen, run):
    run("sim:healthy?seed=4", 20)
    left = cells(page, "left pickup")
    assert (left["Missed"], left["Extra"], left["Lost"]) == ("0", "0", "0")
    assert left["State"] == "● live"
    assert left["Speed"].endswith("mph")
    assert float(left["Pulses/s"]) > 50
    assert cells(page, "radar speed")["Pulses/s"] == "–"
    assert cells(page, "lap mark")["Speed"] == "–"
    assert cells(page, "simulated digger")["State"] == "● open"
    assert screen.shown(QLabel, "● All signals come: belt 2.")


def test_missed_teeth_are_counted_said_and_seen(page, screen, run, edges):
    run("sim:gap-too-wide?seed=4", 20)
    left, right = cells(page, "left pickup"), cells(page, "right pickup")
    assert int(left["Missed"].split()[0]) > 20
    assert left["State"] == "▲ misses teeth"
    assert right["State"] == "● live"
    assert "left pickup misses" in screen.said
    screen.press("Look at the edges")
    assert page.view is SignalView.EDGES
    assert screen.field("Channel to look at").currentText() == "left"
    assert sum(missed(edge) for edge in edges()) > 0
    assert "missed" in screen.one(QLabel, "The last 2 turns").text()


def test_extra_pulses_are_told_from_missed_ones(page, screen, run):
    run("sim:noisy-wiring?seed=4", 30)
    left = cells(page, "left pickup")
    assert int(left["Extra"].split()[0]) > 5
    assert left["State"] == "◆ extra pulses"
    assert "noise" in screen.said


def test_a_pickup_that_falls_silent_is_named_with_what_to_check(
    page, screen, run, bench, pass_time
):
    run("sim:healthy?seed=4", 8)
    (driver,) = bench.live.drivers
    read = driver.read
    driver.read = lambda timeout_s: [
        item for item in read(timeout_s) if getattr(item, "channel", "") != "left"
    ]
    pass_time(6, look=screen.frame)
    screen.settle()
    left = cells(page, "left pickup")
    assert left["State"] == "○ silent"
    assert left["Speed"] == "– mph"  # what was last heard is no longer so
    assert "left pickup gives no pulses, and right does" in screen.said
    screen.press("See what to check")
    assert page.view is SignalView.WIRING
    assert screen.shown(WiringHelp)


def test_a_channel_without_a_pickup_is_no_trouble(page, screen, run, bench):
    run("sim:healthy?seed=4", 5)
    bench.live.taken.expect(bench.live.drivers[0].address, {"third": ChannelKind.BELT})
    screen.settle()
    assert cells(page, "third pickup")["State"] == "○ no pulses yet"
    assert "No pulse yet from third: if a pickup is wired there" in screen.said
    assert screen.shown(QLabel, "○ Belt 2.")


def test_a_plug_that_is_pulled_and_put_back(page, screen, run, bench, qtbot):
    run("sim:healthy?seed=4", 3)
    (driver,) = bench.live.drivers
    read, opens = driver.read, driver.open

    def gone(_timeout_s):
        raise DeviceLost("/dev/ttyACM0 went away: was its cable pulled?")

    def missing():
        raise DeviceMissing("There is no port /dev/ttyACM0; the list of inputs names them.")

    driver.read, driver.open = gone, missing

    def state():
        return bench.live.statuses()[0].state

    qtbot.waitUntil(lambda: state() is InputState.RECONNECTING, timeout=5000)
    qtbot.waitUntil(lambda: "no port" in bench.live.statuses()[0].reason, timeout=5000)
    screen.settle()
    assert screen.shown(QLabel, "✕ There is no port /dev/ttyACM0; the list of inputs")
    assert "Plug it in again" in screen.said
    assert cells(page, "simulated digger")["State"] == "▲ trying again"
    driver.read, driver.open = read, opens
    qtbot.waitUntil(lambda: state() is InputState.RUNNING, timeout=8000)
    screen.settle()
    assert cells(page, "simulated digger")["State"] == "● open"
    assert "plugged in again 1 time" in cells(page, "simulated digger")["Signal"]


def test_damaged_frames_are_counted_beside_their_input(page, screen, run, bench):
    run("sim:healthy?seed=4", 3)
    (driver,) = bench.live.drivers
    driver.rejects["wrong checksum"] = 12
    screen.settle()
    assert "12 damaged frames" in cells(page, "simulated digger")["Signal"]
    assert "12 wrong checksum" in screen.said


def test_units_change_every_speed(page, screen, run, bench):
    run("sim:healthy?seed=4", 6)
    bench.settings.change(units="metric")
    screen.settle()
    assert cells(page, "left pickup")["Speed"].endswith("km/h")
    assert "km/h" in screen.said
    screen.press("Wiring help")
    assert "mm" in screen.one(WiringDrawing).accessibleDescription()


def test_a_wrong_address_is_refused_in_place(screen, run, bench):
    run("sim:healthy?seed=4", 2)
    screen.press("Inputs")
    screen.type("Address of an input", "counter/dev/ttyACM0", Qt.Key.Key_Return)
    assert "it begins with one of" in screen.said
    assert screen.field("Address of an input").text() == "counter/dev/ttyACM0"
    assert [driver.address for driver in bench.live.drivers] == ["sim:healthy?seed=4"]


def test_a_device_that_is_not_there_is_said_with_what_to_do(page, screen, bench, qtbot):
    screen.press("Inputs")
    screen.type("Address of an input", "counter:/dev/no-such-port")
    screen.press("Use this address")
    assert screen.field("Address of an input").text() == ""
    qtbot.waitUntil(lambda: bench.live.statuses()[0].state is InputState.ENDED, timeout=5000)
    screen.press("All signals")
    screen.settle()
    assert "There is no port /dev/no-such-port" in screen.said
    assert "See the inputs" in screen.offers
    assert cells(page, "counter:")["State"] == "✕ stopped"


def test_what_is_plugged_in_is_found_and_used_by_one_click_each(page, screen, bench, monkeypatch):
    there = [
        Found("/dev/a", "a board", "counter 'x', 4 channels", "counter:/dev/no-a"),
        Found("/dev/b", "a receiver", "looks like NMEA", "gnss:/dev/no-b?baud=9600"),
        Found("/dev/c", "held", problem="Another program holds /dev/c; close that one first."),
    ]
    monkeypatch.setattr(plugged, "serial_ports", lambda: tuple(there))
    monkeypatch.setattr(plugged, "hear_ports", list)
    screen.press("Inputs")
    screen.until(lambda: screen.shown(QLabel, "/dev/c: held"))
    assert not screen.shown(QAbstractButton, "Use /dev/c: held")
    screen.press("Use /dev/a: a board")
    screen.settle()
    screen.press("Use /dev/b: a receiver")
    screen.settle()
    assert bench.settings.now.inputs == ["counter:/dev/no-a", "gnss:/dev/no-b?baud=9600"]
    screen.press("Inputs")
    screen.press("Remove counter:/dev/no-a")
    assert bench.settings.now.inputs == ["gnss:/dev/no-b?baud=9600"]
    there.clear()
    screen.press("Find what is plugged in")
    screen.until(lambda: not screen.shown(QLabel, "/dev/c: held"))
    screen.press("Use Healthy machine")  # what is gone from the list does no harm
    screen.settle()
    assert bench.settings.now.inputs == ["sim:healthy"]


def test_without_an_input_the_list_is_shown(page, screen, bench):
    screen.press("Inputs")
    screen.settle()
    screen.press("Remove simulated digger")
    screen.settle()
    assert page.view is SignalView.INPUTS
    assert "No input is in use" in screen.said
    assert "Start recording" not in screen.offers
    assert screen.button("Find what is plugged in").property("role") == "next"


def test_a_frozen_picture_holds_while_the_belt_goes_on(screen, run, pass_time, edges, qtbot):
    run("sim:healthy?seed=4", 8)
    screen.press("Single edges")
    screen.press("Freeze the picture")
    frozen = edges()
    pass_time(3, look=screen.frame)
    screen.settle()
    assert edges() == frozen
    plot = screen.one(QWidget, "Time from tooth to tooth")
    qtbot.keyClick(plot, Qt.Key.Key_Left)
    qtbot.keyClick(plot, Qt.Key.Key_Left)
    assert "against the median" in plot.accessibleDescription()
    screen.press("Go on live")
    screen.settle()
    assert float(edges()[-1]["running tooth"]) > float(frozen[-1]["running tooth"])


def test_the_broken_tooth_stands_at_one_place_of_every_turn(screen, run, bench, edges):
    run("sim:missing-tooth?seed=4", 20)
    screen.press("Single edges")
    after = [float(edge["running tooth"]) for edge in edges() for _ in range(missed(edge))]
    assert len(after) == 2
    places = {round(tooth - 1) % bench.machine.drive.target_teeth for tooth in after}
    assert len(places) == 1
    assert f"sees no tooth {places.pop() + 1} in any turn" in screen.said


def test_the_edges_are_saved_as_a_table(screen, run, save_plot, tmp_path):
    run("sim:healthy?seed=4", 8)
    screen.press("Single edges")
    path = tmp_path / "edges.csv"
    save_plot("CSV table of what is seen", path)
    assert "Saved as edges.csv." in screen.said
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    assert head.startswith("running tooth,Simulated tooth of the turn,")
    assert len(rows) == 2 * 30  # two turns of the scenario's wheel
    save_plot("SVG drawing", tmp_path / "edges.svg")
    assert "from pulse to pulse, ms" in (tmp_path / "edges.svg").read_text(encoding="utf-8")
    save_plot("PNG picture", tmp_path / "edges.png")
    drawn = QImage(str(tmp_path / "edges.png"))
    assert drawn.size() == 2 * screen.one(QWidget, "Time from tooth to tooth").size()


def test_the_steps_at_the_machine_come_after_the_caution(screen, bench):
    screen.press("Wiring help")
    step = at_the_machine(bench.machine, bench.settings.units)[0].text
    assert step not in screen.said
    for word in ("engine", "key", "hydraulic pressure", "manual", "qualified persons"):
        assert word in Words().say(Caution.AT_THE_WHEEL)
        assert word in screen.said
    screen.press("I have read this")
    screen.settle()
    assert step in screen.said
    assert Caution.AT_THE_WHEEL in bench.cautions_read


def test_a_recording_gets_its_name_and_note(screen, bench, pass_time):
    screen.type("Name of the recording", "north field")
    screen.type("Note on the recording", "third gear")
    screen.press("Start recording")
    pass_time(3, look=screen.frame)
    assert bench.recording.running
    screen.press("Stop recording")
    bench.recording.wait()
    screen.settle()
    with open_store(bench.store) as store:
        (entry,) = store.recordings()
    assert (entry.name, entry.note, entry.state) == ("north field", "third gear", "ended")
    assert screen.field("Name of the recording").text() == ""


def test_nothing_is_cut_on_a_small_screen_and_the_page_needs_no_scrolling(
    page, window, screen, run
):
    run("sim:healthy?seed=4", 2)
    window.resize(1024, 600)
    for view in (*SignalView, SignalView.ALL):
        screen.press(view.value)
        screen.settle()
        for area in screen.shown(QScrollArea):
            assert area.widget().minimumSizeHint().width() <= area.viewport().width(), view
        assert page.minimumSizeHint().width() <= page.width(), view
        assert page.height() <= page.parent().height(), view
    table = screen.one(SignalTable)
    widths = [table.columnWidth(column) for column in range(table.columnCount())]
    assert sum(widths) <= table.width()
    assert widths[NAME] >= 90
    assert widths[STATE] >= 90


def test_a_large_screen_shows_the_edges_beside_the_table(screen, window, run):
    run("sim:healthy?seed=4", 2)
    window.resize(1920, 1080)
    screen.settle()
    assert screen.shown(SignalTable)
    assert screen.shown(QWidget, "Time from tooth to tooth")
    assert "All signals" not in screen.offers


PICKUP = """
name = "Test digger"
[drive]
target_teeth = 24
kind = "sprocket"
sprocket_teeth = 10
rod_pitch_m = 0.0381
[pickup]
kind = "{kind}"
"""


def test_the_wiring_steps_of_another_pickup_take_the_place_of_the_first(bench, screen):
    """The old rows go only when Qt comes to it: until then none may be drawn below the new."""
    bench.cautions_read.add(Caution.AT_THE_WHEEL)
    screen.press("Wiring help")
    wiring, before = screen.one(WiringHelp), ""
    for kind in ("variable-reluctance", "hall"):
        bench.use_machine(parse_machine(PICKUP.format(kind=kind)))
        wiring.refresh("left")
        steps = at_the_machine(bench.machine, bench.settings.units)
        pickup = next(step.text for step in steps if step.what == "Pickup")
        assert not before or before not in screen.said
        screen.settle()
        assert screen.said.count(pickup) == 1
        before = pickup
