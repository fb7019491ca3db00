"""What is kept, in words: the list, figures with their uncertainty, comparisons, the season."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest

from drivers.contract import Notes
from workbench.base.ends import EndSays
from workbench.base.units import METRIC, US
from workbench.calibration.gap.answer import FeelerAnswer, WheelAnswer
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.gap.answer import GapAnswer
from workbench.jobs.passes.answer import PassAnswer
from workbench.jobs.passes.answer import Series as PassSeries
from workbench.jobs.speed.answer import SpeedAnswer
from workbench.models.records import listing
from workbench.models.records.compare import compared_pictures, compared_rows
from workbench.models.records.listing import Filter, Order, RecordEntry
from workbench.records.store import open_store
from workbench.words.figures import figures
from workbench.words.moments import moment_text
from workbench.words.words import Words

DAY = datetime(2026, 9, 14, 20, 5, tzinfo=UTC)
EAST = timezone(timedelta(hours=5))


def entry(number, **given):
    values = {"kind": "pass", "name": "field", "when_utc": f"2026-09-{number:02d}", "when": ""}
    return RecordEntry(number, **{**values, "machine": "Digger", **given})


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


def test_a_result_is_found_by_whom_and_what_it_was_for(tmp_path):
    path = str(tmp_path / "store.db")
    with open_store(path, now=lambda: DAY) as store:
        for said in ('{"customer": "Hill farm", "job": "7-114"}', "", "torn"):
            store.add_result("gap", "{}", "{}", table="t", table_name="t", said=said)
    found = listing.filtered(listing.all_entries(path), Filter(words="hill 7-114"))
    assert [entry.number for entry in found] == [1]


def test_a_result_goes_and_comes_with_its_recording(tmp_path):
    path = str(tmp_path / "store.db")
    with open_store(path, now=lambda: DAY) as store:
        writer = store.begin_recording("field", started_host_s=0.0)
        store.add_result("pass", "{}", "{}", recording=writer.number)
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


def test_why_a_recording_ended_is_said_last_of_all(tmp_path):
    """As it is stored now, as the first versions stored it, and as a device said it."""
    store = str(tmp_path / "bench.db")
    for reason in (EndSays.PASS_OVER, "the pass is over", "the plug was pulled"):
        with open_store(store) as opened:
            opened.begin_recording("field", started_host_s=0.0).end(Notes(), reason)
    said = {entry.number: entry.end_words for entry in listing.all_entries(store)}
    assert said == {1: "the pass is over", 2: "the pass is over", 3: "the plug was pulled"}


def test_figures_follow_the_units(whole):
    speed = whole(SpeedAnswer, belt_speed_mps=1.0, missed=0)
    us = {one.name: one.text(Words(US)) for one in figures(speed)}
    # 1 m/s = 2.2369 mph, 1.27 mm = 0.05 in (NIST SP 811, appendix B)
    assert us == {"Belt speed": "2.24 mph", "Missed pulses": "0"}
    gap = whole(FeelerAnswer, gap_m=0.00127)
    assert next(one.text(Words(US)) for one in figures(gap)) == "0.050 in"
    assert next(one.text(Words(METRIC)) for one in figures(gap)) == "1.27 mm"
    assert figures(speed)[0].text(Words(METRIC)) == "3.60 km/h"


def test_a_difference_counts_only_beyond_both_uncertainties(whole):
    def passed(verdict, ratio):
        return whole(PassAnswer, verdict=verdict, ratio=ratio, U_ratio=0.03)

    first = passed(Verdict.PASS, 1.0)
    near = compared_rows(first, passed(Verdict.PASS, 1.04), Words(US))
    far = compared_rows(first, passed(Verdict.FAIL, 0.94), Words(US))
    assert [row.meaning for row in near[:2]] == ["the same", "no difference to be told"]
    assert [row.meaning for row in far[:2]] == ["changed", "smaller"]
    # √(0.03² + 0.03²) = 0.0424 (GUM 5.1.2, uncorrelated)
    assert far[1].difference == "−0.060 ± 0.042"


def test_the_pickup_that_both_checks_hold_is_compared(whole):
    def checked(*names):
        pickups = tuple(whole(FeelerAnswer, pickup=name, gap_m=0.001) for name in names)
        return whole(GapAnswer, pickups=pickups)

    (picture,) = compared_pictures(checked("left", "right"), checked("right"))
    assert picture.panels[0].y.words == "gap at right"


def test_two_of_one_kind_are_drawn_on_the_same_axes(whole):
    series = PassSeries(
        np.array([10.0, 11.0]),
        np.array([1.0, 1.1]),
        np.array([1.0, 1.0]),
        np.array([1.0, 1.0]),
        np.array([0.0, 0.1]),
    )
    one = whole(PassAnswer, ratio_low=0.95, ratio_high=1.05, series=series)
    (ratio,), (apart,) = (picture.panels for picture in compared_pictures(one, one))
    assert [line.name for line in ratio.traces] == ["A", "B"]
    assert ratio.traces[0].source.time_s.tolist() == [0.0, 1.0]  # both from their own beginning
    assert ratio.traces[0].source.value.tolist() == pytest.approx([1.0, 1.1])
    assert apart.traces[1].source.value.tolist() == [0.0, 0.1]
    wheel = whole(WheelAnswer, pickup="left", spacing_rel=(0.0, math.nan, 0.02))
    pulses = whole(GapAnswer, pickups=(wheel,))
    assert compared_pictures(one, pulses) == []
    (teeth,) = compared_pictures(pulses, pulses)
    assert teeth.places.tolist() == [1, 3]  # nothing is drawn where nothing is known
