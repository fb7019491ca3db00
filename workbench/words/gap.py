"""A gap check in words: what one pickup's answer says, its figures, and the sheet of many."""

from __future__ import annotations

import csv
import io
import math

from workbench.base.machine import Pickup
from workbench.base.numbers import NO_VALUE
from workbench.base.statements import PlusMinus, Statement
from workbench.base.units import US, inch_fraction
from workbench.calibration.gap.answer import FeelerAnswer, PickupAnswer, WheelAnswer, parts_of
from workbench.calibration.gap.feeler import FeelerSays
from workbench.calibration.gap.judgement import GapSays
from workbench.calibration.gap.wheel_faults import WheelSays
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.gap.answer import faults_named, headline
from workbench.jobs.gap.sheet import Sheet, SheetLine
from workbench.words.language import N_, _, ngettext
from workbench.words.words import Words

Rows = list[tuple[str, str]]

AT_ANGLE = N_("{gap_m:gap} at {at_deg}")

SUMMARY_HEADER = (
    *("machine", "side", "kind", "verdict", "gap_m", "U_gap_m", "runout_m", "U_runout_m"),
    *("closest_m", "closest_angle_deg", "widest_m", "widest_angle_deg"),
    *("teeth", "missed", "extra", "faults", "advice"),
)
"""Columns of the sheet as CSV; lengths in metres, an absent value empty."""
AS_FOUND_HEADER = ("verdict_as_found", "gap_as_found_m", "runout_as_found_m", "widest_as_found_m")


def fault_names(one: PickupAnswer | SheetLine, words: Words) -> str:
    """'bent tooth 7 and run-out', '' where there is none."""
    return words.joined(words.say_all(faults_named(one.faults)))


def capital(text: str) -> str:
    """A phrase as the beginning of a sentence."""
    return text[:1].upper() + text[1:]


def headline_words(one: FeelerAnswer | WheelAnswer, words: Words) -> str:
    """What a pickup's answer comes to, in a sentence."""
    return f"{capital(words.say(headline(one))).rstrip('.')}."


URGENT = (
    *(GapSays.MAY_TOUCH, GapSays.NEARLY_TOUCHES, GapSays.FAR_TOO_WIDE),
    *(FeelerSays.NO_SWING, FeelerSays.PLACE_CLOSER, FeelerSays.PLACE_WIDER),
)
"""What a gap within its limits must not hide, the most urgent first."""


def heeded(one: PickupAnswer) -> list[Statement]:
    """What must be heeded wherever the answer is shown, unless it is its reason already."""
    found = [said for said in one.warnings if said.what in URGENT and said != one.reason]
    return sorted(found, key=lambda said: URGENT.index(said.what))


def details(one: FeelerAnswer | WheelAnswer, words: Words) -> list[str]:
    """What speaks for it, what to do and what was counted, beside the headline."""
    if isinstance(one, FeelerAnswer):
        advice = [one.advice] if one.advice is not None and one.advice != one.reason else []
        urgent = heeded(one)
        if one.verdict is Verdict.CANNOT_TELL and one.swing_m is not None:
            urgent = [one.reason, *urgent]  # else the headline says it
        # Else the first of what the readings warn of; the report has them all.
        others = [said for said in one.warnings if said not in (one.advice, one.reason)]
        return [" ".join(words.say_all([*urgent, *advice, *([] if urgent else others[:1])]))]
    lines = words.say_all(fault.sentence for fault in one.faults)
    drop = one.drop_out
    if drop is not None:
        lines += [words.say(one.advice)] if lines and one.advice is not None else []
        missing = ngettext(
            "{count} pulse of {all} missing in the run.",
            "{count} pulses of {all} missing in the run.",
            drop.missed,
        )
        lines.append(missing.format(count=drop.missed, all=drop.passages))
    elif one.teeth is not None:
        values = {name: getattr(one, name) for name in ("teeth", "turns", "missed", "extra")}
        counted = N_("{teeth} teeth over {turns:.0f} turns, {missed} missed, {extra} extra.")
        lines.append(words.fill(counted, values))
    # Who slows the belt to find where pulses drop out is not told to keep it steady.
    unasked = () if drop is None else (WheelSays.BELT_UNSTEADY,)
    return [*lines, *words.say_all(said for said in one.warnings if said.what not in unasked)]


