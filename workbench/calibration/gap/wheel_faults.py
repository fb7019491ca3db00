"""What is wrong with a target wheel and its pickup, from the pulses alone.

Every test's significance is a share of `ALPHA`, so that of sound wheels fewer than 1 in
200 is said to have a fault at all. A sound wheel here has tooth spacing errors up to 1 %
of a pitch (one sigma), an eccentricity up to 0.7 % of its radius, and misses or invents at
most 1 edge in 1000. Found in at least 95 % of cases, on 30 turns or more with a belt that
wanders by half a per cent (tests/workbench/calibration/gap/test_wheel_faults.py):

- a missing tooth, or one not seen in a fifth of the turns;
- a tooth bent by 8 % of a pitch or more, from 8 teeth on;
- double triggering of 2 % of the teeth;
- noise that adds 2 % of false edges, or a false edge in half of the mains' cycles;
- an eccentricity of 2 % of the radius;
- bearing play that moves the centre by 0.4 % of the radius (one sigma) from turn to turn,
  with the belt running empty and steady (wander 0.1 %); `Play.least_rel` says what would
  have been seen on the belt at hand;
- where amplitudes are given: a tooth whose voltage is 25 % off.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum, auto

import numpy as np
from numpy.typing import NDArray

from workbench.base.errors import WrongInput
from workbench.base.statements import Statement, statement
from workbench.calibration.gap.answer import WheelAnswer, identity
from workbench.calibration.gap.false_edges import FalseEdges, Origin, mean_tooth_hz
from workbench.calibration.gap.faults import Findings, WheelFault, name_faults
from workbench.calibration.gap.missed import MissedTeeth, find_missed
from workbench.calibration.gap.play import LEAST_REL, NO_PLAY, Play, find_play
from workbench.calibration.gap.seen import Seen, count_breaks, duties, log_amplitudes, see
from workbench.calibration.gap.stand_outs import Pattern, Usual, find_stand_outs
from workbench.calibration.pulses.target_wheel import ToothSignature, tooth_signature
from workbench.calibration.statistics.decision import Decision, Verdict

Floats = NDArray[np.float64]

ALPHA = 0.004
"""Chance that a sound wheel is said to have any fault."""
_TESTS = 7
_EACH = ALPHA / _TESTS
USUAL_OFFSET = Usual(spread=0.006, freedom=8, least=0.03)
"""Tooth spacing of a sound wheel, in pitches; chosen."""
USUAL_LOG_AMPLITUDE = Usual(spread=0.04, freedom=8, least=0.15)
"""Natural logarithm of a tooth's voltage on a sound wheel; chosen."""
ENOUGH_TURNS = 10
FEWEST_TEETH = 3
"""Teeth below which there is no pattern to stand out of."""


class WheelSays(StrEnum):
    """Why a wheel's verdict is so, and what could not be told."""

    HAS_FAULTS = auto()
    NO_TOOTH_STANDS_OUT = auto()
    TOO_FEW_TURNS_TO_CLEAR = auto()
    ONLY_FEW_TURNS = auto()
    TOO_NOISY_FOR_TEETH = auto()
    PLAY_NOT_TOLD = auto()
    BELT_UNSTEADY = auto()
    OTHER_SHAFT_SWINGS = auto()


@dataclass(frozen=True, slots=True, eq=False)
class WheelCheck:
    """What the pulses say of wheel and pickup, and what it was found from.

    `log_amplitude` (Z,) is the logarithm of each tooth's voltage ÷ tooth rate (V·s) from tooth
    1 at the mark and `voltage` its pattern; None where the recording has none.
    """

    answer: WheelAnswer
    play: Play
    false: FalseEdges
    log_amplitude: Floats | None
    voltage: Pattern | None


def check_wheel(
    time_s: Floats,
    teeth: int,
    *,
    pickup: str = "",
    pitch_radius_m: float = math.nan,
    mark_s: Floats | None = None,
    fall_s: Floats | None = None,
    amplitude_v: Floats | None = None,
    holes_known: bool = False,
) -> WheelCheck:
    """Judge wheel and pickup from rising edges `time_s` (n,), ascending seconds.

    `fall_s` and `amplitude_v` have its length, NaN where unknown. Tooth 1 is the first at
    or after `mark_s[0]`, or the first seen. `holes_known`: the recording itself says that
    pulses were lost on the way, so a break is not the pickup's. Raises WrongInput where
    fewer than two turns are there.
    """
    seen = see(time_s, teeth, mark_s, _EACH)
    found, signature = _look(seen, amplitude_v, holes_known=holes_known)
    answer = _answer(pickup, found, signature, pitch_radius_m)
    level, duty = found.log_amplitude, None
    if level is not None:
        voltage_rel = np.exp(level - np.nanmean(level))
        answer = replace(answer, voltage_rel=tuple(voltage_rel.tolist()))
    if fall_s is not None and not seen.noisy:
        duty = duties(seen, fall_s)
    if duty is not None:
        answer = replace(answer, duty=tuple(duty.tolist()), duty_mean=float(np.nanmean(duty)))
    return WheelCheck(answer, found.play, seen.false, level, found.voltage)


