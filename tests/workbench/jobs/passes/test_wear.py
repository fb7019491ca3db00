"""What nobody measured of rods and rolls: one way only, in speed, ratio and verdict.

A chain is worn out at 3 % of elongation (common practice, no source): a belt of worn rods moves
more for every pulse, and nothing in the pulses tells.
"""

import numpy as np
import pytest

from drivers.contract import ChannelKind, EdgeTrack, Recording, SpeedTrack
from workbench.base.machine import parse_machine
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.passes.answer import PassOptions
from workbench.jobs.passes.compute import compute as judge
from workbench.jobs.speed.answer import SpeedOptions, SpeedSays
from workbench.jobs.speed.compute import compute as speed_of
from workbench.match.ratio import PaceLimits, PaceSays, decide_worn

PITCH_M, LAP_M, GROUND_MPS, SECONDS = 0.0381, 9.144, 1.2, 120
TEXT = """
name = "worn"
[belt]
lap_length_m = {lap_m}
[drive]
target_teeth = 24
kind = "sprocket"
sprocket_teeth = 10
rod_pitch_m = 0.0381
{measured}
[pickup]
clock_ppm = 50
"""
UNMEASURED = parse_machine(TEXT.format(lap_m=LAP_M, measured=""))
MEASURED = parse_machine(TEXT.format(lap_m=LAP_M, measured="measured_on = 2026-09-14"))
BAND = PaceLimits(0.95, 1.05)


def recording(wear_rel, ratio=1.0, *, laps=False):
    """The belt at `ratio` of the ground, its rods `wear_rel` too long."""
    rng = np.random.default_rng(5)
    belt_mps = ratio * GROUND_MPS
    pulse_s = PITCH_M * 10 / 24 * (1 + wear_rel) / belt_mps
    edge_s = np.arange(1, int(SECONDS / pulse_s)) * pulse_s
    edge_s += rng.normal(0, 1e-5, edge_s.size)
    edges = {"left": EdgeTrack("left", edge_s, kind=ChannelKind.BELT)}
    if laps:
        lap_s = np.arange(1, int(SECONDS * belt_mps / LAP_M)) * LAP_M / belt_mps
        edges["lap"] = EdgeTrack("lap", lap_s, kind=ChannelKind.LAP_MARK)
    time_s = np.arange(0, SECONDS, 0.2)
    ground = SpeedTrack(
        "radar",
        "",
        time_s,
        rng.normal(GROUND_MPS, 0.01, time_s.size),
        np.full(time_s.size, 0.01),
        kind=ChannelKind.SATELLITE,
    )
    return Recording("worn", "made up", edges=edges, speeds={"radar": ground})


def said(answer):
    return [one.what for one in answer.warnings]


@pytest.mark.parametrize("wear_rel", [0.0, 0.01, 0.02, 0.03])
def test_a_speed_by_pulses_alone_holds_a_worn_belt_and_says_what_to_do(wear_rel):
    found = speed_of(recording(wear_rel), UNMEASURED, SpeedOptions())
    assert abs(found.belt_speed_mps - GROUND_MPS) <= found.U_belt_speed_mps
    assert SpeedSays.SPEED_BUT_FOR_WEAR in said(found)
    assert found.U_belt_speed_mps < 0.04 * GROUND_MPS


@pytest.mark.parametrize(("machine", "laps"), [(MEASURED, False), (UNMEASURED, True)])
def test_a_measured_pitch_or_laps_take_it_out(machine, laps):
    found = speed_of(recording(0.0, laps=laps), machine, SpeedOptions())
    assert found.U_belt_speed_mps < 0.005 * GROUND_MPS
    assert SpeedSays.SPEED_BUT_FOR_WEAR not in said(found)
    passed = judge(recording(0.0, 1.03, laps=laps), machine, PassOptions())
    assert (passed.wear_rel, passed.verdict) == (0.0, Verdict.PASS)
    assert PaceSays.RATIO_BUT_FOR_WEAR not in said(passed)


def test_an_ordinary_pass_stays_a_plain_one():
    found = judge(recording(0.0, 0.99), UNMEASURED, PassOptions())
    assert (found.wear_rel, found.verdict) == (0.03, Verdict.PASS)
    assert PaceSays.RATIO_BUT_FOR_WEAR in said(found)


@pytest.mark.parametrize("wear_rel", [0.01, 0.02, 0.03])
def test_no_worn_belt_at_its_limit_passes_plainly(wear_rel):
    found = judge(recording(wear_rel, 1.051), UNMEASURED, PassOptions())
    assert found.verdict is not Verdict.PASS
    assert (
        found.ratio - found.U_ratio <= 1.051 <= found.ratio * (1 + found.wear_rel) + found.U_ratio
    )


@pytest.mark.parametrize(
    ("ratio", "verdict"),
    [
        (0.90, Verdict.FAIL),  # slow with every wear there can be
        (0.93, Verdict.CONDITIONAL_FAIL),  # slow, unless it is worn
        (1.00, Verdict.PASS),
        (1.03, Verdict.CONDITIONAL_PASS),  # in pace, unless it is worn
        (1.07, Verdict.FAIL),  # fast, and the faster if it is worn
    ],
)
def test_wear_goes_one_way(ratio, verdict):
    """The true ratio lies between that by the pulses and 3 % more; u is small beside it."""
    assert decide_worn(ratio, 0.001, 2.0, BAND, 0.03).verdict is verdict
    assert decide_worn(ratio, 0.001, 2.0, BAND, 0.0).verdict in (Verdict.PASS, Verdict.FAIL)