def widest_words(one: PickupAnswer, words: Words) -> str:
    """'1.71 mm at 42°', a dash where it is not known."""
    if not math.isfinite(one.widest_m):
        return NO_VALUE
    return words.fill(AT_ANGLE, {"gap_m": one.widest_m, "at_deg": one.widest_angle_deg})


def measured_rows(one: PickupAnswer, words: Words) -> Rows:
    """The gap all the way round, as far as it is known."""
    gap, nowhere = N_("{gap_m:gap}"), math.nan
    rows = []
    for name, gap_m, U_m, at_deg in (
        (_("Mean gap"), one.gap_m, one.U_gap_m, nowhere),
        (_("Run-out (total)"), one.runout_m, one.U_runout_m, nowhere),
        (_("Closest"), one.closest_m, one.U_closest_m, one.closest_angle_deg),
        (_("Widest"), one.widest_m, one.U_widest_m, one.widest_angle_deg),
    ):
        if math.isfinite(gap_m):
            values = {"gap_m": PlusMinus(gap_m, U_m), "at_deg": at_deg}
            rows.append((name, words.fill(AT_ANGLE if math.isfinite(at_deg) else gap, values)))
    if rows:
        rows.append((_("Coverage factor k"), words.fill("{k:.2f}", {"k": one.k})))
    return rows


def found_rows(one: FeelerAnswer | WheelAnswer, words: Words) -> Rows:
    """How it was measured, and what else was found."""
    if isinstance(one, WheelAnswer):
        return _wheel_rows(one, words)
    readings = _("{readings} at {angles} angles")
    scatter = _("not repeated")
    if math.isfinite(one.repeatability_m):
        # With two digits, however small: it is only a part of a gap.
        values = {"scatter": one.repeatability_m / words.units.gap_m, "unit": words.units.gap}
        scatter = words.fill("{scatter:#.2g} {unit}", values)
    return [
        (_("Readings"), readings.format(readings=one.readings, angles=len(one.places))),
        (_("Scatter of one reading"), scatter),
    ]


def _wheel_rows(one: WheelAnswer, words: Words) -> Rows:
    """What is not known is left out."""
    law, drop = one.amplitude_law, one.drop_out
    off_rel = PlusMinus(one.eccentricity_rel, one.U_eccentricity_rel)
    least_rel = one.play_least_rel if math.isfinite(one.play_rel) else None
    turns, counts = N_("{teeth}, over {turns:.1f} turns"), N_("{missed} missed, {extra} extra")
    shown: list[tuple[str, str, dict[str, float | PlusMinus | None]]] = [
        (_("Teeth"), turns, {"teeth": one.teeth, "turns": one.turns}),
        (_("Pulses"), counts, {"missed": one.missed, "extra": one.extra}),
        (_("Out of true"), N_("{off_rel:percent} of the radius"), {"off_rel": off_rel}),
        (
            _("Play would show from"),
            N_("{from_rel:percent} of the radius"),
            {"from_rel": least_rel},
        ),
        (_("Duty cycle"), N_("{duty_rel}"), {"duty_rel": one.duty_mean}),
    ]
    if law is not None:
        decay_m = PlusMinus(law.decay_m, 2 * law.u_decay_m)
        told, values = N_("{decay_m:gap}, from {readings} readings"), {"readings": law.readings}
        shown.append((_("Voltage falls to 37 % in"), told, {"decay_m": decay_m, **values}))
    if drop is not None:
        speed_mps = PlusMinus(drop.speed_mps, drop.U_speed_mps)
        limit_m = PlusMinus(drop.gap_at_limit_m, drop.U_gap_at_limit_m)
        shown.append((_("Drop-out speed"), N_("{speed_mps}"), {"speed_mps": speed_mps}))
        shown.append((_("Gap that just does"), N_("{limit_m:gap}"), {"limit_m": limit_m}))
    return [
        (name, words.fill(template, values))
        for name, template, values in shown
        if all(map(_is_known, values.values()))
    ]


