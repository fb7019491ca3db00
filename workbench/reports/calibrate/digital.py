"""A calibration as a Digital Calibration Certificate (DCC 3.2.1), which the customer's software
reads: its quantities in the D-SI format, with the certificate as people read it attached.

The standard asks for a laboratory; a shop that keeps its own record says so in a statement,
as on paper. What nobody said stands as 'not stated'; where a word of ours has no like in the
schema ('cannot tell') it stands as text.
"""

from __future__ import annotations

import base64
import math
from collections.abc import Iterable, Sequence
from xml.etree import ElementTree as ET

from workbench.base.machine import Machine
from workbench.base.units import to_mps
from workbench.base.version import program_version
from workbench.calibration.readout.change_overs import FlipResult
from workbench.calibration.readout.runs import RunResult
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.calibrate.answer import CalibrateAnswer, CalibrateOptions
from workbench.reports.calibrate.tables import ONLY_THIS, RULE
from workbench.reports.document import SHOP_RECORD, printable_text
from workbench.reports.made import Made
from workbench.words.language import _
from workbench.words.moments import local
from workbench.words.words import Words

DCC, SI = "https://ptb.de/dcc", "https://ptb.de/si"
VERSION = "3.2.1"
NO_COUNTRY = "ZZ"
"""The schema wants a country; this code is left to its users by ISO 3166-1 (from memory)."""
RUN_K, RUN_COVERAGE = 2.0, 0.9545

CONFORMITY = {
    Verdict.PASS: "pass",
    Verdict.CONDITIONAL_PASS: "conditionalPass",
    Verdict.CONDITIONAL_FAIL: "conditionalFail",
    Verdict.FAIL: "fail",
}
"""The schema's words for the four answers of ILAC-G8; it has none for 'cannot tell'."""

SPEED, RATIO, LENGTH = r"\metre\second\tothe{-1}", r"\one", r"\metre"
"""Units of the D-SI format."""

for _prefix, _space in (("dcc", DCC), ("si", SI)):
    ET.register_namespace(_prefix, _space)


def digital_certificate(
    answer: CalibrateAnswer,
    machine: Machine | None,
    options: CalibrateOptions,
    made: Made,
    words: Words,
    pdf: bytes,
) -> bytes:
    """The certificate as XML, `pdf` within it."""
    t = _Texts(words)
    root = t.of(
        "digitalCalibrationCertificate",
        _administrative(t, answer, machine, made, words),
        t.of("measurementResults", *_results(t, answer, options, made, words)),
        t.of(
            "document",
            t.of("fileName", "certificate.pdf"),
            t.of("mimeType", "application/pdf"),
            t.of("dataBase64", base64.b64encode(pdf).decode()),
        ),
    )
    root.set("schemaVersion", VERSION)
    ET.indent(root)
    written: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return written


Child = ET.Element | str


class _Texts:
    """Makes elements of the two name spaces; every text is said in one language."""

    def __init__(self, words: Words) -> None:
        self.lang = words.language.code[:2]

    def of(self, name: str, *children: Child | None, space: str = DCC) -> ET.Element:
        """An element with its parts, those that are None left out; a text stands trimmed."""
        made = ET.Element(f"{{{space}}}{name}")
        for child in children:
            if isinstance(child, str):
                made.text = " ".join(printable_text(child).split()) or _("not stated")
            elif child is not None:
                made.append(child)
        return made

    def text(self, name: str, *texts: str) -> ET.Element:
        """An element whose parts are sentences."""
        contents = [self.of("content", text) for text in texts or ("",)]
        for one in contents:
            one.set("lang", self.lang)
        return self.of(name, *contents)

    def quantity(
        self,
        name: str,
        value: float,
        unit: str,
        U: float = math.nan,
        k: float = math.nan,
        coverage: float = math.nan,
        note: ET.Element | None = None,
    ) -> ET.Element | None:
        """A value with its expanded uncertainty; None where there is no value."""
        if not math.isfinite(value):
            return None
        unsure = None
        if math.isfinite(U) and U >= 0 and 1 <= k < 1e6:
            unsure = self.si(
                "expandedUnc",
                self.si("uncertainty", f"{U:.6g}"),
                self.si("coverageFactor", f"{k:.6f}"),
                self.si("coverageProbability", f"{coverage:.6f}"),
            )
        real = self.si("real", self.si("value", f"{value:.9g}"), self.si("unit", unit), unsure)
        return self.of("quantity", self.text("name", name), real, note)

    def si(self, name: str, *children: Child | None) -> ET.Element:
        return self.of(name, *children, space=SI)

    def statement(self, *parts: Child | None) -> ET.Element:
        return self.of("statement", *parts)


