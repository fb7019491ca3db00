"""One document model for every report, and its way to HTML, PDF and JSON.

A report is a `Document`: a title and a list of blocks. Text in a block is plain text,
whatever a user typed: the renderers never read it as markup. Builders (`certificate.py`
and its like) make documents from stored answers; they decide what is said, this page
decides how it looks.
"""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from workbench.base.errors import Message, WrongInput
from workbench.base.files import write_file
from workbench.base.steps import tell
from workbench.base.units import US, UnitSystem
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.paper import own_key
from workbench.jobs.xml_signature import DIGITAL, XmlSigner
from workbench.records.jsonable import plain
from workbench.words.language import N_, _

SHOP_RECORD = N_("Shop record, not an accredited certificate.")
"""Stands on every report: nobody may take one for an accredited laboratory's."""

INK = "#1F2328"
BELT, GROUND, IN_BAND, ATTENTION, NO_DATA = "#0072B2", "#D55E00", "#009E73", "#E69F00", "#8A8F94"
"""Colours with a meaning (Okabe and Ito's colour-blind-safe set)."""

PILLS: dict[str, tuple[str, str]] = {
    Verdict.PASS: ("#00735A", "#FFFFFF"),
    Verdict.CONDITIONAL_PASS: ("#CDEBDF", "#00442F"),
    Verdict.CONDITIONAL_FAIL: ("#F9DFA6", "#4F3700"),
    Verdict.FAIL: ("#A93F00", "#FFFFFF"),
    Verdict.CANNOT_TELL: ("#5C6268", "#FFFFFF"),
}
"""Verdict -> fill and ink of its pill; each pair has at least 4.5:1."""

SHORT_CELL = 8
"""A table whose first column holds no longer text has columns of one width."""


@dataclass(frozen=True, slots=True)
class Heading:
    text: str


@dataclass(frozen=True, slots=True)
class Paragraph:
    text: str


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer as a sentence, with its verdict as a pill ('' for none)."""

    sentence: str
    verdict: str = ""


@dataclass(frozen=True, slots=True)
class CautionBlock:
    """Shown full width, before the step it belongs to."""

    text: str
    title: str = "Caution"


@dataclass(frozen=True, slots=True)
class Facts:
    """Key-value rows, in one or two columns side by side."""

    rows: Sequence[tuple[str, str]]
    columns: int = 1


@dataclass(frozen=True, slots=True)
class Table:
    """`align` has a letter a column, 'l', 'c' or 'r'; '' aligns the first left, the rest right."""

    header: Sequence[str]
    rows: Sequence[Sequence[str]]
    caption: str = ""
    note: str = ""
    align: str = ""


@dataclass(frozen=True, slots=True)
class Figure:
    """A picture as SVG text (`figures.to_svg`); `alt` says in words what it shows."""

    svg: str
    caption: str
    alt: str


@dataclass(frozen=True, slots=True)
class Signature:
    """Lines to sign on; a name may stand typed under each ('' leaves it open)."""

    roles: Sequence[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class Footnote:
    text: str


Block = Heading | Paragraph | Answer | CautionBlock | Facts | Table | Figure | Signature | Footnote


def under(heading: str, texts: Sequence[str]) -> list[Block]:
    """Paragraphs with their heading; nothing where none of them says anything."""
    return [Heading(heading), *map(Paragraph, texts)] if any(texts) else []


def paper_for(units: UnitSystem) -> str:
    """The size of paper that goes with a person's units."""
    return "us-letter" if units is US else "a4"


@dataclass(frozen=True, slots=True)
class Document:
    """A report. `simulated` prints a bold watermark over every page.

    `data` is the answer the document was made from; only the JSON carries it.
    `digital` makes a certificate for software of it, from its PDF; None where there is no such.
    `paper` is 'a4' or 'us-letter'. `footer` stands at the foot of every page. `ledger` is what
    the document testifies to of its store (`jobs.paper`), '' where it is of none.
    """

    title: str
    subtitle: str
    number: str
    blocks: Sequence[Block]
    simulated: bool = False
    footer: str = SHOP_RECORD
    paper: str = "a4"
    data: Mapping[str, Any] = field(default_factory=dict)
    ledger: str = ""
    digital: Callable[[bytes], bytes] | None = None

    @property
    def testimony(self) -> str:
        """The sentence on the ledger that stands last."""
        if not self.ledger:
            return ""
        return _(
            "Ledger of the store when this was made: {ledger} (evenpace verify --head tells "
            "whether the store still matches)."
        ).format(ledger=self.ledger)


ENDINGS = (".pdf", ".html", ".json")


def check_report_path(path: Path | str, *, digital: bool = False) -> Path:
    """The path, if a report can be written there, and signed where it is to be; `digital`: as a
    digital certificate too.

    Raises WrongInput: before the work, not after.
    """
    path, endings = Path(path), (*ENDINGS, *([DIGITAL] if digital else []))
    if path.suffix.lower() not in endings:
        raise WrongInput(
            "{path}: a report ends in {endings}.", path=path, endings=", ".join(endings)
        )
    if not path.parent.is_dir():
        raise WrongInput("{path}: there is no folder {folder}.", path=path, folder=path.parent)
    own_key()
    return path


