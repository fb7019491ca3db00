"""What speaks for a cause, with the numbers it was judged by."""

from __future__ import annotations

import math
from collections.abc import Callable
from enum import StrEnum, auto

from workbench.base.statements import PlusMinus, Statement, statement
from workbench.match.causes import Weighed
from workbench.match.evidence import NOISE, TOOTH, Evidence
from workbench.match.hypotheses import Cause
from workbench.match.ratio import Pace

Statements = list[Statement]


class EvidenceSays(StrEnum):
    """What was seen of belt, ground, engine, oil and pulses."""

    BELT_FAST_OVER_ALL = auto()
    BELT_SLOW_OVER_ALL = auto()
    SECOND_HALF_AGAINST_FIRST = auto()
    OIL_WARMED = auto()
    OIL_NOT_RECORDED = auto()
    BELT_CHANGED_WITH_OIL = auto()
    ENGINE_SPEED_FELL = auto()
    BELT_FOLLOWED_ENGINE = auto()
    LAPS_AGAINST_PULSES = auto()
    BELT_CHANGED_AT_ONCE = auto()
    GROUND_VARIED_ALONE = auto()
    WHEEL_AGAINST_GROUND = auto()
    SETTING_SHOWS = auto()
    READOUT_SHOWED = auto()
    PATTERN_OF_TEETH = auto()
    PULSES_NOT_SEEN = auto()
    MISSED_AT_SPEED = auto()
    OTHER_PICKUP_COUNTED = auto()
    MESSAGES_WITHOUT_FIX = auto()
    SATELLITE_SPEED_NOISY = auto()


OF_THE_RATIO = (EvidenceSays.BELT_FAST_OVER_ALL, EvidenceSays.BELT_SLOW_OVER_ALL)
"""What stands first in the evidence of every cause; a page that shows the ratio leaves it out."""


def evidence_for(cause: Weighed, evidence: Evidence, found: Pace) -> Statements:
    """What speaks for one cause; the ratio first where there is one."""
    return [*_ratio(found), *_SAYS.get(cause.cause, _nothing)(cause, evidence)]


def share(log: float) -> float:
    """0.034 for a logarithm of 0.0334."""
    return math.expm1(log)


def _ratio(found: Pace) -> Statements:
    if not math.isfinite(found.ratio):
        return []
    away = found.ratio - 1
    return [
        statement(
            EvidenceSays.BELT_FAST_OVER_ALL if away > 0 else EvidenceSays.BELT_SLOW_OVER_ALL,
            ratio=PlusMinus(found.ratio, found.U_ratio),
            away_rel=abs(away),
        )
    ]


def difference(evidence: Evidence, name: str) -> PlusMinus | None:
    """A measure as a share with its expanded uncertainty, None where it was not to be had."""
    measure = evidence.measures.get(name)
    return PlusMinus(share(measure.value), 2 * measure.u) if measure is not None else None


def _measured(evidence: Evidence, name: str, says: EvidenceSays) -> Statements:
    found = difference(evidence, name)
    return [statement(says, difference_rel=found)] if found is not None else []


def _nothing(cause: Weighed, evidence: Evidence) -> Statements:
    return []


def _constant(cause: Weighed, evidence: Evidence) -> Statements:
    bins = evidence.bins
    if bins is None:
        return []
    half = bins.time_s.size // 2
    change_rel = share(float(bins.belt_log[half:].mean() - bins.belt_log[:half].mean()))
    return [
        statement(EvidenceSays.SECOND_HALF_AGAINST_FIRST, change_rel=change_rel),
        *_setting(cause, evidence),
    ]


def _oil(cause: Weighed, evidence: Evidence) -> Statements:
    said = []
    bins = evidence.bins
    if bins is not None and bins.oil_c is not None:
        from_c, to_c = float(bins.oil_c[0]), float(bins.oil_c[-1])
        said.append(statement(EvidenceSays.OIL_WARMED, from_c=from_c, to_c=to_c))
    else:
        said.append(statement(EvidenceSays.OIL_NOT_RECORDED))
    if "oil" in cause.sizes:
        change_rel = share(cause.sizes["oil"])
        said.append(statement(EvidenceSays.BELT_CHANGED_WITH_OIL, change_rel=change_rel))
    return said


def _engine(cause: Weighed, evidence: Evidence) -> Statements:
    bins, said = evidence.bins, []
    if bins is not None and bins.engine_log is not None:
        fall_rel = -share(float(bins.engine_log.min()))
        said.append(statement(EvidenceSays.ENGINE_SPEED_FELL, fall_rel=fall_rel))
    if "engine" in cause.sizes:
        each = cause.sizes["engine"]
        said.append(statement(EvidenceSays.BELT_FOLLOWED_ENGINE, each_percent=each))
    return said