def _administrative(
    t: _Texts, answer: CalibrateAnswer, machine: Machine | None, made: Made, words: Words
) -> ET.Element:
    said = made.said
    software = t.of("software", t.text("name", "evenpace"), t.of("release", program_version()))
    return t.of(
        "administrativeData",
        t.of("dccSoftware", software),
        _core(t, answer, made),
        t.of("items", _item(t, answer, machine)),
        t.of(
            "calibrationLaboratory",
            t.of("contact", t.text("name", said.by), _location(t, "")),
        ),
        t.of(
            "respPersons",
            t.of("respPerson", t.of("person", t.text("name", said.by)), t.of("mainSigner", "true")),
        ),
        t.of("customer", t.text("name", said.customer), _location(t, said.field)),
        t.of("statements", *_statements(t, answer, words)),
    )


def _location(t: _Texts, where: str) -> ET.Element:
    return t.of("location", t.text("further", where))


def _core(t: _Texts, answer: CalibrateAnswer, made: Made) -> ET.Element:
    at = local(made.created_utc)
    day = at.date().isoformat() if at else "1970-01-01"
    number = made.numbers[0] if made.numbers else 0
    its_own = f"evenpace {made.created_utc} {number} {answer.source_sha256 or ''}"
    known = [
        ("calibrationLaboratory", made.number, _("Result")),
        ("customer", made.said.job, _("Job")),
    ]
    identified = [_identification(t, *one) for one in known if one[1]]
    return t.of(
        "coreData",
        t.of("countryCodeISO3166_1", NO_COUNTRY),
        t.of("usedLangCodeISO639_1", t.lang),
        t.of("mandatoryLangCodeISO639_1", t.lang),
        t.of("uniqueIdentifier", its_own),
        t.of("identifications", *identified) if identified else None,
        t.of("beginPerformanceDate", day),
        t.of("endPerformanceDate", day),
        t.of("performanceLocation", "other"),
    )


def _identification(t: _Texts, issuer: str, value: str, name: str) -> ET.Element:
    return t.of(
        "identification", t.of("issuer", issuer), t.of("value", value), t.text("name", name)
    )


def _item(t: _Texts, answer: CalibrateAnswer, machine: Machine | None) -> ET.Element:
    shows = _("Conveyor speed readout; shows {unit}, step {step:g}")
    known = [("owner", answer.machine, _("Machine"))]
    if machine is not None and machine.serial:
        known.insert(0, ("manufacturer", machine.serial, _("Serial number")))
    return t.of(
        "item",
        t.text("name", _("Readout of {machine}").format(machine=answer.machine)),
        t.text("description", shows.format(unit=answer.unit, step=answer.step)),
        t.of("identifications", *(_identification(t, *one) for one in known)),
    )


def _statements(t: _Texts, answer: CalibrateAnswer, words: Words) -> list[ET.Element]:
    told = [t.statement(t.text("declaration", _(SHOP_RECORD)))]
    if answer.simulated:
        simulated = _("Made from simulated data. It says nothing about any real machine.")
        told.append(t.statement(t.text("declaration", simulated)))
    told.append(t.statement(t.text("declaration", _(ONLY_THIS))))
    states = [(_("As found"), answer)]
    if answer.as_left is not None:
        states.append((_("As left"), answer.as_left))
    rule = _(RULE).format(coverage=100 * answer.coverage)
    for state, one in states:
        verdict = f"{state}: {words.say(one.verdict)}. {words.say(one.reason)}"
        word = CONFORMITY.get(one.verdict)
        limit = t.quantity(_("Allowed error, ±"), one.readout_error_limit, RATIO)
        told.append(
            t.statement(
                t.of("norm", "ILAC-G8:09/2019"),
                t.text("declaration", verdict, rule),
                None if word is None else t.of("conformity", word),
                t.of("data", limit),
            )
        )
    return told


