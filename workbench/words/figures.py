"""The main figures of an answer with their uncertainty: what is listed of it and compared."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import singledispatch

from workbench.calibration.gap.answer import PickupAnswer, WheelAnswer
from workbench.calibration.prepare.measures import CHECKS, FIGURES, CheckKind
from workbench.jobs.calibrate.answer import CalibrateAnswer
from workbench.jobs.gap.answer import GapAnswer
from workbench.jobs.passes.answer import PassAnswer
from workbench.jobs.prepare.answer import PrepareAnswer
from workbench.jobs.speed.answer import SpeedAnswer
from workbench.words.language import _
from workbench.words.prepare import what_words
from workbench.words.words import Words


@dataclass(frozen=True, slots=True)
class MainFigure:
    """One figure of an answer; `value` and `U` (expanded, NaN where not known) in SI.

    `kind` is that of `Words.quantity`.
    """

    name: str
    value: float
    kind: str
    U: float = math.nan

    def text(self, words: Words) -> str:
        """'1.012 ± 0.060', '2.41 ± 0.02 mph'."""
        return words.number(self.kind, self.value, self.U)


def figures(answer: object) -> list[MainFigure]:
    """The figures an answer holds; what it does not know is left out."""
    return [one for one in _figures(answer) if math.isfinite(one.value)]


@singledispatch
def _figures(answer: object) -> list[MainFigure]:
    raise TypeError(f"{type(answer).__name__} has no figures")


@_figures.register
def _of_pass(answer: PassAnswer) -> list[MainFigure]:
    return [
        MainFigure(_("Ratio belt ÷ ground"), answer.ratio, "ratio", answer.U_ratio),
        MainFigure(_("Belt speed"), answer.belt_speed_mps, "speed"),
        MainFigure(_("Ground speed"), answer.ground_speed_mps, "speed"),
        MainFigure(_("Time in band"), answer.in_band_fraction, "percent0"),
        MainFigure(
            _("Belt ahead of ground at the end"),
            answer.separation_m,
            "length",
            2 * answer.u_separation_m,
        ),
        MainFigure(_("Steady time"), answer.duration_s, "seconds"),
    ]


@_figures.register
def _of_readout(answer: CalibrateAnswer) -> list[MainFigure]:
    error, travel_m = answer.error_at_work, answer.metres_per_pulse
    return [
        MainFigure(_("Readout error at work"), error, "percent", answer.U_error_at_work),
        MainFigure(_("Setting as found"), answer.setting_now, "number"),
        MainFigure(_("New setting"), answer.setting_new, "number"),
        MainFigure(_("Error left once it is set"), answer.residual_error, "percent"),
        MainFigure(_("Belt travel a pulse"), travel_m, "gap", answer.U_metres_per_pulse),
    ]


@_figures.register
def _of_gap(answer: GapAnswer) -> list[MainFigure]:
    """Of the first pickup, the worst."""
    return _of_pickup(answer.pickups[0])


@_figures.register
def _of_pickup(answer: PickupAnswer) -> list[MainFigure]:
    found = [
        MainFigure(_("Mean gap"), answer.gap_m, "gap", answer.U_gap_m),
        MainFigure(_("Run-out"), answer.runout_m, "gap", answer.U_runout_m),
        MainFigure(_("Widest gap"), answer.widest_m, "gap", answer.U_widest_m),
        MainFigure(_("Teeth"), _count(answer.teeth), "number"),
    ]
    if isinstance(answer, WheelAnswer):
        found.append(MainFigure(_("Turns of the wheel"), answer.turns, "whole"))
    return [*found, *_lost(answer.missed, answer.extra)]


@_figures.register
def _of_preparation(answer: PrepareAnswer) -> list[MainFigure]:
    lines = [
        (what_words(one, Words()), one.value, CHECKS[one.check].quantity, one.U_value)
        for one in answer.checks
        if one.check is not CheckKind.WEAR
    ]
    lines += [
        (what_words(one, Words()), one.value, FIGURES[one.figure].quantity, one.U_value)
        for one in answer.figures
    ]
    return [MainFigure(*line) for line in lines]


@_figures.register
def _of_speed(answer: SpeedAnswer) -> list[MainFigure]:
    return [
        MainFigure(_("Belt speed"), answer.belt_speed_mps, "speed", answer.U_belt_speed_mps),
        MainFigure(_("Duration"), answer.duration_s, "seconds"),
        MainFigure(_("Teeth seen"), _count(answer.target_teeth_seen), "number"),
        MainFigure(_("Turns of the wheel"), answer.turns, "whole"),
        MainFigure(_("Pulses a second"), answer.pulse_rate_hz, "rate"),
        MainFigure(_("Pulses"), _count(answer.edges), "number"),
        *_lost(answer.missed, answer.extra),
    ]


def _lost(missed: int | None, extra: int | None) -> list[MainFigure]:
    return [
        MainFigure(_("Missed pulses"), _count(missed), "number"),
        MainFigure(_("Extra pulses"), _count(extra), "number"),
    ]


def _count(value: int | None) -> float:
    return math.nan if value is None else float(value)
