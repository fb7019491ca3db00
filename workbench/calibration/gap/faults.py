"""The faults of a wheel and its pickup, each as a sentence with what speaks for it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.gap.false_edges import FalseEdges, Origin
from workbench.calibration.gap.missed import MissedTeeth
from workbench.calibration.gap.play import LEAST_REL, Play
from workbench.calibration.gap.seen import Seen
from workbench.calibration.gap.stand_outs import Pattern

Floats = NDArray[np.float64]

RUNOUT_LIMIT_REL = 0.01
"""Eccentricity over pitch radius that is too much: 1 mm of run-out on a wheel of 50 mm, most
of the room between the best and the widest gap; chosen."""
RUNOUT_SURE = 3.3
"""Standard uncertainties beyond the limit; 1 sound wheel in 2000 at the limit itself."""

FAR_OFF = 0.08
"""Pitches from which a late tooth is bent even if its voltage is low; chosen."""


class FaultKind(StrEnum):
    """The faults that can be named."""

    MISSING = "missing tooth"
    BENT = "bent tooth"
    WORN = "chipped or worn tooth"
    TWICE = "double triggering"
    NOISE = "noise not locked to the wheel"
    PLAY = "bearing play"
    RUNOUT = "run-out"
    LOST = "lost pulses"
    BREAKS = "signal breaks off"


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault. `tooth` counts from 1 at the mark in the turning direction, 0 if none.

    `size` is in the measure the sentence names; `p` the chance of as much on a sound wheel.
    """

    kind: FaultKind
    sentence: str
    p: float
    tooth: int = 0
    angle_deg: float = math.nan
    size: float = math.nan


@dataclass(frozen=True, slots=True, eq=False)
class Findings:
    """What each test found; arrays and patterns of single teeth run from the mark."""

    seen: Seen
    missed: MissedTeeth
    spacing: Pattern
    log_amplitude: Floats | None
    voltage: Pattern | None
    play: Play
    breaks: int


def name_faults(found: Findings, alpha: float) -> list[Fault]:
    """All faults beyond the significance `alpha`; single teeth only where noise allows."""
    faults = _of_false_edges(found.seen.false)
    if not found.seen.noisy:
        faults += _of_teeth(found)
        faults += _of_lost_pulses(found, alpha)
        # Where teeth are nearly lost the threshold is reached late: no measure of run-out.
        faults += _of_runout(found) if found.missed.p >= alpha else []
        faults += _of_play(found.play, alpha)
    if found.breaks and found.missed.p >= alpha:
        # Where a whole side is not seen, its hole each turn is no broken cable.
        times = "once" if found.breaks == 1 else f"{found.breaks} times"
        text = f"The signal breaks off {times} while the wheel turns on: look at cable and plug."
        faults.append(Fault(FaultKind.BREAKS, text, 0.0, size=float(found.breaks)))
    return faults


def _of_false_edges(false: FalseEdges) -> list[Fault]:
    share = f"{false.count} false edges, {100 * false.share:.2g} % of all"
    if false.origin is Origin.NONE:
        return []
    if false.origin is Origin.TWICE:
        text = (
            f"The pickup triggers twice on some teeth: {share}, {false.at_rel:.2f} of a pitch from "
            "a tooth's own. Look at the gap (too close or too wide), the threshold and the plug."
        )
        return [Fault(FaultKind.TWICE, text, false.p, size=false.share)]
    where = {
        Origin.MAINS: f"it keeps time with {false.hz:.1f} Hz, as mains hum does",
        Origin.BURSTS: "it comes in bursts, as from ignition, a relay or a loose plug",
        Origin.SCATTERED: "it comes at any moment, as from ignition or a loose plug",
    }[false.origin]
    text = (
        f"Noise that does not turn with the wheel: {share}; {where}. Look at the cable's way, its "
        "shield and ground, and the plug."
    )
    return [Fault(FaultKind.NOISE, text, false.p, size=false.share)]


@dataclass(frozen=True, slots=True)
class _Sign:
    """One thing that speaks against a tooth (from 0 at the mark)."""

    tooth: int
    kind: FaultKind
    size: float
    p: float
    text: str


_CAUSE = {
    FaultKind.MISSING: "it is broken off or bent far away",
    FaultKind.BENT: "it is bent",
    FaultKind.WORN: "it is worn, chipped or bent away from the pickup",
}