def _is_known(value: float | PlusMinus | None) -> bool:
    number = value.value if isinstance(value, PlusMinus) else value
    return number is not None and math.isfinite(number)


def limit_rows(limits_of: str | None, limits: Pickup, words: Words) -> Rows:
    """Whose limits held, and which."""
    return [
        (_("Limits of"), limits_of or _("common practice")),
        (_("Best gap"), _with_fraction(limits.gap_best_m, words)),
        (_("Most allowed"), _with_fraction(limits.gap_max_m, words)),
    ]


def _with_fraction(gap_m: float, words: Words) -> str:
    """In inches with the fraction, as feeler blades and drills are marked."""
    gap = words.number("gap", gap_m)
    if words.units is not US:
        return gap
    return _("{gap} (about {fraction} in)").format(gap=gap, fraction=inch_fraction(gap_m))


def counts_words(sheet: Sheet, words: Words) -> str:
    """'2 pass, 1 fail'."""
    return ", ".join(f"{count} {words.say(state)}" for state, count in sheet.counts.items())


def sheet_words(sheet: Sheet, words: Words) -> str:
    """'3 pickups: 2 pass, 1 fail.', where any was adjusted 'As left, 3 pickups: …'."""
    count = len(sheet.lines)
    told = ngettext("{count} pickup: {counts}.", "{count} pickups: {counts}.", count)
    said = told.format(count=count, counts=counts_words(sheet, words))
    return _("As left, {said}").format(said=said) if sheet.adjusted else said


def what_to_do(line: SheetLine, words: Words) -> str:
    """What is to be done at a pickup of the sheet; '' where nothing is."""
    said = [fault.sentence for fault in line.faults] or line.advice
    return " ".join(words.say_all(said))


def states_words(line: SheetLine, sheet: Sheet, words: Words) -> tuple[str, ...]:
    """A pickup's verdict; in a sheet with adjusted ones as found and as left."""
    state, before = words.say(line.state), line.as_found
    if not sheet.adjusted:
        return (state,)
    if before is None:
        return state, _("not adjusted")
    widest = widest_words(before, words)
    return _("{verdict}, {widest}").format(verdict=words.say(before.verdict), widest=widest), state


def summary_table(sheet: Sheet, words: Words) -> str:
    """The sheet as CSV, a row a pickup in its own order; where any was adjusted, with what was
    found before."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow((*SUMMARY_HEADER, *(AS_FOUND_HEADER if sheet.adjusted else ())))
    for line in sheet.lines:
        before = _before(line.as_found, words) if sheet.adjusted else []
        writer.writerow([*_summary_row(line, words), *before])
    return text.getvalue()


def _before(one: PickupAnswer | None, words: Words) -> list[str]:
    if one is None:
        return [""] * len(AS_FOUND_HEADER)
    return [words.say(one.verdict), *map(_metres, (one.gap_m, one.runout_m, one.widest_m))]


def _metres(value_m: float) -> str:
    return f"{value_m:.6g}" if math.isfinite(value_m) else ""


def _summary_row(line: SheetLine, words: Words) -> list[str]:
    gap, wheel = line.gap, line.wheel
    names = SUMMARY_HEADER[4:12]
    numbers = [_metres(math.nan if gap is None else getattr(gap, name)) for name in names]
    counts = ["", "", ""]
    if wheel is not None:
        counts = [str(one) for one in (wheel.teeth, wheel.missed, wheel.extra)]
    advice = " ".join(words.say_all(line.advice))
    whose = [_harmless(part) for part in parts_of(line.pickup)]
    return [*whose, words.say(line.state), *numbers, *counts, fault_names(line, words), advice]


def _harmless(text: str) -> str:
    """Text that a spreadsheet would take for a formula gets a leading apostrophe."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t") else text
