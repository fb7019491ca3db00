"""Documents: hostile text, watermark, the three forms, the certificate's content.

What a certificate holds follows ISO/IEC 17025:2017, 7.8 (from memory); the machine and
all its data are invented.
"""

import hashlib
import json
import re
from dataclasses import replace
from datetime import timedelta, timezone
from html.parser import HTMLParser

import pytest

from tests.workbench.invented import SHOP, SHOP_RUNS
from workbench.base.errors import WrongInput
from workbench.base.machine import parse_machine
from workbench.base.units import METRIC, US
from workbench.jobs.calibrate.answer import CalibrateAnswer, CalibrateOptions
from workbench.jobs.calibrate.compute import compute
from workbench.jobs.codec import from_plain, to_plain
from workbench.jobs.particulars import Particulars
from workbench.reports.calibrate.certificate import certificate
from workbench.reports.document import (
    PILLS,
    SHOP_RECORD,
    Answer,
    CautionBlock,
    Document,
    Facts,
    Figure,
    Footnote,
    Heading,
    Paragraph,
    Signature,
    Table,
    check_report_path,
    render,
    render_html,
    render_json,
    render_pdf,
)
from workbench.reports.drawing import new_figure, to_svg
from workbench.reports.made import Made
from workbench.words.words import Words

HOSTILE = [
    '<script>alert(1)</script><img src=x onerror="alert(2)">',
    '#panic("out") #read("/etc/passwd") *bold* $x^2$ @ref <label> \\ ` ```',
    "{{ 7*7 }} {% raw %} {# note #} ${7*7}",
    "\"; '); --> ]]> </style></title></svg>",
    "\x00\x07\x1b[31m\u202eright to left\u2066 \ud800",
    "x" * 600,
    "多言語 ελληνικά русский עברית 👍 ½ ÷ ±",
    "$\\frac{1}{2}$ 5 $ and 6 $",
    "",
]


class Seen(HTMLParser):
    """The tags, attributes and text of a page."""

    def __init__(self, page):
        super().__init__()
        self.tags, self.attributes, self.text = [], [], []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data):
        self.text.append(data)


def document(text, simulated=False):
    figure, axes = new_figure()
    axes.set_title(
        text[:60]
        .encode("ascii", "ignore")
        .decode()
        .replace("\x00", "")
        .replace("\x1b", "")
        .replace("\x07", "")
    )
    return Document(
        f"Title {text}",
        text,
        text[:80],
        [
            Answer(text, "conditional fail"),
            Heading(text),
            Paragraph(text),
            CautionBlock(text, text),
            Facts([(text, text), ("b", text), ("c", "d")], columns=2),
            Table(["a", text, "c"], [[text, "1", "2"], ["b", text, text]], text, text),
            Figure(to_svg(figure), text, text),
            Signature([("Done by", text)]),
            Footnote(text),
        ],
        simulated=simulated,
        footer=text,
        data={"typed": text},
    )


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_no_typed_text_becomes_markup(text):
    made = document(text)
    plain = Seen(render_html(document("plain")))
    seen = Seen(render_html(made))
    if text:  # an empty caption or verdict leaves its tag out
        assert sorted(seen.tags) == sorted(plain.tags)
    assert "script" not in seen.tags
    assert not [name for name, _ in seen.attributes if name.startswith("on")]
    assert {value for name, value in seen.attributes if name == "src"} <= {
        value for name, value in seen.attributes if (value or "").startswith("data:image/svg")
    }
    shown = "".join(seen.text)
    assert "\x00" not in shown
    assert "\u202e" not in shown
    if text and text.isprintable():
        assert shown.count(text) >= 10
    assert render_pdf(made).startswith(b"%PDF")
    json.loads(render_json(made))


def test_a_page_asks_for_nothing_from_elsewhere():
    page = render_html(document("plain"))
    for word in ("http://", "https://", "<script", "@import", "url("):
        assert word not in page.replace("http://www.w3.org", "")
    assert "default-src 'none'" in page


def test_simulated_data_is_marked_in_every_form():
    marked, plain = document("plain", simulated=True), document("plain")
    assert "SIMULATED DATA" in render_html(marked)
    assert "SIMULATED DATA" not in render_html(plain)
    assert json.loads(render_json(marked))["simulated"] is True
    assert len(render_pdf(marked)) > len(render_pdf(plain))


def test_the_same_document_gives_the_same_page():
    assert render_html(document("plain")) == render_html(document("plain"))


def test_pills_can_be_read():
    """Contrast at least 4.5:1 (WCAG 2.1, 1.4.3, from memory)."""

    def luminance(colour):
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        parts = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]

    for fill, ink in PILLS.values():
        low, high = sorted((luminance(fill), luminance(ink)))
        assert (high + 0.05) / (low + 0.05) >= 4.5


