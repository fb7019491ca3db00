"""One machine over the season: what counts as a visit, its limits, and what is said of it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from workbench.base.machine import parse_machine
from workbench.base.units import METRIC, US
from workbench.calibration.gap.answer import FeelerAnswer
from workbench.jobs.calibrate.answer import CalibrateAnswer
from workbench.jobs.codec import to_plain
from workbench.jobs.gap.answer import GapAnswer
from workbench.jobs.job import job
from workbench.jobs.keep import add
from workbench.jobs.passes.answer import PassAnswer
from workbench.jobs.season.answer import SeasonOptions, SeasonSays
from workbench.jobs.season.compute import compute
from workbench.records.store import open_store
from workbench.words.pictures.season import season_picture
from workbench.words.season import season_title
from workbench.words.words import Words

DAY = datetime(2026, 9, 14, 20, 5, tzinfo=UTC)
MACHINE = parse_machine(
    'name = "Digger"\n[drive]\ntarget_teeth = 24\nkind = "roll"\nroll_diameter_m = 0.2\n'
)


@pytest.fixture
def path(tmp_path):
    return str(tmp_path / "store.db")


def keep(path, kind, answers, *, table=None, recording=None):
    """Answers a day apart, each of a table of its own where none is given."""
    for at, answer in enumerate(answers):
        with open_store(path, now=lambda at=at: DAY + timedelta(days=at)) as store:
            own = f"{kind} {at}" if table is None and recording is None else table
            made_from = {"table": own, "recording": recording, "machine": MACHINE}
            add(store, kind, answer, job(kind).options(), **made_from)


def season(path, machine="Digger"):
    return compute(SeasonOptions(path, machine)).quantities


@pytest.fixture
def pickups(whole):
    """A gap check of some pickups."""

    def checked(**gaps_m):
        found = [
            whole(FeelerAnswer, pickup=name, gap_m=gap_m, u_gap_m=1e-5)
            for name, gap_m in gaps_m.items()
        ]
        top = {"pickup": found[0].pickup, "gap_m": found[0].gap_m}
        return whole(GapAnswer, pickups=tuple(found), gap_max_m=0.003, **top)

    return checked


@pytest.fixture
def passed(whole):
    """A pass with a ratio."""
    return lambda ratio: whole(
        PassAnswer, ratio=ratio, u_ratio=0.005, ratio_low=0.95, ratio_high=1.05
    )


def test_a_table_judged_twice_counts_once_by_its_newest_result(path, pickups):
    keep(path, "gap", [pickups(left=0.0016), pickups(left=0.0017)], table="the same readings")
    left = season(path)["gap_m/left"]
    assert [visit.value for visit in left.visits] == [0.0017]
    assert left.results == (2,)


def test_every_pickup_of_a_recording_counts_and_not_the_worst_alone(path, pickups):
    with open_store(path) as store:
        store.begin_recording("wheel", started_host_s=0.0, machine=MACHINE)
    keep(path, "gap", [pickups(left=0.0016, right=0.0021)], recording=1)
    keep(path, "gap", [pickups(right=0.0022)], recording=1)
    found = season(path)
    assert [visit.value for visit in found["gap_m/left"].visits] == [0.0016]
    assert [visit.value for visit in found["gap_m/right"].visits] == [0.0022]


def test_each_quantity_has_its_limits(path, pickups, passed, whole):
    ratios = (1.0, 1.005, 0.995, 1.0, 1.002, 0.9)
    keep(path, "pass", map(passed, ratios))
    keep(path, "gap", [pickups(left=0.0016, right=0.0016)])
    keep(path, "calibrate", [whole(CalibrateAnswer, setting_now=90.0, readout_error_limit=0.02)])
    found = season(path)
    assert list(found) == ["ratio", "setting", "gap_m/left", "gap_m/right"]
    assert season_title(found["ratio"]) == "Ratio belt ÷ ground"
    assert season_title(found["gap_m/left"]) == "Gap at left"
    ratio = found["ratio"]
    assert (ratio.allowed_low, ratio.allowed_high) == (0.95, 1.05)
    assert ratio.results == (1, 2, 3, 4, 5, 6)
    (panel,) = season_picture(ratio).panels
    assert [band.word for band in panel.bands] == ["allowed", "usual"]
    assert panel.points[0].U[0] == pytest.approx(0.01)  # k = 2
    assert panel.points[0].odd.tolist() == [False] * 5 + [True]
    (few,) = found["gap_m/left"].changes
    assert few.what == SeasonSays.FEW_VISITS
    assert dict(few.values) == {"count": 1, "more": 4}
    assert season(path, "another") == {}


def test_what_is_said_follows_the_units_and_the_clock_on_the_wall(path, pickups):
    keep(path, "gap", [pickups(left=gap_m) for gap_m in (0.0016, 0.00254)])
    stepped = season(path)["gap_m/left"].changes[0]
    assert stepped.what == SeasonSays.STEPPED
    said = Words(METRIC, zone=UTC).say(stepped)
    assert said.startswith("Between 14 Sep and 15 Sep the gap changed from 1.600 ± 0.020 mm")
    # 2.54 mm = 0.1 in (NIST SP 811, appendix B)
    assert "0.10000 ± 0.00079 in" in Words(US, zone=UTC).say(stepped)


def test_what_is_deleted_is_out_of_the_season(path, passed):
    keep(path, "pass", [passed(1.0)] * 2)
    with open_store(path) as store:
        store.hide_result(2)
    assert season(path)["ratio"].results == (1,)


def test_the_answer_is_plain_data_by_its_quantities(path, passed):
    keep(path, "pass", [passed(1.0)])
    plain = to_plain(compute(SeasonOptions(path, "Digger")))
    ratio = plain["quantities"]["ratio"]
    assert ratio["visits"] == [
        {"when_utc": DAY.isoformat(timespec="milliseconds")} | {"value": 1.0, "u": 0.005}
    ]
    assert ratio["low"] is None