def _laps(cause: Weighed, evidence: Evidence) -> Statements:
    return _measured(evidence, "lap", EvidenceSays.LAPS_AGAINST_PULSES)


def _step(cause: Weighed, evidence: Evidence) -> Statements:
    if "step" not in cause.sizes:
        return []
    at_s, change_rel = cause.sizes["step_at_s"], share(cause.sizes["step"])
    return [statement(EvidenceSays.BELT_CHANGED_AT_ONCE, at_s=at_s, change_rel=change_rel)]


def _unfollowed(cause: Weighed, evidence: Evidence) -> Statements:
    scatter = evidence.measures.get("unfollowed")
    if scatter is None:
        return []
    return [statement(EvidenceSays.GROUND_VARIED_ALONE, scatter_rel=math.exp(scatter.value))]


def _wheel(cause: Weighed, evidence: Evidence) -> Statements:
    found = difference(evidence, "wheel")
    if found is None:
        return []
    says, source = EvidenceSays.WHEEL_AGAINST_GROUND, evidence.wheel_against
    return [statement(says, difference_rel=found, source=source)]


def _setting(cause: Weighed, evidence: Evidence) -> Statements:
    return [
        *_measured(evidence, "setting", EvidenceSays.SETTING_SHOWS),
        *_measured(evidence, "shown", EvidenceSays.READOUT_SHOWED),
    ]


def _wrong_setting(cause: Weighed, evidence: Evidence) -> Statements:
    seen = evidence.teeth
    said = _setting(cause, evidence)
    if evidence.flags.get("teeth") and seen is not None:
        pattern = statement(
            EvidenceSays.PATTERN_OF_TEETH,
            seen=seen.teeth or 0,
            confidence=seen.confidence,
            typed=evidence.typed_teeth,
        )
        said.insert(0, pattern)
    return said


def _lost(cause: Weighed, evidence: Evidence) -> Statements:
    total, said = evidence.edges + evidence.missed, []
    if total:
        said.append(statement(EvidenceSays.PULSES_NOT_SEEN, count=evidence.missed, total=total))
    if math.isfinite(evidence.missed_at_mps):
        said.append(
            statement(
                EvidenceSays.MISSED_AT_SPEED,
                missed_mps=evidence.missed_at_mps,
                usual_mps=evidence.usual_mps,
            )
        )
    return said + _other_pickup(evidence)


def _other_pickup(evidence: Evidence) -> Statements:
    measure = evidence.measures.get("other_pickup")
    if measure is None:
        return []
    difference_rel = share(measure.value)
    return [statement(EvidenceSays.OTHER_PICKUP_COUNTED, difference_rel=difference_rel)]


def _extra(cause: Weighed, evidence: Evidence) -> Statements:
    named = [fault.sentence for fault in evidence.faults if fault.kind in NOISE]
    return named + _other_pickup(evidence)


def _tooth(cause: Weighed, evidence: Evidence) -> Statements:
    return [fault.sentence for fault in evidence.faults if fault.kind in TOOTH]


def _gnss(cause: Weighed, evidence: Evidence) -> Statements:
    gnss = evidence.gnss
    if gnss is None:
        return []
    without = statement(
        EvidenceSays.MESSAGES_WITHOUT_FIX, share_rel=1 - gnss.share, source=gnss.source
    )
    if not math.isfinite(gnss.noise_rel):
        return [without]
    return [without, statement(EvidenceSays.SATELLITE_SPEED_NOISY, noise_rel=gnss.noise_rel)]


_SAYS: dict[Cause, Callable[[Weighed, Evidence], Statements]] = {
    Cause.VALVE_OFF: _constant,
    Cause.OIL_WARMING: _oil,
    Cause.ENGINE_DROOP: _engine,
    Cause.BELT_SLIP: _laps,
    Cause.ROLL_BUILD_UP: _laps,
    Cause.VALVE_MOVED: _step,
    Cause.BELT_NOT_FOLLOWING: _unfollowed,
    Cause.WHEEL_SLIP: _wheel,
    Cause.WRONG_SETTING: _wrong_setting,
    Cause.LOSING_PULSES: _lost,
    Cause.EXTRA_PULSES: _extra,
    Cause.DAMAGED_WHEEL: _tooth,
    Cause.GNSS_UNUSABLE: _gnss,
}
