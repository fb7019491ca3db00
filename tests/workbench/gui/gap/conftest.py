"""The gap page with a machine, or on the simulator; what a person types there."""

import pytest
from PySide6.QtCore import Qt

from drivers.catalogue import open_input
from workbench.base.cautions import Caution
from workbench.base.machine import parse_machine
from workbench.gui.gap.page import GapPage
from workbench.gui.theme import BRIGHT

MACHINE = """
name = "Test digger"
[drive]
target_teeth = 30
kind = "sprocket"
sprocket_teeth = 12
rod_pitch_m = 0.05
"""
FOUR_GAPS = ("1/16", "1.6 mm", "0.062 in", "1.6mm")


@pytest.fixture
def machine():
    """Thirty teeth."""
    return parse_machine(MACHINE, "test")


@pytest.fixture
def four_gaps():
    """One round, as typed."""
    return FOUR_GAPS


@pytest.fixture
def make_page(bench, housed):
    """The page in what the smallest window leaves to it."""
    return lambda: housed(GapPage(bench, BRIGHT), 816, 460)


@pytest.fixture
def page(bench, make_page, machine):
    """With a machine of 30 teeth and no input: feelers need no signal."""
    bench.use_machine(machine)
    bench.cautions_read.add(Caution.AT_THE_WHEEL)
    return make_page()


@pytest.fixture
def run_page(bench, make_page):
    """On the simulator, all cautions read."""
    bench.use_inputs(["sim:bent-tooth?seed=1"])
    bench.cautions_read |= {Caution.AT_THE_WHEEL, Caution.WITH_THE_BELT_RUNNING}
    return make_page()


@pytest.fixture
def worked_out(screen_of):
    return lambda page: screen_of(page).settle()


@pytest.fixture
def enter(qtbot):
    """Type a gap and the enter key."""

    def go(page, gap):
        qtbot.keyClicks(page.feeler.gap, gap)
        qtbot.keyClick(page.feeler.gap, Qt.Key.Key_Return)

    return go


@pytest.fixture
def type_round(enter):
    """Type one gap after the other."""

    def go(page, readings=FOUR_GAPS):
        for gap in readings:
            enter(page, gap)

    return go


@pytest.fixture
def store_simulated():
    """Puts a simulated recording into a store."""
    return _store_simulated


def _store_simulated(store, address, for_s, machine, channels=None):
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