def _of_teeth(found: Findings) -> list[Fault]:
    """A fault a tooth, with all that speaks against it; the first sign names it."""
    signs = [*_missing(found), *_voltage(found), *_displaced(found), *_weak(found)]
    faults = []
    for tooth in sorted({sign.tooth for sign in signs}):
        mine = [sign for sign in signs if sign.tooth == tooth]
        first = next((one for one in mine if one.kind is FaultKind.BENT and _far(one)), mine[0])
        number, angle_deg = tooth + 1, tooth * 360.0 / found.seen.teeth
        said = " and ".join(one.text for one in mine)
        text = f"Tooth {number} (at {angle_deg:.0f}°) {said}: {_CAUSE[first.kind]}."
        p = min(one.p for one in mine)
        faults.append(Fault(first.kind, text, p, number, angle_deg, first.size))
    return faults


def _far(sign: _Sign) -> bool:
    """A weak voltage reaches the threshold late, by a few per cent of a pitch; a bent tooth
    is farther off, or early."""
    return sign.size < 0 or sign.size >= FAR_OFF


def _missing(found: Findings) -> list[_Sign]:
    return [
        _Sign(
            found.seen.at(tooth),
            FaultKind.MISSING,
            float(found.missed.share[tooth]),
            0.0,
            "is not seen in any turn",
        )
        for tooth in found.missed.gone
    ]


def _displaced(found: Findings) -> list[_Sign]:
    signs = []
    for out in found.spacing.stand_outs:
        text = f"comes {100 * abs(out.by):.1f} % of a pitch {'late' if out.by > 0 else 'early'}"
        signs.append(_Sign(out.tooth, FaultKind.BENT, out.by, out.p, text))
    return signs


def _voltage(found: Findings) -> list[_Sign]:
    signs = []
    for out in found.voltage.stand_outs if found.voltage else []:
        share = math.expm1(out.by)
        text = f"gives {100 * abs(share):.0f} % {'less' if share < 0 else 'more'} voltage"
        kind = FaultKind.WORN if share < 0 else FaultKind.BENT
        signs.append(_Sign(out.tooth, kind, share, out.p, text))
    return signs


def _weak(found: Findings) -> list[_Sign]:
    signs = []
    for tooth in found.missed.weak:
        share = float(found.missed.share[tooth])
        text = f"is not seen in {100 * share:.0f} % of the turns"
        signs.append(_Sign(found.seen.at(tooth), FaultKind.WORN, share, 0.0, text))
    return signs


def _of_lost_pulses(found: Findings, alpha: float) -> list[Fault]:
    missed = found.missed
    if missed.p >= alpha or found.seen.false.origin is not Origin.NONE:
        return []
    angle = 2 * np.pi * (np.arange(found.seen.teeth) - found.seen.mark) / found.seen.teeth
    mean = complex(np.sum(missed.missed * np.exp(1j * angle)))
    side_deg = math.degrees(math.atan2(mean.imag, mean.real)) % 360.0
    lopsided = abs(mean) > 0.3 * missed.missed.sum()
    where = f"mostly around {side_deg:.0f}°" if lopsided else "all round the wheel"
    text = (
        f"{100 * missed.background:.2g} % of the teeth are not seen, {where}: the gap is too wide "
        "for this speed, or a plug is loose."
    )
    return [Fault(FaultKind.LOST, text, missed.p, size=missed.background)]


def _of_runout(found: Findings) -> list[Fault]:
    to_radius = 2 * math.pi / found.seen.teeth
    e_rel, u_rel = found.spacing.amplitude * to_radius, found.spacing.u_swing * to_radius
    if not e_rel - RUNOUT_SURE * u_rel > RUNOUT_LIMIT_REL:
        return []
    text = (
        f"The spacing swings once a turn as if the wheel ran {100 * e_rel:.2g} % of its radius out "
        f"of true (at most {100 * RUNOUT_LIMIT_REL:.0f} %): look at the wheel's seat and the shaft."
    )
    return [Fault(FaultKind.RUNOUT, text, 0.0, size=e_rel)]


def _of_play(play: Play, alpha: float) -> list[Fault]:
    if play.p >= alpha or not play.shift_rel > LEAST_REL or play.regular:
        return []
    text = (
        "The pattern of the teeth is not the same from turn to turn: the wheel's centre moves by "
        f"{100 * play.shift_rel:.2g} % of its radius, as with play in the bearing or a loose wheel."
    )
    return [Fault(FaultKind.PLAY, text, play.p, size=play.shift_rel)]
