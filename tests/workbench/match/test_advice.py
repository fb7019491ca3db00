"""What to do: in per cent, as a ground speed, in steps of the flow control; never kilograms."""

from __future__ import annotations

import math

import pytest

from workbench.base.machine import Limits
from workbench.base.units import US
from workbench.calibration.statistics.decision import decide
from workbench.match.advice import AdviceSays, advise, learn_response
from workbench.match.ratio import Pace
from workbench.words.words import Words


def pace(ratio, ground_mps=1.23, u=0.005):
    return Pace(
        decision=decide(ratio, u, 0.95, 1.05),
        ratio=ratio,
        u_ratio=u,
        belt_speed_mps=ratio * ground_mps,
        ground_speed_mps=ground_mps,
    )


def test_a_slow_belt_is_told_by_how_much_and_at_which_ground_speed_it_would_do():
    advice = advise(pace(0.9), Limits())
    assert advice.belt_change_rel == pytest.approx(1 / 0.9 - 1)
    assert advice.u_belt_change_rel == pytest.approx(0.005 / 0.81)
    assert advice.ground_target_mps == pytest.approx(0.9 * 1.23)
    run = advice.sentences[0]
    assert run.what == AdviceSays.RUN_BELT_FASTER
    # By hand: 1/0.9 − 1 = 11.11 %, and twice 0.005/0.81 is 1.23 %.
    change = run.values["change_rel"]
    assert (change.value, change.U) == pytest.approx((0.1111, 0.0123), abs=5e-5)
    assert Words(US).say(run) == (
        "Run the belt 11.1 ± 1.2 % faster, or drive at 2.48 mph instead of 2.75 mph."
    )


def test_a_belt_in_pace_is_left_alone():
    advice = advise(pace(1.0), Limits())
    assert math.isnan(advice.belt_change_rel)
    assert [said.what for said in advice.sentences] == [AdviceSays.LEAVE_BOTH]


def test_too_unsure_a_ratio_brings_no_change():
    advice = advise(pace(0.94, u=0.06), Limits())
    assert advice.sentences[0].what == AdviceSays.TOO_UNSURE_TO_CHANGE


@pytest.mark.parametrize(("ground_mps", "says"), [(0.6, "at the front"), (1.6, "at the rear")])
def test_outside_the_working_range_the_loss_is_named_in_words_only(ground_mps, says):
    """Losses at the front when slow, at the rear when fast: common practice, no source."""
    said = " ".join(Words(US).say_all(advise(pace(0.8, ground_mps), Limits()).sentences))
    assert says in said
    assert "mph" in said
    assert not any(word in said for word in ("kg", "kilogram", "lb", "pound"))


def test_the_flow_control_is_learned_from_known_steps():
    """ratio = 0.90 + 0.02 · steps; to 1.00 from position 3 it is 2 steps."""
    response = learn_response([0, 2, 3], [0.900, 0.941, 0.959], [0.003, 0.003, 0.003])
    assert response.ratio_per_step == pytest.approx(0.02, abs=2 * response.u_ratio_per_step)
    steps, u_steps = response.steps_to(1.0)
    assert steps == pytest.approx(2.0, abs=2 * u_steps)
    assert 0.1 < u_steps < 0.5
    advice = advise(pace(0.959 - 0.02), Limits(), response=response)
    assert advice.sentences[1].what == AdviceSays.STEP_OF_FLOW_CONTROL


def test_steps_that_change_nothing_teach_nothing():
    with pytest.raises(ValueError, match="no clear change"):
        learn_response([0, 2], [0.95, 0.951], [0.003, 0.003])