def test_a_report_goes_where_it_can(tmp_path):
    for ending in (".pdf", ".html", ".json", ".PDF"):
        path = render(document("plain"), tmp_path / f"out{ending}")
        assert path.stat().st_size > 1000
    with pytest.raises(WrongInput, match=r"ends in \.pdf, \.html, \.json"):
        check_report_path(tmp_path / "out.docx")
    with pytest.raises(WrongInput, match="no folder"):
        check_report_path(tmp_path / "nowhere" / "out.pdf")


CENTRAL = timezone(timedelta(hours=-6), "CST")
TYPED = CalibrateOptions(table_name="runs.csv")
SAID = Particulars(
    customer="Miller & sons",
    field="North field",
    job="Order 7",
    by="A <b>Technician</b>",
    remarks="#panic() remark",
    conditions="shop, 21 °C",
    references=("tape no. 3, checked in spring",),
)


def answered(as_left=SHOP_RUNS):
    options = replace(TYPED, as_left=as_left, as_left_name="left.csv")
    return compute(SHOP_RUNS, parse_machine(SHOP), options)


def paper(answer, machine=None, number=12, units=US):
    numbers = () if number is None else (number,)
    made = Made(numbers, "2030-03-04T10:11:12+00:00", "0.1", SAID)
    return certificate(answer, machine, TYPED, made, Words(units, zone=CENTRAL))


def text_of(made):
    return " ".join(Seen(render_html(made)).text)


def test_a_certificate_holds_what_a_shop_can_state():
    text = text_of(paper(answered(), parse_machine(SHOP)))
    for word in (
        "Calibration of a conveyor speed readout",
        "Result 12",
        "shop's own",
        "shows mph, step 0.1",
        "2250 pulses/100 ft",
        "A <b>Technician</b>",
        "#panic() remark",
        "shop, 21 °C",
        "tape no. 3, checked in spring",
        "4 Mar 2030, 04:11 CST (UTC−06:00)",
        "SN 4711",
        "Miller & sons",
        "North field",
        "Order 7",
        "As found",
        "As left",
        "Budget of the error",
        "Decision rule",
        "ILAC-G8",
        "Calibrated by",
        hashlib.sha256(SHOP_RUNS.encode()).hexdigest(),
        "evenpace 0.1",
        SHOP_RECORD,
        "Am. J. Phys.",
    ):
        assert word in text, word


def test_a_step_to_the_moving_belt_carries_its_caution():
    before = text_of(paper(answered(""), parse_machine(SHOP), number=None))
    assert "everyone clear" in before
    assert "The machine's manual, local codes and qualified persons have the last word" in before
    assert "not stored" in before


def test_units_as_the_user_chose():
    machine = parse_machine(SHOP)
    us, metric = paper(answered(), machine), paper(answered(), machine, units=METRIC)
    assert (us.paper, metric.paper) == ("us-letter", "a4")
    # What the display shows is in its own unit, and so is its setting.
    displays = (
        "Shown, mph",
        "shows mph",
        "step of 0.1 mph",
        "0.0289 mph",
        "2.1 … 2.9 mph",
        "/100 ft",
    )
    for own, foreign, made in (
        (("True, mph", "ft ", "in "), r"km/h|\d m\b|\d mm\b", us),
        (("True, km/h", "m ", "mm "), r"mph|\d ft\b|\d in\b", metric),
    ):
        text = text_of(made)
        for shown in displays:
            text = text.replace(shown, "")
        assert all(word in text for word in own)
        assert re.findall(foreign, text) == []


def test_an_answer_without_numbers_still_makes_a_certificate():
    """No setting, no laps, no metres a pulse: null in the store, a dash or nothing on paper."""
    bare = parse_machine(SHOP.replace("setting = 2250\n", ""))
    table = "run,shown,reference_mps,u_reference_mps\n1,2.5,1.1,0.005\n"
    answer = compute(table, bare, CalibrateOptions(table_name="r.csv"))
    document = paper(from_plain(to_plain(answer), CalibrateAnswer), bare)
    assert "nan" not in text_of(document).lower().replace("pinnan", "")
    assert render_pdf(document).startswith(b"%PDF")


FAST = """run,shown,laps,laps_time_s,pulses,pulses_time_s
1,4.1,10,51.6,,
2,4.5,10,46.4,,
"""


def test_that_no_run_was_at_the_working_speed_stands_on_page_one_above_the_signature():
    answer = compute(FAST, parse_machine(SHOP), TYPED)
    blocks = paper(answer, parse_machine(SHOP)).blocks
    says = "No run was near the middle of the working speeds"
    places = [
        at for at, one in enumerate(blocks) if isinstance(one, Paragraph) and says in one.text
    ]
    signed = next(at for at, one in enumerate(blocks) if isinstance(one, Signature))
    assert len(places) == 1
    assert places[0] < signed < 10