def _answer(
    pickup: str, found: Findings, signature: ToothSignature, pitch_radius_m: float
) -> WheelAnswer:
    """Counts, faults, and what each tooth shows. `missed`, `extra`, `breaks` count over the
    whole recording; its longest piece without a break alone tells of turns and single teeth."""
    seen, spacing = found.seen, found.spacing
    faults = name_faults(found, _EACH)
    decision = _decide(faults, seen.turns)
    to_radius, both_m = 2 * math.pi / seen.teeth, 2 * pitch_radius_m
    off_rel, u_rel = spacing.amplitude * to_radius, spacing.u_swing * to_radius
    return WheelAnswer(
        **identity(pickup),
        verdict=decision.verdict,
        reason=decision.reason,
        conformance_probability=decision.conformance_probability,
        advice=None,
        warnings=tuple(_warnings(found)),
        runout_m=both_m * off_rel,
        u_runout_m=both_m * u_rel,
        U_runout_m=2 * both_m * u_rel,
        eccentricity_rel=off_rel,
        u_eccentricity_rel=u_rel,
        U_eccentricity_rel=2 * u_rel,
        late_angle_deg=spacing.highest_deg,
        k=2.0,
        teeth=seen.teeth,
        first_tooth_s=_first_tooth_s(seen),
        marked=seen.marked,
        turns=seen.turns,
        tooth_rate_hz=mean_tooth_hz(seen.piece),
        missed=seen.edges.missed,
        extra=seen.false.count,
        breaks=found.breaks,
        faults=tuple(faults),
        play_rel=found.play.shift_rel,
        play_least_rel=found.play.least_rel,
        spacing_rel=tuple(seen.from_mark(signature.offset_rel).tolist()),
        u_spacing_rel=tuple(seen.from_mark(signature.u_offset_rel).tolist()),
        missed_share=tuple(seen.from_mark(found.missed.share).tolist()),
    )


def _look(
    seen: Seen, amplitude_v: Floats | None, *, holes_known: bool
) -> tuple[Findings, ToothSignature]:
    """Every test's finding; of single teeth only where noise lets them be told."""
    teeth = seen.teeth
    if seen.noisy or teeth < FEWEST_TEETH:
        unknown = np.full(teeth, np.nan)
        none = np.zeros(teeth, dtype=np.int64)
        spacing = find_stand_outs(unknown, USUAL_OFFSET, _EACH)
        missed = MissedTeeth(none, none) if seen.noisy else find_missed(seen.piece, teeth, _EACH)
        found = Findings(seen, missed, spacing, None, None, NO_PLAY, 0)
        return found, ToothSignature(unknown, unknown, none, math.nan)
    try:
        signature = tooth_signature(seen.piece, teeth)
    except ValueError:
        raise WrongInput(
            "Of the wheel's {teeth} teeth too few are seen to tell anything: set the pickup "
            "closer, look at its plug, and record at full speed.",
            teeth=teeth,
        ) from None
    log_amplitude = None if amplitude_v is None else log_amplitudes(seen, amplitude_v)
    voltage = None
    if log_amplitude is not None:
        voltage = find_stand_outs(log_amplitude, USUAL_LOG_AMPLITUDE, _EACH)
    play = NO_PLAY
    if seen.false.origin is Origin.NONE:
        # Elsewhere an edge taken out in error would make one turn unlike the next.
        play = find_play(seen.piece, signature.offset_rel, _EACH)
    found = Findings(
        seen=seen,
        missed=find_missed(seen.piece, teeth, _EACH),
        spacing=find_stand_outs(seen.from_mark(signature.offset_rel), USUAL_OFFSET, _EACH),
        log_amplitude=log_amplitude,
        voltage=voltage,
        play=play,
        breaks=0 if holes_known else count_breaks(seen.edges),
    )
    return found, signature


def _first_tooth_s(seen: Seen) -> float:
    """When tooth 1 first went by, seen or not."""
    tooth, time_s = seen.piece.tooth, seen.piece.time_s
    return float(np.interp(tooth[0] + (seen.mark - tooth[0]) % seen.teeth, tooth, time_s))


def _decide(faults: list[WheelFault], turns: float) -> Decision:
    if faults:
        kinds = tuple(map(statement, dict.fromkeys(fault.kind for fault in faults)))
        return Decision(Verdict.FAIL, math.nan, statement(WheelSays.HAS_FAULTS, faults=kinds))
    if turns < ENOUGH_TURNS:
        few = statement(WheelSays.TOO_FEW_TURNS_TO_CLEAR, turns=turns)
        return Decision(Verdict.CANNOT_TELL, math.nan, few)
    return Decision(Verdict.PASS, math.nan, statement(WheelSays.NO_TOOTH_STANDS_OUT))


def _warnings(found: Findings) -> list[Statement]:
    play, turns = found.play, found.seen.turns
    quiet = found.seen.false.origin is Origin.NONE
    warnings = []
    if found.seen.noisy:
        warnings.append(statement(WheelSays.TOO_NOISY_FOR_TEETH))
    if turns < ENOUGH_TURNS:
        warnings.append(statement(WheelSays.ONLY_FEW_TURNS, turns=turns))
    elif quiet and not math.isfinite(play.shift_rel):
        warnings.append(statement(WheelSays.PLAY_NOT_TOLD))
    elif quiet and play.least_rel > 4 * LEAST_REL:
        warnings.append(statement(WheelSays.BELT_UNSTEADY, least_rel=play.least_rel))
    if play.regular and play.p < _EACH:
        warnings.append(statement(WheelSays.OTHER_SHAFT_SWINGS))
    return warnings
