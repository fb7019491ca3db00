"""The digital certificate against the open schemas: Digital Calibration Certificate 3.2.1 and
D-SI 2.1.0, both of the real data's `dcc/`; and against an example by others."""

import base64
import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from tests.workbench.invented import SHOP, SHOP_RUNS
from workbench.base.errors import WrongInput
from workbench.base.machine import parse_machine
from workbench.base.units import METRIC, US
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.calibrate.answer import CalibrateOptions
from workbench.jobs.calibrate.compute import compute
from workbench.jobs.particulars import Particulars
from workbench.reports.calibrate.certificate import certificate
from workbench.reports.document import check_report_path, render
from workbench.reports.made import Made
from workbench.words.words import Words

MACHINE = SHOP.replace("shop's own", "Digger <4> & left")
SAID = Particulars(
    customer="Miller & sons",
    field=" North  field\x07 ",
    job="Order 7",
    by="A. B.",
    conditions="dry",
    references=("Tape 3", "Watch"),
    remarks="<b>Second</b> visit",
)
NAMES = {"dcc": "https://ptb.de/dcc", "si": "https://ptb.de/si"}
EXAMPLE = "dcc_gp_temperature_typical_v12_v3.2.0_signed.xml"


def written(
    tmp_path, runs=SHOP_RUNS, as_left=SHOP_RUNS, said=SAID, units=US, text=MACHINE, **changed
):
    """A certificate as a file, and the answer it tells of."""
    options = CalibrateOptions(as_left=as_left, as_left_name="left.csv", table_name="runs.csv")
    machine = parse_machine(text)
    answer = replace(compute(runs, machine, options), **changed)
    made = Made((12,), "2030-03-04T10:11:12+00:00", "0.1", said)
    paper = certificate(answer, machine, options, made, Words(units))
    return render(paper, tmp_path / "certificate.xml"), answer


def number_in(tree, name, what="si:value", at=0):
    """What stands at the quantity of that name, the first of several."""
    found = [
        one
        for one in tree.iter(f"{{{NAMES['dcc']}}}quantity")
        if one.findtext("dcc:name/dcc:content", namespaces=NAMES).startswith(name)
    ]
    return float(found[at].find(f".//{what}", NAMES).text)


@pytest.mark.parametrize("units", [US, METRIC], ids=["us", "metric"])
def test_it_is_valid_and_says_what_the_answer_says(tmp_path, dcc_schema, units):
    path, answer = written(tmp_path, units=units)
    dcc_schema.validate(str(path))
    tree = ET.parse(path).getroot()
    assert tree.get("schemaVersion") == "3.2.1"
    for state, one in enumerate((answer, answer.as_left)):
        told = one.error_at_work, one.U_error_at_work, one.k, one.coverage
        parts = ("si:value", "si:uncertainty", "si:coverageFactor", "si:coverageProbability")
        for what, value in zip(parts, told, strict=True):
            assert number_in(tree, "Error at the", what, state) == pytest.approx(value, rel=1e-5)
        assert number_in(tree, "Setting in use", at=state) == one.setting_now
    assert number_in(tree, "Shown") == pytest.approx(2.1 * 0.44704)  # the mile: NIST SP 811
    first = answer.runs[0]
    assert number_in(tree, "True", "si:uncertainty") == pytest.approx(2 * first.u_true_mps, 1e-5)
    text = " ".join(tree.itertext())
    for word in ("Miller & sons", "North field", "Order 7", "A. B.", "SN 4711", "Tape 3", "Watch"):
        assert word in text
    assert "Shop record, not an accredited certificate." in text
    assert "pulses/100 ft" in text
    pdf = base64.b64decode(tree.findtext("dcc:document/dcc:dataBase64", namespaces=NAMES))
    assert pdf.startswith(b"%PDF")


@pytest.mark.parametrize("verdict", list(Verdict))
def test_each_verdict_stands_as_text_and_by_the_schemas_word_where_it_has_one(
    tmp_path, dcc_schema, verdict
):
    path, _answer = written(tmp_path, as_left="", verdict=verdict)
    dcc_schema.validate(str(path))
    page = path.read_text("utf-8")
    assert f"As found: {verdict}." in page
    said = re.findall(r"<dcc:conformity>(\w+)<", page)
    words = {
        Verdict.PASS: ["pass"],
        Verdict.CONDITIONAL_PASS: ["conditionalPass"],
        Verdict.CONDITIONAL_FAIL: ["conditionalFail"],
        Verdict.FAIL: ["fail"],
        Verdict.CANNOT_TELL: [],
    }
    assert said == words[verdict]


def test_what_nobody_said_and_nobody_measured_leaves_it_valid(tmp_path, dcc_schema):
    bare = MACHINE.replace("setting = 2250\n", "").replace('serial = "SN 4711"\n', "")
    bare = bare.replace('setting_unit = "pulses/100 ft"\n', "")
    runs = "run,shown,reference_mps,u_reference_mps\n1,2.5,1.1,0.005\n"
    path, _answer = written(tmp_path, runs, "", Particulars(), text=bare)
    dcc_schema.validate(str(path))
    assert "not stated" in path.read_text("utf-8")


def test_a_simulated_one_says_so(tmp_path, dcc_schema):
    path, _answer = written(tmp_path, simulated=True)
    dcc_schema.validate(str(path))
    assert "Made from simulated data" in path.read_text("utf-8")


def test_an_example_by_others_is_valid_and_a_broken_one_is_not(tmp_path, data_dir, dcc_schema):
    """The example is of version 3.2.0: valid but for its schemaVersion, as its README says."""
    example = (data_dir / "dcc" / EXAMPLE).read_text("utf-8")
    ours = example.replace('schemaVersion="3.2.0"', 'schemaVersion="3.2.1"')
    assert not list(dcc_schema.iter_errors(ours))
    path, _answer = written(tmp_path, verdict=Verdict.PASS)
    mine = path.read_text("utf-8")
    breaks = (
        (example, ""),
        (mine, "<si:unit>[^<]*</si:unit>"),
        (mine, "(?<=<dcc:conformity>)"),
        (mine, "(?<=<si:coverageFactor>)"),
        (mine, "<dcc:customer>.*</dcc:customer>"),
    )
    for whole, part in breaks:
        with_a_fault = re.sub(
            part, "x " if part.startswith("(?") else "", whole, count=1, flags=re.DOTALL
        )
        assert list(dcc_schema.iter_errors(with_a_fault)), part


def test_only_a_calibration_is_written_so(tmp_path):
    with pytest.raises(WrongInput, match=r"ends in \.pdf, \.html, \.json\.$"):
        check_report_path(tmp_path / "a.xml")
    assert check_report_path(tmp_path / "a.xml", digital=True)
