"""The shop's list of pickups, its repeat measurements, and wheels known again."""

import numpy as np
import pytest

from workbench.base.errors import WrongInput
from workbench.base.machine import Pickup
from workbench.calibration.gap.batch import Entry, PickupId, PickupList, verdict_line
from workbench.calibration.gap.repeats import repeat_chart
from workbench.calibration.gap.same_wheel import compare_spacing
from workbench.calibration.gap.table import parse_gap_table
from workbench.calibration.statistics.decision import Verdict


@pytest.fixture
def shop() -> PickupList:
    pickups = [PickupId("Digger 4", "left", "hall"), PickupId("Digger 4", "right", "hall")]
    return PickupList(Entry(pickup) for pickup in pickups)


def test_readings_typed_one_after_the_other_make_a_verdict_a_pickup(shop: PickupList) -> None:
    for angle, typed in ((0, "1/16"), (90, "0.062 in"), (180, "1.6"), (270, "1.6 mm")):
        shop.read(angle, typed)
    assert shop.decision().verdict is Verdict.CANNOT_TELL
    assert shop.lines()[1] == "Digger 4 / right / hall: no readings yet"
    shop.next()
    for angle in (0, 90, 180, 270):
        shop.read(angle, "0.14", unit="in")
    assert shop.lines()[0].startswith("Digger 4 / left / hall: pass; 1.59 ± ")
    assert shop.lines()[1].startswith("Digger 4 / right / hall: fail; 3.56 ± ")
    assert shop.decision().verdict is Verdict.FAIL


def test_moving_past_an_end_stays(shop: PickupList) -> None:
    assert shop.previous() is shop.entries[0]
    assert shop.next() is shop.entries[1]
    assert shop.next() is shop.entries[1]
    assert PickupList().next() is None
    assert PickupList().decision().verdict is Verdict.CANNOT_TELL


def test_a_wrong_reading_is_refused_with_its_place_and_the_last_can_be_taken_back(
    shop: PickupList,
) -> None:
    shop.read(0, "1.6")
    with pytest.raises(WrongInput, match=r"hall, reading 2: a gap of 0.0254 m; expected metres"):
        shop.read(90, "1 in")
    with pytest.raises(WrongInput, match="'wide': it is not a length"):
        shop.read(90, "wide")
    with pytest.raises(WrongInput, match="reading 2: an angle of 900°"):
        shop.read(900, "1.6")
    assert shop.entries[0].gap_m == [0.0016]
    shop.undo()
    shop.undo()
    assert shop.entries[0].gap_m == shop.entries[0].angle_deg == []


def test_the_list_goes_to_a_gap_table_and_back(shop: PickupList) -> None:
    for angle in (0, 90, 180, 270):
        shop.read(angle, "1.6")
    again = PickupList.from_table(parse_gap_table(shop.table_text()), Pickup())
    assert [entry.pickup for entry in again.entries] == [shop.entries[0].pickup]
    assert again.lines() == shop.lines()[:1]


def test_a_name_is_taken_once(shop: PickupList) -> None:
    shop.add(PickupId("Digger 5"), Pickup())
    with pytest.raises(ValueError, match="Digger 5 is in the list already"):
        shop.add(PickupId("Digger 5"), Pickup())


@pytest.mark.parametrize("name", ["Digger 4", "Digger 4 / left", "Digger 4 / left / hall"])
def test_names_split_into_machine_side_and_kind(name: str) -> None:
    assert PickupId.parse(name).name == name


def test_the_line_says_verdict_gap_runout_and_widest_point() -> None:
    shop = PickupList.from_table(
        parse_gap_table(
            "pickup,angle_deg,gap_m\nx,0,0.0018\nx,90,0.0016\nx,180,0.0014\nx,270,0.0016\n"
        ),
        Pickup(),
    )
    gap = shop.judge(shop.entries[0])
    assert gap is not None
    line = verdict_line(gap)
    assert line.startswith("x: pass; 1.60 ± 0.07 mm, run-out 0.40 mm, widest 1.80 mm at 0°")


def test_repeat_measurements_that_hold_are_in_control() -> None:
    rng = np.random.default_rng(1)
    charts = [repeat_chart(0.0016 + rng.normal(0, 3e-5, 40), 1e-5, 0.0016) for _ in range(200)]
    assert sum(chart.in_control is False for chart in charts) <= 12  # 2 to 3 in 100 expected
    held = next(chart for chart in charts if chart.in_control)
    assert held.sentence == "The shop's 40 repeat measurements hold to 1.60 mm."


def test_repeat_measurements_that_move_raise_an_alarm_soon() -> None:
    rng = np.random.default_rng(2)
    values = 0.0016 + rng.normal(0, 3e-5, 40)
    values[25:] += 6e-5
    chart = repeat_chart(values, 5e-5, 0.0016)
    assert chart.in_control is False
    assert chart.ewma is not None
    assert chart.cusum is not None
    first = min(chart.ewma.alarms + chart.cusum.alarms)
    assert 25 <= first <= 33
    assert f"from number {first + 1} on they read wider than 1.60 mm" in chart.sentence


def test_equal_readings_get_the_blades_spread_and_few_get_a_sentence() -> None:
    chart = repeat_chart(np.full(10, 0.0016), 5e-5)
    assert chart.sigma_m == pytest.approx(5e-5 / np.sqrt(12))
    assert repeat_chart(np.full(5, 0.0016), 5e-5).sentence.startswith(
        "5 repeat measurements: 3 more are needed"
    )


def test_a_wheel_is_known_again_and_the_way_it_turned() -> None:
    rng = np.random.default_rng(5)
    then = rng.normal(0, 0.006, 24)
    same = compare_spacing(np.roll(then, -7) + rng.normal(0, 0.001, 24), then)
    assert same.same
    assert not same.turned_back
    assert same.tooth_then == 8
    back = compare_spacing(-then[::-1], then)
    assert back.same
    assert back.turned_back
    assert back.tooth_then == 24
    assert "turned the other way" in back.sentence
    assert compare_spacing(np.roll(-then[::-1], 3), then).tooth_then == 3


def test_other_wheels_are_told_apart_and_unlike_ones_not_compared() -> None:
    rng = np.random.default_rng(6)
    taken = sum(
        bool(compare_spacing(rng.normal(0, 1, 24), rng.normal(0, 1, 24)).same) for _ in range(500)
    )
    assert taken <= 2
    assert compare_spacing(np.zeros(24), np.zeros(30)).same is None
    assert "too few to know a wheel by" in compare_spacing(np.zeros(6), np.zeros(6)).sentence