def _results(
    t: _Texts, answer: CalibrateAnswer, options: CalibrateOptions, made: Made, words: Words
) -> Iterable[ET.Element]:
    states = [(_("As found"), "beforeAdjustment", answer)]
    if answer.as_left is not None:
        left = _("As left, with the new setting")
        states.append((left, "afterAdjustment", answer.as_left))
    remarks = list(filter(None, (options.remarks, made.said.remarks)))
    for name, status, one in states:
        method = answer.method if answer.method is not None else ""
        yield t.of(
            "measurementResult",
            t.text("name", name),
            t.text("description", words.say(one.headline), *words.say_all(one.warnings), *remarks),
            _methods(t, words.say(method)),
            _equipment(t, made.said.references),
            _conditions(t, made.said.conditions, status),
            t.of("results", *_quantities(t, one)),
        )


def _methods(t: _Texts, method: str) -> ET.Element:
    guide = t.of(
        "usedMethod",
        t.text("name", _("Uncertainty")),
        t.of("norm", "JCGM 100:2008"),
        t.of("norm", "JCGM 101:2008"),
    )
    compared = _("The readout against the belt's true speed: {method}").format(method=method)
    return t.of(
        "usedMethods",
        t.of("usedMethod", t.text("name", _("Method")), t.text("description", compared)),
        guide,
    )


def _equipment(t: _Texts, references: Sequence[str]) -> ET.Element | None:
    if not references:
        return None
    named = (t.of("measuringEquipment", t.text("name", one)) for one in references)
    return t.of("measuringEquipments", *named)


def _conditions(t: _Texts, conditions: str, status: str) -> ET.Element:
    return t.of(
        "influenceConditions",
        t.of(
            "influenceCondition",
            t.text("name", _("Conditions")),
            t.of("status", status),
            t.of("data", t.text("text", conditions)),
        ),
    )


def _quantities(t: _Texts, one: CalibrateAnswer) -> list[ET.Element]:
    """The answer, the setting, each run and the belt's travel, as far as they are known."""
    answer = [
        t.quantity(
            _("Error at the working speed, shown ÷ true − 1"),
            *(one.error_at_work, RATIO, one.U_error_at_work, one.k, one.coverage),
        ),
        t.quantity(_("Working speed"), one.speed_at_work_mps, SPEED),
    ]
    sure = (one.k, one.coverage)
    setting = [
        t.quantity(_("Setting in use"), one.setting_now, RATIO, note=_non_si(t, one)),
        t.quantity(
            _("Setting that would be right"),
            *(one.setting_exact, RATIO, one.U_setting_exact, *sure),
            note=_non_si(t, one),
        ),
        t.quantity(_("New setting"), one.setting_new, RATIO, note=_non_si(t, one)),
    ]
    travel = t.quantity(
        _("Belt travel for a pulse"), one.metres_per_pulse, LENGTH, one.U_metres_per_pulse, *sure
    )
    results = [
        (_("Error of the readout"), answer),
        (_("Setting of the readout"), setting),
        *((_("Run {run}").format(run=run.run), _run(t, run)) for run in one.runs),
        *(
            (_("Change-over {number}").format(number=number), _flip(t, flip, one))
            for number, flip in enumerate(one.flips, 1)
        ),
        (_("Belt travel"), [travel]),
    ]
    return [
        t.of("result", t.text("name", name), t.of("data", *parts))
        for name, parts in results
        if any(part is not None for part in parts)
    ]


def _run(t: _Texts, run: RunResult) -> list[ET.Element | None]:
    true_U, error_U = RUN_K * run.u_true_mps, RUN_K * run.u_error
    return [
        t.quantity(_("Shown"), run.shown_mps, SPEED),
        t.quantity(_("True"), run.true_mps, SPEED, true_U, RUN_K, RUN_COVERAGE),
        t.quantity(_("Error, shown ÷ true − 1"), run.error, RATIO, error_U, RUN_K, RUN_COVERAGE),
    ]


def _flip(t: _Texts, flip: FlipResult, one: CalibrateAnswer) -> list[ET.Element | None]:
    """A point alone has no uncertainty of its own: it is the fit's."""
    return [
        t.quantity(_("Indication"), to_mps(flip.threshold, one.unit), SPEED),
        t.quantity(_("True"), flip.true_mps, SPEED),
        t.quantity(_("Error, shown ÷ true − 1"), flip.error, RATIO),
    ]


def _non_si(t: _Texts, one: CalibrateAnswer) -> ET.Element | None:
    """The unit of a setting, which is the readout's own."""
    if not one.setting_unit:
        return None
    return t.of("measurementMetaData", t.of("metaData", t.of("nonSIUnit", one.setting_unit)))
