"""Results that an earlier version stored are reported in the person's units all the same."""

import lzma
import re
from pathlib import Path

import pytest

from workbench.base.steps import telling
from workbench.base.units import METRIC, US
from workbench.jobs.keep import any_answer
from workbench.records.store import open_store
from workbench.reports.document import Figure, render, render_html
from workbench.reports.drawing import new_figure, to_svg
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


def test_a_report_tells_its_steps_and_can_be_ended_at_each(results, tmp_path):
    stored = next(one for one in reversed(results) if one.kind == "pass")
    path, steps = tmp_path / "pass.pdf", []

    class Enough(Exception):
        """The person wants no more."""

    def enough(_share, words):
        steps.append(str(words))
        raise Enough

    made = document_of(stored, Words(METRIC))
    with telling(enough):
        with pytest.raises(Enough):
            to_svg(new_figure()[0])
        with pytest.raises(Enough):
            render(made, path)
    assert steps == ["Drawing the pictures …", "Setting the pages …"]
    assert list(tmp_path.iterdir()) == []


def test_pdf_and_html_share_pictures_that_are_drawn_once(results):
    stored = next(one for one in reversed(results) if one.kind == "pass")
    first = _figures(document_of(stored, Words(US)))
    steps = []
    with telling(lambda _share, words: steps.append(str(words))):
        again = _figures(document_of(stored, Words(US)))
    assert again == first
    assert steps == []


def _figures(document):
    return [block.svg for block in document.blocks if isinstance(block, Figure)]
