"""Reader threads: their states, unplugging, faults, and an end in time whatever devices do."""

from __future__ import annotations

import threading

import pytest

from drivers.contract import DeviceDenied, DeviceLost, DeviceMissing, EdgeBlock, Lost
from workbench.base.errors import StoreError, WrongInput
from workbench.live.session import InputState, Session

pytestmark = pytest.mark.usefixtures("no_thread_left")


class Waits:
    """Stands in for the pauses of the back-off: notes them and lets time pass at once."""

    def __init__(self, *drivers):
        self.drivers, self.paused_s = drivers, []

    def __call__(self, event, seconds):
        self.paused_s.append(seconds)
        for driver in self.drivers:
            driver.now_s += seconds
        return event.is_set()


def run(*drivers, keep=None, **options):
    session = Session(drivers, wait=Waits(*drivers), **options)
    session.start(keep)
    assert session.wait(10.0)
    assert session.stop() == []
    return session


def test_every_item_goes_to_the_recorder_and_to_the_screen(scripted, edge_blocks):
    blocks = edge_blocks(6)
    driver = scripted([blocks[:2], [], blocks[2:]])
    kept, shown = [], []
    session = run(
        driver,
        keep=lambda address, item: kept.append((address, item)),
        show=lambda address, items: shown.append((address, items)),
    )
    assert kept == [("fake:1", block) for block in blocks]
    assert shown == [("fake:1", blocks[:2]), ("fake:1", blocks[2:])]
    (status,) = session.statuses
    assert (status.state, status.reason) == (InputState.ENDED, "all was read")
    assert (status.items, status.edges, status.lost, status.error) == (6, 300, 0, None)
    assert driver.closed == 1


def test_a_run_ends_after_its_time_by_the_drivers_clock(scripted):
    driver = scripted([[]] * 10_000)
    session = run(driver, for_s=3.0)
    assert session.statuses[0].reason == "the time is over"
    assert driver.now_s == pytest.approx(103.0, abs=0.2)


def test_an_input_that_is_not_there_ends_with_its_reason(scripted):
    driver = scripted([], openings=[DeviceMissing("/dev/x is not there.")])
    (status,) = run(driver).statuses
    assert status.state is InputState.ENDED
    assert status.reason == "/dev/x is not there."
    assert isinstance(status.error, DeviceMissing)


def test_a_pulled_plug_is_reconnected_with_the_hole_on_record(scripted, edge_blocks):
    before, after = edge_blocks(2), edge_blocks(2, first=2)
    driver = scripted(
        [before, DeviceLost("The plug was pulled."), after],
        openings=[None, DeviceMissing("gone"), DeviceDenied("not yet"), None],
    )
    kept = []
    waits = Waits(driver)
    session = Session([driver], wait=waits)
    session.start(lambda _, item: kept.append(item))
    assert session.wait(10.0)
    hole = kept[2]
    assert [type(item) for item in kept] == [EdgeBlock] * 2 + [Lost] + [EdgeBlock] * 2
    assert (hole.stream, hole.count) == ("", None)
    assert hole.to_s - hole.from_s == pytest.approx(0.25 + 0.5 + 1.0, abs=0.05)
    assert "The plug was pulled." in hole.reason
    assert waits.paused_s == [0.25, 0.5, 1.0]
    (status,) = session.statuses
    assert (status.reconnects, status.holes, status.edges) == (1, 1, 200)


def test_the_state_can_be_watched_while_it_changes(scripted, edge_blocks):
    seen = []
    driver = scripted([edge_blocks(1), DeviceLost("gone"), lambda: note() or []])

    def note():
        seen.append(session.statuses[0].state)

    def wait(event, seconds):
        note()
        return event.is_set()

    session = Session([driver], wait=wait)
    seen.append(session.statuses[0].state)
    session.start()
    assert session.wait(10.0)
    seen.append(session.statuses[0].state)
    assert seen == [
        InputState.IDLE,
        InputState.RECONNECTING,
        InputState.RUNNING,
        InputState.ENDED,
    ]


def test_a_device_that_stays_away_leaves_a_hole_to_the_end(scripted, edge_blocks):
    never = [None] + [DeviceMissing("gone")] * 100
    driver = scripted([edge_blocks(1), DeviceLost("gone")], openings=never)
    kept = []
    session = run(driver, keep=lambda _, item: kept.append(item), for_s=30.0)
    assert isinstance(kept[-1], Lost)
    assert kept[-1].to_s == pytest.approx(130.0, abs=0.5)
    assert "not back" in kept[-1].reason
    assert "not back by the end" in session.statuses[0].reason
    assert isinstance(session.statuses[0].error, DeviceLost)


def test_a_drivers_defect_ends_its_input_aloud_and_not_the_others(scripted, edge_blocks):
    broken = scripted([ZeroDivisionError("division by zero")], address="fake:broken")
    sound = scripted([edge_blocks(1)] * 20, address="fake:sound")
    sound.clock = broken.clock
    session = run(broken, sound)
    bad, good = session.statuses
    assert "ZeroDivisionError" in bad.reason
    assert bad.error is not None
    assert (good.reason, good.items) == ("all was read", 20)


def test_a_failed_recorder_ends_the_whole_run(scripted, edge_blocks):
    one = scripted([edge_blocks(1)] * 1000, address="fake:1")
    two = scripted([[]] * 10_000_000, address="fake:2")
    two.clock = one.clock

    def keep(address, item):
        raise StoreError("The disk is full.")

    session = run(one, two, keep=keep)
    assert str(session.fault) == "The disk is full."
    assert session.statuses[0].reason == "The disk is full."
    assert all(status.state is InputState.ENDED for status in session.statuses)


def test_stop_closes_a_device_under_a_read_that_does_not_return(scripted):
    closed = threading.Event()

    def blocked():
        closed.wait()
        raise DeviceLost("The port was closed.")

    driver = scripted([blocked])
    driver.close = closed.set
    session = Session([driver])
    session.start()
    assert session.stop(within_s=1.0) == []
    (status,) = session.statuses
    assert (status.state, status.reason, status.error) == (InputState.ENDED, "stopped", None)


def test_stop_leaves_behind_what_never_lets_go_and_says_so(scripted, edge_blocks):
    let_go = threading.Event()
    driver = scripted([lambda: let_go.wait() and edge_blocks(1)])
    driver.close = let_go.wait  # closing hangs as well
    kept = []
    session = Session([driver])
    session.start(lambda _, item: kept.append(item))
    assert session.stop(within_s=0.2) == ["fake:1"]
    assert "left behind" in session.statuses[0].reason
    let_go.set()
    for thread in threading.enumerate():
        if thread.name == "fake:1":
            thread.join()
    assert kept == []  # what it brings too late is not taken
    assert "left behind" in session.statuses[0].reason


def test_what_is_shown_comes_after_what_is_kept_and_cannot_end_it(scripted, edge_blocks, caplog):
    blocks, kept, shown = edge_blocks(3), [], []

    def show(address, items):
        assert items[-1] is kept[-1]
        shown.append(address)
        raise ZeroDivisionError

    session = Session([scripted([[block] for block in blocks])], show=show)
    session.start(lambda _, item: kept.append(item))
    assert session.wait(5.0)
    assert kept == blocks
    assert shown == ["fake:1"] * 3
    assert session.statuses[0].error is None
    assert "what is shown live" in caplog.text
    caplog.clear()


def test_inputs_of_different_clocks_are_refused(scripted):
    with pytest.raises(WrongInput, match="one clock"):
        Session([scripted([]), scripted([])])
    with pytest.raises(WrongInput, match="at least one"):
        Session([])
