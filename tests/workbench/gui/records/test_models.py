"""What is kept, in words: the list, figures with their uncertainty, comparisons, the season."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest

from workbench.base.machine import parse_machine
from workbench.base.units import METRIC, US
from workbench.calibration.statistics.decision import Verdict
from workbench.models.records import listing
from workbench.models.records.compare import compared_pictures, compared_rows
from workbench.models.records.listing import Filter, Order, RecordEntry
from workbench.records.entries import StoredResult
from workbench.records.store import open_store
from workbench.words.figures import Measure, decimals_of, figures, plain, with_spread
from workbench.words.moments import moment_text

DAY = datetime(2026, 9, 14, 20, 5, tzinfo=UTC)
EAST = timezone(timedelta(hours=5))
MACHINE = parse_machine(
    'name = "Digger"\n[drive]\ntarget_teeth = 24\nkind = "roll"\nroll_diameter_m = 0.2\n'
)
LIMITS = {"ratio_low": 0.95, "ratio_high": 1.05}


def entry(number, **given):
    values = {"kind": "pass", "name": "field", "when_utc": f"2026-09-{number:02d}", "when": ""}
    return RecordEntry(number, **{**values, "machine": "Digger", **given})


def stored(kind, answer):
    return StoredResult(1, kind, answer, {}, None, "", "", "", "", "1", DAY.isoformat())


def test_moments_are_told_by_the_clock_on_the_wall():
    assert moment_text("2026-09-14T20:05:00.000+00:00", EAST) == "15 Sep 2026, 01:05"
    assert moment_text("torn", EAST) == "torn"


def test_the_list_is_sorted_as_asked():
    entries = [
        entry(1, verdict=Verdict.PASS, title="b"),
        entry(2, verdict=Verdict.FAIL, title="c", machine="A"),
        entry(3, title="a"),
    ]

    def order(one):
        return [found.number for found in listing.filtered(entries, Filter(order=one))]

    assert order(Order.NEWEST) == [3, 2, 1]
    assert order(Order.OLDEST) == [1, 2, 3]
    assert order(Order.NAME) == [3, 1, 2]
    assert order(Order.WORST) == [2, 1, 3]
    assert order(Order.MACHINE)[0] == 2


def test_every_word_typed_must_be_found_and_deleted_ones_are_apart():
    entries = [entry(1, note="Wet Clay"), entry(2), replace(entry(3), deleted_utc="x")]

    def numbers(**wanted):
        return [found.number for found in listing.filtered(entries, Filter(**wanted))]

    assert numbers(words="clay wet PASS") == [1]
    assert numbers(deleted=True) == [3]
    assert numbers(machine="no such") == []


def test_a_result_goes_and_comes_with_its_recording(tmp_path):
    path = str(tmp_path / "store.db")
    with open_store(path, now=lambda: DAY) as store:
        writer = store.begin_recording("field", started_host_s=0.0)
        store.add_result("pass", {"verdict": "pass"}, options={}, recording=writer.number)
    with open_store(path, now=lambda: DAY + timedelta(minutes=1)) as store:
        store.hide(1)
    both = listing.all_entries(path)
    assert all(one.deleted_utc for one in both)
    (result,) = [one for one in both if one.is_result]
    assert result.with_recording
    listing.hide(path, [result], hidden=False)
    assert not any(one.deleted_utc for one in listing.all_entries(path))


def test_a_recording_known_to_run_runs_however_long_its_disk_is_busy(tmp_path):
    path = str(tmp_path / "store.db")
    with open_store(path, now=lambda: DAY) as store:
        number = store.begin_recording("field", started_host_s=0.0).number
        store.begin_recording("of a bench that died", started_host_s=0.0)
    entries = {one.number: one for one in listing.all_entries(path, under_way={number})}
    assert [entries[at].state_words for at in (1, 2)] == ["recording now", "broken off"]


@pytest.mark.parametrize(
    ("U", "decimals"),
    # GUM 7.2.6: at most two significant digits of an uncertainty; one suffices from 3 on,
    # common practice, no source.
    [(0.0213, 3), (0.0312, 2), (0.15, 2), (2.9, 1), (31.0, 0), (math.nan, 2), (1e-9, 4)],
)
def test_an_uncertainty_sets_the_digits(U, decimals):
    assert decimals_of(U, 2) == decimals


def test_numbers_carry_true_signs_and_never_a_negative_zero():
    assert plain(-0.001, 2) == "0.00"
    assert plain(-1.5, 1) == "−1.5"
    assert plain(0.4, 1, signed=True) == "+0.4"
    assert with_spread(0.01234, 0.0021, Measure("%", 100, 2)) == "1.23 ± 0.21 %"
    assert with_spread(math.nan, 1.0, Measure("%", 100, 2)) == "–"


def test_figures_follow_the_units():
    answer = {"belt_speed_mps": 1.0, "gap_m": 0.00127, "U_gap_m": None, "missed": 0}
    us = {one.name: one.text for one in figures(answer, US)}
    # 1 m/s = 2.2369 mph, 1.27 mm = 0.05 in (NIST SP 811, appendix B)
    assert us == {"Belt speed": "2.24 mph", "Mean gap": "0.050 in", "Missed pulses": "0"}
    metric = {one.name: one.text for one in figures(answer, METRIC)}
    assert metric["Belt speed"] == "3.60 km/h"
    assert metric["Mean gap"] == "1.27 mm"


def test_a_difference_counts_only_beyond_both_uncertainties():
    first = {"verdict": "pass", "ratio": 1.0, "U_ratio": 0.03}
    near = compared_rows(first, {"verdict": "pass", "ratio": 1.04, "U_ratio": 0.03}, US)
    far = compared_rows(first, {"verdict": "fail", "ratio": 0.94, "U_ratio": 0.03}, US)
    assert [row.meaning for row in near] == ["the same", "no difference to be told"]
    assert [row.meaning for row in far] == ["changed", "smaller"]
    # √(0.03² + 0.03²) = 0.0424 (GUM 5.1.2, uncorrelated)
    assert far[1].difference == "−0.06 ± 0.04"


def test_two_of_one_kind_are_drawn_on_the_same_axes():
    series = {
        "time_s": [10.0, 11.0],
        "belt_mps": [1.0, 1.1],
        "ground_mps": [1.0, 1.0],
        "separation_m": [0.0, 0.1],
        "steady": [1, 1],
    }
    one = stored("pass", {**LIMITS, "series": series})
    (ratio,), (apart,) = (picture.panels for picture in compared_pictures(one, one))
    assert [line.name for line in ratio.traces] == ["A", "B"]
    assert ratio.traces[0].source.time_s.tolist() == [0.0, 1.0]  # both from their own beginning
    assert ratio.traces[0].source.value.tolist() == pytest.approx([1.0, 1.1])
    assert apart.traces[1].source.value.tolist() == [0.0, 0.1]
    assert compared_pictures(one, stored("gap", {})) == []
    pulses = stored("gap", {"pickup": "left", "spacing_rel": [0.0, None, 0.02]})
    (teeth,) = compared_pictures(pulses, pulses)
    assert teeth.places.tolist() == [1, 3]  # nothing is drawn where nothing is known
