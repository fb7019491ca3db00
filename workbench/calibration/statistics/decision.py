"""From a value and its uncertainty to one of the verdicts a person can act on.

ILAC-G8:09/2019 four answers with a guard band w = U (k = 2), second hand; probability
of conformance after JCGM 106:2012, 7.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum, auto

from workbench.base.statements import Statement, statement


class Verdict(StrEnum):
    PASS = "pass"
    CONDITIONAL_PASS = "conditional pass"
    CONDITIONAL_FAIL = "conditional fail"
    FAIL = "fail"
    CANNOT_TELL = "cannot tell"

    @property
    def is_fail(self) -> bool:
        return self in (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)


class DecisionSays(StrEnum):
    """Why a verdict is what it is, and what a value has to do with its limits."""

    NO_VALUE = auto()
    WELL_OUTSIDE = auto()
    TOO_UNSURE = auto()
    WELL_INSIDE = auto()
    JUST_INSIDE = auto()
    JUST_OUTSIDE = auto()


@dataclass(frozen=True, slots=True)
class Decision:
    """A verdict, the probability that the true value lies within the limits, and why."""

    verdict: Verdict
    conformance_probability: float
    reason: Statement


_FROM_BEST = (
    Verdict.PASS,
    Verdict.CONDITIONAL_PASS,
    Verdict.CANNOT_TELL,
    Verdict.CONDITIONAL_FAIL,
    Verdict.FAIL,
)


def badness(verdict: Verdict) -> int:
    """Sorts verdicts from the best to the worst; 'cannot tell' is worse than any pass."""
    return _FROM_BEST.index(verdict)


def conformance_probability(value: float, u: float, low: float, high: float) -> float:
    """Probability that a normal N(value, u²) lies in [low, high] (JCGM 106, 7.2-7.4).

    `low` may be −inf and `high` inf. With u = 0 it is 0 or 1.
    """
    if u <= 0:
        return 1.0 if low <= value <= high else 0.0
    return _normal_cdf((high - value) / u) - _normal_cdf((low - value) / u)


def decide(value: float, u: float, low: float, high: float, *, U: float | None = None) -> Decision:
    """The four answers with guard band w = U (default 2 u), or 'cannot tell'.

    'cannot tell' where value or u is not a number, or where U is wider than the room
    between the limits, so that no value at all could pass. Raises ValueError if
    low >= high.
    """
    if not low < high:
        raise ValueError(f"lower limit {low:g} must be below upper limit {high:g}")
    if not (math.isfinite(value) and math.isfinite(u)):
        return Decision(Verdict.CANNOT_TELL, math.nan, statement(DecisionSays.NO_VALUE))
    w = 2 * u if U is None else U
    p = conformance_probability(value, u, low, high)
    inside = min(value - low, high - value)
    if inside <= -w and inside < 0:
        return Decision(Verdict.FAIL, p, statement(DecisionSays.WELL_OUTSIDE))
    if 2 * w > high - low:
        return Decision(Verdict.CANNOT_TELL, p, statement(DecisionSays.TOO_UNSURE))
    if inside >= w:
        return Decision(Verdict.PASS, p, statement(DecisionSays.WELL_INSIDE))
    if inside >= 0:
        return Decision(Verdict.CONDITIONAL_PASS, p, statement(DecisionSays.JUST_INSIDE))
    return Decision(Verdict.CONDITIONAL_FAIL, p, statement(DecisionSays.JUST_OUTSIDE))


def uncertainty_to_settle(decision: Decision, value: float, low: float, high: float) -> float:
    """The expanded uncertainty that would bring a better answer than `decision`.

    The distance to the nearer limit brings a plain pass or fail. For 'cannot tell' near a
    limit it is half the room between the limits, at which there is a verdict at all.
    """
    nearest, half = min(abs(value - low), abs(high - value)), (high - low) / 2
    if decision.verdict is Verdict.CANNOT_TELL and nearest < 0.3 * half < math.inf:
        return half
    return nearest


def times_as_many(u_wanted: float, u_fixed: float, u_random: float, power: float = 0.5) -> float:
    """How many times as much data makes √(u_fixed² + u_random²) come down to `u_wanted`.

    `u_random` falls with the amount to the `power`: 0.5 for readings averaged, 1 for a
    longer interval between one start and one stop. inf where more data cannot do it.
    """
    room = u_wanted**2 - u_fixed**2
    if room <= 0:
        return math.inf
    return max(1.0, float((u_random**2 / room) ** (0.5 / power)))


def _normal_cdf(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2))
