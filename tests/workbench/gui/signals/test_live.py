"""Live streams: speeds from pulses, ages, silence, and a pace that never coasts on old data."""

from __future__ import annotations

import math

import numpy as np
import pytest

from drivers.catalogue import open_input
from drivers.contract import EdgeBlock, Lost, SpeedBlock
from workbench.base.units import SPEED_UNITS_MPS
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.jobs.passes.answer import PassOptions
from workbench.jobs.passes.inputs import choose
from workbench.live.streams import SILENT_S
from workbench.models.pace import PaceModel
from workbench.records.rebuild import collect


@pytest.fixture
def fed(bench, clock):
    """The demo machine with items handed in by the test, without a reader."""
    bench.use_inputs(["sim:healthy"])
    bench.live.start([])
    return lambda item: bench.live.taken.take("test:", [item])


def edges(rate_hz, until_s, clock, sequence=0, tick_s=1e-6):
    ticks = (np.arange(0, until_s, 1 / rate_hz) / tick_s).astype(np.int64)
    return EdgeBlock("left", sequence, ticks, tick_s, clock(), ticks.size)


def speed(clock, *values, source="radar"):
    at_s = np.full(len(values), clock())
    return SpeedBlock(source, np.array(values, dtype=float), at_s, at_s)


def test_pulses_become_a_rate_and_a_speed(bench, clock, fed):
    fed(edges(80.0, 3.0, clock))
    stream = bench.live.streams["left"]
    per_pulse = metres_per_pulse(bench.machine).value_m
    assert stream.rate_hz == pytest.approx(80.0, rel=1e-4)
    assert stream.speed_mps == pytest.approx(80.0 * per_pulse, rel=1e-4)
    assert stream.distance_m == pytest.approx(240 * per_pulse)


def test_a_signal_without_news_is_lost_and_its_tape_stands(bench, clock, fed):
    fed(edges(80.0, 3.0, clock))
    fed(speed(clock, 1.2))
    pace = PaceModel(bench)
    assert not pace.now().belt_lost
    clock.now_s += SILENT_S + 0.1
    now = pace.now()
    assert now.belt_lost
    assert now.ground_lost
    assert math.isnan(now.ground_mps)
    stood_m = now.belt_m
    clock.now_s += 60
    assert pace.now().belt_m == stood_m


def test_no_value_is_not_zero(bench, clock, fed):
    fed(speed(clock, 1.2, math.nan))
    assert math.isnan(bench.live.streams["radar"].speed_mps)


def test_losses_are_counted_with_their_stream(bench, clock, fed):
    fed(edges(80.0, 1.0, clock))
    fed(Lost("left", 7, clock() - 1, clock(), "a frame is missing"))
    assert bench.live.streams["left"].lost == 7


def test_the_ground_is_taken_from_a_source_that_is_heard(bench, clock, fed):
    fed(speed(clock, 1.2, source="radar"))
    clock.now_s += 10
    fed(speed(clock, 1.3, source="gnss"))
    assert PaceModel(bench).ground().name == "gnss"


@pytest.mark.parametrize(("scenario", "ground"), [("healthy", "gnss"), ("gnss-dropouts", "radar")])
def test_the_ground_is_that_of_the_command_from_standstill_to_headland(
    bench, pass_time, scenario, ground
):
    """Speeding up does not make a sound receiver look noisy; one that is stays left out."""
    bench.use_inputs([f"sim:{scenario}?seed=1"])
    taken = []
    pass_time(300, look=lambda: taken.append(PaceModel(bench).ground().name))
    driver = open_input(f"sim:{scenario}?seed=1&pace=fast")
    recorded = collect(driver, 300.0)
    options = PassOptions()
    assert choose(recorded, options).ground.name == ground
    assert set(taken[20:]) == {ground}
    assert taken[0] == "gnss"


def test_a_wrong_address_becomes_a_sentence(bench):
    bench.use_inputs(["nonsense:1"])
    assert "nonsense" in bench.live.problems[0]
    assert not bench.live.running


def test_the_simulator_is_heard_at_its_truth(bench, pass_time):
    bench.use_inputs(["sim:healthy?seed=1"])
    pass_time(20)
    belt = PaceModel(bench).belt()
    # The scenario drives at 2.75 mph and its belt 3 % faster or less; see sim/scenarios.py.
    assert belt.speed_mps == pytest.approx(2.75 * SPEED_UNITS_MPS["mph"], rel=0.06)
    assert bench.live.simulated
