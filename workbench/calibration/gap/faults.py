"""The faults of a wheel and its pickup, each with what speaks for it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum, auto

import numpy as np
from numpy.typing import NDArray

from workbench.base.statements import Statement, statement
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


class FaultSays(StrEnum):
    """What speaks for a fault, and for a tooth's what it has come to."""

    TRIGGERS_TWICE = auto()
    NOISE_APART = auto()
    BREAKS_OFF = auto()
    TOOTH_IS_OFF = auto()
    NEVER_SEEN = auto()
    SELDOM_SEEN = auto()
    COMES_LATE = auto()
    COMES_EARLY = auto()
    LESS_VOLTAGE = auto()
    MORE_VOLTAGE = auto()
    TOOTH_BROKEN_OFF = auto()
    TOOTH_BENT = auto()
    TOOTH_WORN = auto()
    LOST_ON_ONE_SIDE = auto()
    LOST_ALL_ROUND = auto()
    OUT_OF_TRUE = auto()
    CENTRE_MOVES = auto()


@dataclass(frozen=True, slots=True)
class WheelFault:
    """One fault. `tooth` counts from 1 at the mark in the turning direction, None if none.

    `size` is in the measure the sentence names; `p` the chance of as much on a sound wheel.
    """

    kind: FaultKind
    sentence: Statement
    p: float
    tooth: int | None
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


def name_faults(found: Findings, alpha: float) -> list[WheelFault]:
    """All faults beyond the significance `alpha`; single teeth only where noise allows."""
    faults = of_false_edges(found.seen.false)
    if not found.seen.noisy:
        faults += _of_teeth(found)
        faults += _of_lost_pulses(found, alpha)
        # Where teeth are nearly lost the threshold is reached late: no measure of run-out.
        faults += _of_runout(found) if found.missed.p >= alpha else []
        faults += _of_play(found.play, alpha)
    if found.breaks and found.missed.p >= alpha:
        # Where a whole side is not seen, its hole each turn is no broken cable.
        said = statement(FaultSays.BREAKS_OFF, count=found.breaks)
        faults.append(WheelFault(FaultKind.BREAKS, said, 0.0, None, size=float(found.breaks)))
    return faults


def of_false_edges(false: FalseEdges) -> list[WheelFault]:
    """What false edges are said to be, and what to mend."""
    share = {"count": false.count, "share_rel": false.share}
    if false.origin is Origin.NONE:
        return []
    if false.origin is Origin.TWICE:
        twice = statement(FaultSays.TRIGGERS_TWICE, **share, at_pitch=false.at_rel)
        return [WheelFault(FaultKind.TWICE, twice, false.p, None, size=false.share)]
    mains = {"mains_hz": false.hz} if false.origin is Origin.MAINS else {}
    noise = statement(FaultSays.NOISE_APART, **share, origin=statement(false.origin, **mains))
    return [WheelFault(FaultKind.NOISE, noise, false.p, None, size=false.share)]


@dataclass(frozen=True, slots=True)
class _Sign:
    """One thing that speaks against a tooth (from 0 at the mark)."""

    tooth: int
    kind: FaultKind
    size: float
    p: float
    said: Statement


_CAUSE = {
    FaultKind.MISSING: FaultSays.TOOTH_BROKEN_OFF,
    FaultKind.BENT: FaultSays.TOOTH_BENT,
    FaultKind.WORN: FaultSays.TOOTH_WORN,
}


def _of_teeth(found: Findings) -> list[WheelFault]:
    """A fault a tooth, with all that speaks against it; the first sign names it."""
    signs = [*_missing(found), *_voltage(found), *_displaced(found), *_weak(found)]
    faults = []
    for tooth in sorted({sign.tooth for sign in signs}):
        mine = [sign for sign in signs if sign.tooth == tooth]
        first = next((one for one in mine if one.kind is FaultKind.BENT and _far(one)), mine[0])
        number, angle_deg = tooth + 1, tooth * 360.0 / found.seen.teeth
        said = statement(
            FaultSays.TOOTH_IS_OFF,
            tooth=number,
            at_deg=angle_deg,
            signs=tuple(one.said for one in mine),
            cause=statement(_CAUSE[first.kind]),
        )
        p = min(one.p for one in mine)
        faults.append(WheelFault(first.kind, said, p, number, angle_deg, first.size))
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
            statement(FaultSays.NEVER_SEEN),
        )
        for tooth in found.missed.gone
    ]


def _displaced(found: Findings) -> list[_Sign]:
    signs = []
    for out in found.spacing.stand_outs:
        says = FaultSays.COMES_LATE if out.by > 0 else FaultSays.COMES_EARLY
        said = statement(says, pitch_rel=abs(out.by))
        signs.append(_Sign(out.tooth, FaultKind.BENT, out.by, out.p, said))
    return signs


def _voltage(found: Findings) -> list[_Sign]:
    signs = []
    for out in found.voltage.stand_outs if found.voltage else []:
        share = math.expm1(out.by)
        says = FaultSays.LESS_VOLTAGE if share < 0 else FaultSays.MORE_VOLTAGE
        kind = FaultKind.WORN if share < 0 else FaultKind.BENT
        said = statement(says, by_rel=abs(share))
        signs.append(_Sign(out.tooth, kind, share, out.p, said))
    return signs


def _weak(found: Findings) -> list[_Sign]:
    signs = []
    for tooth in found.missed.weak:
        share = float(found.missed.share[tooth])
        said = statement(FaultSays.SELDOM_SEEN, share_rel=share)
        signs.append(_Sign(found.seen.at(tooth), FaultKind.WORN, share, 0.0, said))
    return signs


def _of_lost_pulses(found: Findings, alpha: float) -> list[WheelFault]:
    missed = found.missed
    if missed.p >= alpha or found.seen.false.origin is not Origin.NONE:
        return []
    angle = 2 * np.pi * (np.arange(found.seen.teeth) - found.seen.mark) / found.seen.teeth
    mean = complex(np.sum(missed.missed * np.exp(1j * angle)))
    side_deg = math.degrees(math.atan2(mean.imag, mean.real)) % 360.0
    lopsided = abs(mean) > 0.3 * missed.missed.sum()
    share_rel = missed.background
    said = statement(FaultSays.LOST_ALL_ROUND, share_rel=share_rel)
    if lopsided:
        said = statement(FaultSays.LOST_ON_ONE_SIDE, share_rel=share_rel, side_deg=side_deg)
    return [WheelFault(FaultKind.LOST, said, missed.p, None, size=share_rel)]


def _of_runout(found: Findings) -> list[WheelFault]:
    to_radius = 2 * math.pi / found.seen.teeth
    e_rel, u_rel = found.spacing.amplitude * to_radius, found.spacing.u_swing * to_radius
    if not e_rel - RUNOUT_SURE * u_rel > RUNOUT_LIMIT_REL:
        return []
    said = statement(FaultSays.OUT_OF_TRUE, runout_rel=e_rel, most_rel=RUNOUT_LIMIT_REL)
    return [WheelFault(FaultKind.RUNOUT, said, 0.0, None, size=e_rel)]


def _of_play(play: Play, alpha: float) -> list[WheelFault]:
    if play.p >= alpha or not play.shift_rel > LEAST_REL or play.regular:
        return []
    said = statement(FaultSays.CENTRE_MOVES, shift_rel=play.shift_rel)
    return [WheelFault(FaultKind.PLAY, said, play.p, None, size=play.shift_rel)]
