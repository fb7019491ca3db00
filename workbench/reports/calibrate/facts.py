"""What was found, as label and text: for the certificate and for the terminal."""

from __future__ import annotations

import math

from workbench.base.numbers import with_uncertainty
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.calibrate.answer import CalibrateAnswer
from workbench.words.language import _
from workbench.words.words import Words

Rows = list[tuple[str, str]]


def error_rows(answer: CalibrateAnswer, words: Words, label: str) -> Rows:
    """The error at the working speed; `label` takes that `speed`."""
    at = words.number("speed", answer.speed_at_work_mps)
    error = words.number("percent", answer.error_at_work, answer.U_error_at_work, signed=True)
    return [
        (label.format(speed=at), f"{error} (k = {answer.k:.3g})"),
        (
            _("Probability that it conforms"),
            words.number("percent1", answer.conformance_probability),
        ),
    ]


def setting_text(setting: float, answer: CalibrateAnswer) -> str:
    """A number for the readout with its unit."""
    if not math.isfinite(setting):
        return _("not stated")
    return f"{setting:.6g} {answer.setting_unit}".strip()


def setting_rows(answer: CalibrateAnswer, words: Words) -> Rows:
    """The setting found, the one that would be right, the new one; none where none is known."""
    if not math.isfinite(answer.setting_now):
        return []
    right = with_uncertainty(answer.setting_exact, answer.U_setting_exact)
    right = f"{right} {answer.setting_unit}".strip()
    new = _("none proposed: see the notes")
    if answer.has_new_setting:
        new = _("{setting} (leaves {error}; then {verdict})").format(
            setting=setting_text(answer.setting_new, answer),
            error=words.number("percent", answer.residual_error, signed=True),
            verdict=words.say(answer.verdict_expected),
        )
    rows = [(_("Setting now"), setting_text(answer.setting_now, answer))]
    if answer.verdict is not Verdict.CANNOT_TELL:
        rows.append((_("would be right"), f"{right} (k = {answer.k:.3g})"))
    rows.append((_("New setting"), new))
    if answer.as_left is not None:
        left = answer.as_left
        error = words.number("percent", left.error_at_work, left.U_error_at_work, signed=True)
        rows.append((_("Error found afterwards"), error))
    return rows


def travel_rows(answer: CalibrateAnswer, words: Words) -> Rows:
    """Belt travel a pulse: what was used, and what laps and geometry say of it."""
    used = words.number("gap", answer.metres_per_pulse, answer.U_metres_per_pulse)
    geometry_m, u_m = answer.metres_per_pulse_geometry, answer.u_metres_per_pulse_geometry
    rows = [
        (_("Belt travel a pulse"), f"{used} (k = {answer.k:.3g})"),
        (_("by the drive line"), words.number("gap", geometry_m, 2 * u_m)),
    ]
    if math.isfinite(answer.metres_per_pulse_runs):
        runs_m, u_m = answer.metres_per_pulse_runs, answer.u_metres_per_pulse_runs
        apart, u_apart = answer.drive_line_difference, answer.u_drive_line_difference
        difference = words.number("percent", apart, 2 * u_apart, signed=True)
        rows.append((_("by the laps"), words.number("gap", runs_m, 2 * u_m)))
        rows.append((_("laps against drive line"), difference))
    return rows if math.isfinite(answer.metres_per_pulse) else []