def render(document: Document, path: Path | str, signer: XmlSigner | None = None) -> Path:
    """Write the document as the name's ending says: .pdf, .html or .json, and .xml where it has
    a digital certificate, signed where there is a `signer`.

    Raises WrongInput for another ending or a place that cannot be written.
    """
    path = check_report_path(path, digital=document.digital is not None)
    ending = path.suffix.lower()
    if document.digital is not None and ending == DIGITAL:
        content = document.digital(render_pdf(document))
        content = content if signer is None else signer.sign(content)
    elif ending == ".pdf":
        content = render_pdf(document)
    else:
        text = render_html(document) if ending == ".html" else render_json(document)
        content = text.encode()
    return write_file(path, content, WrongInput)


def render_json(document: Document) -> str:
    """The document and the answer it was made from, as one JSON object."""
    return json.dumps(
        _as_data(document) | {"data": plain(document.data)}, ensure_ascii=False, indent=1
    )


def render_html(document: Document) -> str:
    """One self-contained page: no script, no font, no picture from elsewhere."""
    import jinja2

    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined)
    environment.filters["svg_uri"] = _svg_uri
    return environment.from_string(_template("page.html.j2")).render(_as_data(document))


def render_pdf(document: Document) -> bytes:
    """PDF by typst. The text goes in as data, so nothing a user typed is read as markup."""
    made: bytes = _typeset(document)
    return made


def render_pages(document: Document, ppi: float) -> list[bytes]:
    """The pages of the PDF as pictures (PNG) with `ppi` pixels an inch."""
    made = _typeset(document, format="png", ppi=ppi)
    return [made] if isinstance(made, bytes) else list(made)


def _typeset(document: Document, **how: Any) -> Any:
    import typst

    tell(words=Message("Setting the pages …"))
    data = _map_text(_as_data(document), _breakable)
    # typst's own type stub leaves a type variable open; its calls are taken as untyped.
    compile_page: Callable[..., Any] = typst.compile
    return compile_page(
        _template("page.typ").encode(),
        font_paths=[_matplotlib_fonts()],
        sys_inputs={"data": json.dumps(data)},
        **how,
    )


def _kind(block: Block) -> str:
    return type(block).__name__.lower().removesuffix("block")


def _as_data(document: Document) -> dict[str, Any]:
    """The document as plain values; each block carries its class's name as `kind`."""
    blocks = [
        {"kind": type(block).__name__.lower().removesuffix("block")} | asdict(block)
        for block in document.blocks
    ]
    for block in blocks:
        if block["kind"] == "table" and not block["align"]:
            block["align"] = "l" + "r" * (len(block["header"]) - 1)
        if block["kind"] == "table":
            first = [str(row[0]) for row in block["rows"] if row]
            block["even"] = max(map(len, first), default=0) <= SHORT_CELL
        if block["kind"] == "answer":
            fill, ink = PILLS.get(block["verdict"], ("#FFFFFF", INK))
            block |= {"fill": fill, "ink": ink}
    data: dict[str, Any] = _map_text(
        {
            "title": document.title,
            "subtitle": document.subtitle,
            "number": document.number,
            "simulated": document.simulated,
            "footer": _(document.footer),
            "paper": document.paper,
            "ledger": document.ledger,
            "testimony": document.testimony,
            "blocks": blocks,
        },
        printable_text,
    )
    return data


def _map_text(value: Any, change: Callable[[str], str]) -> Any:
    if isinstance(value, str):
        return change(value)
    if isinstance(value, Mapping):
        return {
            key: item if key == "svg" else _map_text(item, change) for key, item in value.items()
        }
    if isinstance(value, (list, tuple)):
        return [_map_text(item, change) for item in value]
    return value


# Control characters, lone surrogates, and the marks that turn the direction of writing:
# typed into a remark they could hide or reverse what stands after them.
_UNPRINTABLE = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")


def printable_text(text: str) -> str:
    return _UNPRINTABLE.sub("\N{REPLACEMENT CHARACTER}", text.replace("\r\n", "\n"))


def _breakable(text: str) -> str:
    """Zero-width spaces in words no line of the page can hold; a number keeps its per cent."""
    text = text.replace(" %", "\u00a0%")
    return re.sub(r"\S{28}(?=\S{8})", lambda found: found.group() + "\u200b", text)


def _svg_uri(svg: str) -> str:
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()


@cache
def _template(name: str) -> str:
    return (resources.files("workbench.reports") / "templates" / name).read_text("utf-8")


@cache
def _matplotlib_fonts() -> str:
    """DejaVu Sans, which matplotlib ships and draws the figures with."""
    import matplotlib

    return str(Path(matplotlib.get_data_path()) / "fonts" / "ttf")
