"""Where another simulated scenario is needed, it is offered where one stands."""

from __future__ import annotations

import pytest

from workbench.models.rehearsal import Rehearsal, fits


def in_use(bench):
    return [driver.address for driver in bench.live.drivers]


@pytest.fixture
def on(window, screen_of):
    """A page of the window, its caution read."""

    def go(page):
        screen = screen_of(window)
        screen.press(page)
        while "I have read this" in screen.offers:
            screen.press("I have read this")
        screen.settle()
        return screen

    return go


def test_calibrate_offers_the_shop_and_then_the_slow_ramp(on, bench):
    screen = on("Calibrate")
    screen.press("Use a simulated shop")
    assert in_use(bench) == ["sim:calibration-shop"]
    assert bench.machine.name == "Demonstration digger, calibrating in the shop"
    assert not any(one.startswith("Use a simulated") for one in screen.offers)
    screen.choose("What the true speed is taken from", "digit flips")
    screen.frame()
    screen.press("Use a simulated slow ramp")
    assert in_use(bench) == ["sim:readout-ramp"]
    assert not any(one.startswith("Use a simulated") for one in screen.offers)


def test_a_drop_out_run_offers_its_scenario(on, bench):
    screen = on("Gap")
    screen.press("Drop-out")
    screen.press("I have read this")
    screen.press("Use a simulated drop-out run")
    assert in_use(bench) == ["sim:drop-out-run"]
    assert not any(one.startswith("Use a simulated") for one in screen.offers)


def test_a_pass_offers_a_field_to_who_comes_from_the_shop(on, bench):
    bench.use_inputs(["sim:calibration-shop?seed=3"])
    screen = on("Pass")
    screen.press("Use a simulated field")
    assert in_use(bench) == ["sim:healthy"]


def test_nothing_is_offered_while_a_recording_runs_but_it_is_said_why(on, bench):
    screen = on("Calibrate")
    bench.recording.start()
    screen.press("Use a simulated shop")
    assert in_use(bench) == ["sim:valve-off?seed=4"]
    screen.frame()
    assert "A recording runs" in screen.said


@pytest.mark.parametrize("rehearsal", Rehearsal)
def test_each_offer_fits_what_it_is_for(bench, rehearsal):
    bench.use_inputs([rehearsal.value])
    assert fits(bench, rehearsal)


@pytest.mark.parametrize("rehearsal", Rehearsal)
def test_nothing_simulated_is_offered_where_nothing_simulated_comes_in(bench, rehearsal):
    assert fits(bench, rehearsal)
