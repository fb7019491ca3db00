"""Results that an earlier version stored are reported in the person's units all the same."""

import lzma
import re
from pathlib import Path

import pytest

from workbench.base.units import METRIC, US
from workbench.jobs.keep import any_answer
from workbench.records.store import open_store
from workbench.reports.document import render_html
from workbench.reports.stored import REPORTED, document_of
from workbench.words.words import Words

FILLED = Path(__file__).parents[1] / "records" / "formats" / "filled-0002.db.xz"


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    path = tmp_path_factory.mktemp("filled") / "filled.db"
    path.write_bytes(lzma.decompress(FILLED.read_bytes()))
    with open_store(str(path)) as store:
        return store.results()


def test_every_former_result_opens_as_its_typed_answer(results):
    assert {stored.kind for stored in results} == {"speed", "gap", "calibrate", "pass"}
    for stored in results:
        assert type(any_answer(stored)).__module__.startswith("workbench.")


@pytest.mark.parametrize("units", [US, METRIC], ids=["us", "metric"])
def test_every_former_result_has_its_report(results, units):
    for stored in results:
        if stored.kind in REPORTED:
            page = render_html(document_of(stored, Words(units)))
            assert f"Result {stored.number}" in page


def test_what_a_former_calibration_found_is_said_in_the_persons_units(results):
    """Stored as a finished sentence in mph, it is said by the numbers."""
    calibrations = [any_answer(stored) for stored in results if stored.kind == "calibrate"]
    assert len(calibrations) > 5
    for answer in calibrations:
        metric, us = (Words(units).say(answer.headline) for units in (METRIC, US))
        assert re.search(r"\d km/h", metric)
        assert re.search(r"\d mph", us)
        assert "mph" not in metric
