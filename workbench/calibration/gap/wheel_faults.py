"""What is wrong with a target wheel and its pickup, from the pulses alone.

Every test's significance is a share of `ALPHA`, so that of sound wheels fewer than 1 in
200 is said to have a fault at all. A sound wheel here has tooth spacing errors up to 1 %
of a pitch (one sigma), an eccentricity up to 0.7 % of its radius, and misses or invents at
most 1 edge in 1000. Found in at least 95 % of cases, on 30 turns or more with a belt that
wanders by half a per cent (tests/workbench/gap/test_gap_wheel_faults.py):

- a missing tooth, or one not seen in a fifth of the turns;
- a tooth bent by 8 % of a pitch or more, from 8 teeth on;
- double triggering of 2 % of the teeth;
- noise that adds 2 % of false edges, or a false edge in half of the mains' cycles;
- an eccentricity of 1.5 % of the radius;
- bearing play that moves the centre by 0.4 % of the radius (one sigma) from turn to turn,
  with the belt running empty and steady (wander 0.1 %); `Play.least_rel` says what would
  have been seen on the belt at hand;
- where amplitudes are given: a tooth whose voltage is 25 % off.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.decision import Decision, Verdict
from workbench.calibration.gap.false_edges import FalseEdges, Origin, false_edges
from workbench.calibration.gap.faults import Fault, Findings, name_faults
from workbench.calibration.gap.judgement import Estimate
from workbench.calibration.gap.missed import find_missed
from workbench.calibration.gap.play import LEAST_REL, NO_PLAY, Play, find_play
from workbench.calibration.gap.seen import count_breaks, duties, log_amplitudes, see
from workbench.calibration.gap.stand_outs import Pattern, Usual, find_stand_outs
from workbench.calibration.target_wheel import tooth_signature

Floats = NDArray[np.float64]

ALPHA = 0.004
"""Chance that a sound wheel is said to have any fault."""
_TESTS = 7
_EACH = ALPHA / _TESTS
USUAL_OFFSET = Usual(spread=0.006, freedom=8, least=0.03)
"""Tooth spacing of a sound wheel, in pitches; chosen."""
USUAL_LOG_AMPLITUDE = Usual(spread=0.04, freedom=8, least=0.15)
"""Natural logarithm of a tooth's voltage on a sound wheel; chosen."""
TOO_NOISY = 0.05
"""Share of false edges above which the teeth cannot be told one by one."""
ENOUGH_TURNS = 10


@dataclass(frozen=True, slots=True, eq=False)
class WheelCheck:
    """What the pulses say of wheel and pickup; arrays (Z,) run from tooth 1 at the mark.

    `offset_rel` is each tooth's lateness in pitches; `runout` the eccentricity over the
    pitch radius, e/r, and the angle of the latest tooth of its swing. `log_amplitude` is
    the logarithm of each tooth's voltage ÷ tooth rate (V·s) and `voltage` its pattern,
    `duty` the share of a pitch the pulse lasts; None where the recording has none.
    `missed`, `extra`, `breaks` count over the whole recording.
    """

    teeth: int
    turns: float
    tooth_hz: float
    missed: int
    extra: int
    breaks: int
    offset_rel: Floats
    u_offset_rel: Floats
    missed_share: Floats
    runout: Estimate
    play: Play
    false: FalseEdges
    log_amplitude: Floats | None
    voltage: Pattern | None
    duty: Floats | None
    faults: list[Fault]
    decision: Decision
    warnings: list[str] = field(default_factory=list)


def check_wheel(
    time_s: Floats,
    teeth: int,
    *,
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
    seen = see(time_s, teeth, mark_s)
    false = false_edges(time_s, seen.edges, seen.turn_hz, _EACH, seen.pair_at_rel)
    noise = false.origin not in (Origin.NONE, Origin.TWICE)
    noisy = noise and (false.share > TOO_NOISY or false.origin is Origin.MAINS)
    signature = tooth_signature(seen.edges, teeth)
    offset_rel = seen.from_mark(signature.offset_rel)
    log_amplitude = None if amplitude_v is None else log_amplitudes(seen, amplitude_v)
    found = Findings(
        seen=seen,
        false=false,
        noisy=noisy,
        missed=find_missed(seen.edges, teeth, _EACH),
        spacing=find_stand_outs(offset_rel, USUAL_OFFSET, _EACH),
        voltage=None
        if log_amplitude is None
        else find_stand_outs(log_amplitude, USUAL_LOG_AMPLITUDE, _EACH),
        # An edge taken out in error would make one turn unlike the next.
        play=find_play(seen.edges, signature.offset_rel, _EACH)
        if false.origin is Origin.NONE
        else NO_PLAY,
        breaks=0 if holes_known or noisy else count_breaks(seen.edges),
    )
    faults = name_faults(found, _EACH)
    turns = float(found.missed.passed.sum()) / teeth
    to_radius = 2 * math.pi / teeth
    spacing = found.spacing
    return WheelCheck(
        teeth=teeth,
        turns=turns,
        tooth_hz=seen.turn_hz * teeth,
        missed=seen.edges.missed,
        extra=false.count,
        breaks=found.breaks,
        offset_rel=offset_rel,
        u_offset_rel=seen.from_mark(signature.u_offset_rel),
        missed_share=seen.from_mark(found.missed.share),
        runout=Estimate(
            spacing.amplitude * to_radius, spacing.u_swing * to_radius, spacing.highest_deg
        ),
        play=found.play,
        false=false,
        log_amplitude=log_amplitude,
        voltage=found.voltage,
        duty=None if fall_s is None else duties(seen, fall_s),
        faults=faults,
        decision=_decide(faults, turns),
        warnings=_warnings(found, turns),
    )


def _decide(faults: list[Fault], turns: float) -> Decision:
    if faults:
        kinds = dict.fromkeys(str(fault.kind) for fault in faults)
        return Decision(Verdict.FAIL, math.nan, ", ".join(kinds))
    if turns < ENOUGH_TURNS:
        reason = f"{turns:.1f} turns are too few to clear a wheel; ten are enough"
        return Decision(Verdict.CANNOT_TELL, math.nan, reason)
    return Decision(Verdict.PASS, math.nan, "every tooth is seen and none stands out")


def _warnings(found: Findings, turns: float) -> list[str]:
    play, quiet = found.play, found.false.origin is Origin.NONE
    warnings = []
    if found.noisy:
        warnings.append("There is too much noise to judge single teeth: mend the wiring first.")
    if turns < ENOUGH_TURNS:
        warnings.append(f"Only {turns:.1f} turns were recorded; ten or more tell a sound wheel.")
    elif quiet and not math.isfinite(play.shift_rel):
        warnings.append("Bearing play cannot be told from so few turns or teeth.")
    elif quiet and play.least_rel > 4 * LEAST_REL:
        warnings.append(
            f"The belt runs unsteadily: bearing play below {100 * play.least_rel:.1f} % of the "
            "wheel's radius would not show. Record with the belt running empty and steady."
        )
    if play.regular and play.p < _EACH:
        warnings.append(
            "The spacing swings with another shaft's turn; it is not counted as bearing play."
        )
    return warnings
