"""The gap report and its pictures."""

import csv
import io
import json
import re
from xml.etree import ElementTree

import numpy as np
import pytest

from drivers.contract import EdgeTrack
from workbench.base.machine import Pickup, parse_machine
from workbench.base.units import METRIC, US
from workbench.calibration.gap.feeler import feeler_gap
from workbench.calibration.gap.table import GapReadings
from workbench.jobs.codec import from_plain, to_plain
from workbench.jobs.gap.answer import GapAnswer, GapOptions
from workbench.jobs.gap.pickup import pulse_answer
from workbench.jobs.gap.sheet import sheet_of
from workbench.jobs.gap.together import together
from workbench.reports.document import (
    CautionBlock,
    Figure,
    Table,
    render_html,
    render_json,
    render_pdf,
)
from workbench.reports.gap.report import gap_document
from workbench.reports.made import Made
from workbench.words.gap import summary_table
from workbench.words.words import Words


def feeler(name: str, mean_mm: float):
    angle = np.arange(0, 360, 45.0)
    gap_m = (mean_mm + 0.1 * np.cos(np.radians(angle - 40))) / 1000
    line = np.zeros(8, dtype=np.int64)
    return feeler_gap(GapReadings(name, angle, gap_m, line), Pickup())


def answer_of(*pickups) -> GapAnswer:
    return together(
        pickups,
        warnings=[],
        source="shop.csv",
        kind="gap table",
        simulated=False,
        machine=None,
        blade_step_m=5e-5,
    )


def document_of(answer: GapAnswer, units=METRIC, results=()):
    return gap_document(answer, None, Words(units), Made(results))


def figures(document):
    return [block for block in document.blocks if isinstance(block, Figure)]


def test_one_pickup_has_its_answer_its_wheel_and_its_readings() -> None:
    document = document_of(answer_of(feeler("left", 1.6)), results=(7,))
    assert document.number == "Result 7"
    assert document.blocks[0].verdict == "pass"
    assert "The gap is 1.600 ± 0.0" in document.blocks[0].sentence
    line, wheel = figures(document)
    assert wheel.alt.startswith("Gap round the wheel")
    for figure in (line, wheel):
        assert ElementTree.fromstring(figure.svg).tag.endswith("svg")
    (table,) = (block for block in document.blocks if isinstance(block, Table))
    assert len(table.rows) == 8
    # Nothing is to be done, so no caution stands in the way.
    assert not any(isinstance(block, CautionBlock) for block in document.blocks)
    assert render_pdf(document).startswith(b"%PDF")


def test_where_something_is_to_be_done_the_caution_stands_before_it() -> None:
    blocks = document_of(answer_of(feeler("left", 2.8))).blocks
    at = next(i for i, block in enumerate(blocks) if isinstance(block, CautionBlock))
    assert "release the hydraulic pressure" in blocks[at].text
    assert blocks[at].text.endswith("qualified persons have the last word.")
    assert "1.20 mm closer" in blocks[at + 1].text


def test_many_pickups_have_a_row_each_and_hostile_names_stay_text() -> None:
    names = ["Digger 4 / left", '<script>alert("x")</script>', "=1+1 / left", "$x$ #let"]
    answer = answer_of(*(feeler(name, 1.6 + 0.5 * i) for i, name in enumerate(names)))
    document = document_of(answer)
    assert len(figures(document)) == 1
    page = render_html(document)
    assert "<script>" not in page
    assert "&lt;script&gt;" in page
    assert render_pdf(document).startswith(b"%PDF")
    assert json.loads(render_json(document))["data"]["pickups"][3]["pickup"] == "$x$ #let"


def test_a_seasons_worth_has_a_table_and_no_crowded_picture() -> None:
    document = document_of(answer_of(*(feeler(f"Digger {i} / left", 1.6) for i in range(120))))
    assert figures(document) == []
    assert render_pdf(document).startswith(b"%PDF")


def test_a_stored_answer_makes_the_same_report() -> None:
    for answer in (answer_of(feeler("left", 1.6)), answer_of(feeler("l", 1.6), feeler("r", 2.8))):
        again = from_plain(to_plain(answer), GapAnswer)
        assert render_html(document_of(again)) == render_html(document_of(answer))
        assert "pickups" in to_plain(answer) or to_plain(answer)["places"]


@pytest.mark.parametrize(("units", "foreign"), [(METRIC, r"\d in\b"), (US, r"\d mm\b")])
def test_a_report_speaks_in_the_units_of_its_reader(units, foreign) -> None:
    for answer in (answer_of(feeler("left", 2.8)), answer_of(feeler("l", 1.6), feeler("r", 2.8))):
        page = re.sub(r"<[^>]*>", "", render_html(document_of(answer, units)))
        assert f" {units.gap}" in page
        assert not re.search(foreign, page)


def test_an_answer_at_one_place_has_a_picture_too() -> None:
    readings = GapReadings("left", np.zeros(2), np.full(2, 0.0016), np.zeros(2, dtype=np.int64))
    document = document_of(answer_of(feeler_gap(readings, Pickup())))
    assert len(figures(document)) == 2  # the verdict on its line, and the wheel
    assert document.blocks[0].verdict == "cannot tell"
    assert "turn the wheel" in document.blocks[0].sentence


def test_the_summary_has_a_row_a_pickup_in_metres() -> None:
    answer = answer_of(feeler("Digger 4 / left / hall", 1.6), feeler("=2+2", 4.0))
    first, second = csv.DictReader(io.StringIO(summary_table(sheet_of(answer), Words())))
    assert (first["machine"], first["side"], first["kind"]) == ("Digger 4", "left", "hall")
    assert first["verdict"] == "pass"
    assert float(first["gap_m"]) == pytest.approx(0.0016)
    assert float(first["runout_m"]) == pytest.approx(0.0002)
    assert first["teeth"] == ""
    assert second["machine"] == "'=2+2"  # no spreadsheet takes it for a formula
    assert second["verdict"] == "fail"


def of_pulses(time_s, **more):
    machine = parse_machine(
        'name = "x"\n[drive]\ntarget_teeth = 24\nkind = "sprocket"\nsprocket_teeth = 8\n'
        "rod_pitch_m = 0.05\n"
    )
    track = EdgeTrack("left", time_s, **more)
    return answer_of(pulse_answer(track, None, machine, GapOptions(), holes_known=False))


def test_teeth_have_their_wheel_with_and_without_voltages(wheel) -> None:
    rng = np.random.default_rng(1)
    time_s = wheel(bent={5: 0.1}, missing=(9,))(rng)
    volts = np.full(time_s.size, 2.0)
    for answer in (of_pulses(time_s), of_pulses(time_s, amplitude_v=volts)):
        document = document_of(answer)
        assert document.blocks[0].sentence == (
            "left: Bent tooth 6 and missing tooth 10, counted from the first tooth seen in the "
            "direction of rotation."
        )
        (figure,) = figures(document)
        assert "24 teeth; bent tooth 6 and missing tooth 10" in figure.alt
        ElementTree.fromstring(figure.svg)
        assert any(isinstance(block, CautionBlock) for block in document.blocks)


def test_noise_has_a_page_without_a_wheel_it_cannot_know(wheel) -> None:
    answer = of_pulses(wheel(hum_hz=50.0)(np.random.default_rng(1)))
    assert answer.teeth == 24
    document = document_of(answer)
    assert figures(document) == []
    assert "50.0 Hz, as mains hum" in document.blocks[2].text
    assert render_pdf(document).startswith(b"%PDF")
