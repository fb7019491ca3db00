"""Small pictures: the number line of a verdict, shares of a variance, causes of a pass."""

from __future__ import annotations

import math

import pytest

from sim.run import simulate
from workbench.base.machine import parse_machine
from workbench.base.units import US
from workbench.jobs.passes.answer import PassOptions
from workbench.jobs.passes.compute import compute
from workbench.reports.drawing import sketch_svg
from workbench.words.pictures.causes import budget_sketch, causes_sketch, verdict_sketch
from workbench.words.pictures.parts import part_to_touch
from workbench.words.pictures.sketch import EMPTY, Area, Filling, Stroke, Word
from workbench.words.pictures.verdict import Spread, number_line, share_bars
from workbench.words.words import Words

WORDS = Words(US)


@pytest.fixture(scope="module")
def bumped():
    run = simulate("bumped-valve", 2, 90.0)
    return compute(run.recording, parse_machine(run.machine_text), PassOptions())


def posts(sketch):
    return sorted(
        one.places[0][0]
        for one in sketch.shapes
        if isinstance(one, Stroke) and one.bold and one.role == "in_band"
    )


def hatched(sketch):
    areas = [one for one in sketch.shapes if isinstance(one, Area) and one.look is Filling.HATCHED]
    return [(one.corners[0][0], one.corners[1][0]) for one in areas]


def values(sketch, role="ink"):
    return [
        one.places[0][0]
        for one in sketch.shapes
        if isinstance(one, Stroke) and one.bold and one.role == role
    ]


def test_the_line_is_to_scale_and_the_guard_bands_are_as_wide_as_it_is_unsure():
    """A pass without condition lies inside the limits by more than U (ILAC-G8:09/2019, 4.2.2)."""
    sketch = number_line([Spread(0.93, 0.01)], 0.95, 1.05, "ratio", WORDS)
    low, high = posts(sketch)
    per = (high - low) / 0.10
    (value,) = values(sketch)
    assert value == pytest.approx(low - 0.02 * per)
    left, right = hatched(sketch)
    assert left == pytest.approx((low, low + 0.01 * per))
    assert right == pytest.approx((high - 0.01 * per, high))
    assert sketch.said == "0.930 ± 0.010; limits 0.950 to 1.050"


@pytest.mark.parametrize(
    ("value", "U", "low", "high"),
    [
        (math.nan, 0.01, 0.95, 1.05),
        (1.0, math.nan, 0.95, 1.05),
        (1.0, 0.01, math.nan, 1.05),
        (1.0, 0.01, 1.05, 0.95),
    ],
)
def test_what_is_not_known_is_not_drawn(value, U, low, high):
    assert number_line([Spread(value, U)], low, high, "ratio", WORDS) == EMPTY


@pytest.mark.parametrize("U", [1e-6, 0.02, 5.0])
@pytest.mark.parametrize("value", [0.2, 1.0, 4.0])
def test_all_stays_within_the_picture(value, U):
    sketch = number_line([Spread(value, U)], 0.95, 1.05, "ratio", WORDS)
    for shape in sketch.shapes:
        places = getattr(shape, "corners", None) or getattr(shape, "places", ())
        assert all(0 <= x <= 1 and 0 <= y <= sketch.height for x, y in places)


def test_before_and_after_stand_side_by_side(bumped):
    before, after = bumped.stretches
    sketch = verdict_sketch(bumped, WORDS)
    assert values(sketch) < values(sketch, "no_data")
    low, high = posts(sketch)
    at = [(one - low) / (high - low) for one in (*values(sketch), *values(sketch, "no_data"))]
    wanted = [(one.ratio - 0.95) / 0.10 for one in (after, before)]
    assert at == pytest.approx(wanted)
    words = [one.text for one in sketch.shapes if isinstance(one, Word)]
    assert any(text.startswith("before ") for text in words)
    assert any(text.startswith("after ") for text in words)


def test_bars_are_shares_of_the_variance_the_longest_on_top():
    sketch = share_bars({"small": 1.0, "large": 3.0}, WORDS, "Do this.")
    bars = [one for one in sketch.shapes if isinstance(one, Area)]
    lengths = [one.corners[1][0] - one.corners[0][0] for one in bars]
    assert lengths[0] == pytest.approx(3 * lengths[1])
    assert sketch.said == "large 75 %, small 25 %"
    assert [one.text for one in sketch.shapes if isinstance(one, Word)][-1] == "Do this."
    assert share_bars({}, WORDS) == EMPTY
    many = share_bars({str(at): 1.0 for at in range(9)}, WORDS)
    assert "all the rest 44 %" in many.said


def test_each_likely_cause_has_a_bar_as_long_as_it_is_likely(bumped):
    sketch = causes_sketch(bumped, WORDS)
    bars = [one for one in sketch.shapes if isinstance(one, Area) and one.role == "belt"]
    lengths = [one.corners[1][0] for one in bars]
    assert lengths == pytest.approx([one.probability for one in bumped.likely_causes])
    assert "Flow control bumped" in sketch.said
    # What tells: the step in the belt's speed, drawn beside it.
    assert any(isinstance(one, Stroke) and one.role == "belt" for one in sketch.shapes)


def test_the_part_to_touch_is_that_of_the_cause(bumped):
    assert part_to_touch(bumped).said == "flow control"
    run = simulate("missing-tooth", 1, 60.0)
    answer = compute(run.recording, parse_machine(run.machine_text), PassOptions())
    assert part_to_touch(answer).said == "target wheel and pickup"


def test_paper_draws_the_same(bumped):
    for sketch in (
        verdict_sketch(bumped, WORDS),
        budget_sketch(bumped, WORDS),
        causes_sketch(bumped, WORDS),
        part_to_touch(bumped),
    ):
        svg = sketch_svg(sketch)
        assert svg.startswith("<svg")
        assert sketch_svg(sketch) == svg
