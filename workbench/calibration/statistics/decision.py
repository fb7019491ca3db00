"""From a value and its uncertainty to one of the verdicts a person can act on.

ILAC-G8:09/2019 four answers with a guard band w = U (k = 2), second hand; probability
of conformance after JCGM 106:2012, 7.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum


class Verdict(StrEnum):
    PASS = "pass"
    CONDITIONAL_PASS = "conditional pass"
    CONDITIONAL_FAIL = "conditional fail"
    FAIL = "fail"
    CANNOT_TELL = "cannot tell"

    @property
    def is_fail(self) -> bool:
        return self in (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)


@dataclass(frozen=True, slots=True)
class Decision:
    """A verdict with the probability that the true value lies within the limits."""

    verdict: Verdict
    conformance_probability: float
    reason: str


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
        return Decision(Verdict.CANNOT_TELL, math.nan, "there is no value to judge")
    w = 2 * u if U is None else U
    p = conformance_probability(value, u, low, high)
    inside = min(value - low, high - value)
    if inside <= -w and inside < 0:
        return Decision(Verdict.FAIL, p, "outside the limits by more than its uncertainty")
    if 2 * w > high - low:
        return Decision(Verdict.CANNOT_TELL, p, "the uncertainty is wider than the limits")
    if inside >= w:
        return Decision(Verdict.PASS, p, "inside the limits by more than its uncertainty")
    if inside >= 0:
        return Decision(Verdict.CONDITIONAL_PASS, p, "inside the limits, by less than U")
    return Decision(Verdict.CONDITIONAL_FAIL, p, "outside the limits, by less than U")


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
