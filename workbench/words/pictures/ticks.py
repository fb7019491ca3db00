"""The values that stand beside a picture, in a person's units."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np

from workbench.base.numbers import plain
from workbench.base.units import UnitSystem
from workbench.words.language import _
from workbench.words.moments import day_text
from workbench.words.pictures.picture import AGO, CLOCK, DAY, Axis

MINUTE_S, HOUR_S, DAY_S = 60, 3600, 86_400
WHOLE = (1, 2, 5)
CLOCK_S = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 21600, 43200)
ANGLES_DEG = (15.0, 30.0, 45.0, 90.0, 180.0)
DAYS = (1, 2, 7, 14, 30, 61, 122, 365, 730, 1825)

Ticks = list[tuple[float, str]]
"""Places on an axis in SI, and what stands there."""


def nice_step(least: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that is no less than `least` > 0."""
    power = 10.0 ** math.floor(math.log10(least))
    return next((m * power for m in WHOLE if m * power >= least * (1 - 1e-9)), 10 * power)


def decimals_for(step: float) -> int:
    """Decimals that tell values apart which lie `step` > 0 apart."""
    return max(0, -math.floor(math.log10(step) + 1e-9))


def clock_text(seconds: float, step: float, longest_s: float) -> str:
    """A time on the axis: seconds, minutes and seconds, or hours and minutes."""
    if longest_s <= 2 * MINUTE_S:
        return plain(seconds, decimals_for(step))
    sign, whole = ("−" if round(seconds) < 0 else ""), abs(round(seconds))
    if longest_s < 2 * HOUR_S:
        return f"{sign}{whole // MINUTE_S}:{whole % MINUTE_S:02d}"
    hours = f"{sign}{whole // HOUR_S}:{whole % HOUR_S // MINUTE_S:02d}"
    return f"{hours}:{whole % MINUTE_S:02d}" if step % MINUTE_S else hours


def clock_unit(longest_s: float, step: float = MINUTE_S) -> str:
    """What `clock_text` counts in."""
    if longest_s <= 2 * MINUTE_S:
        return _("seconds")
    if longest_s < 2 * HOUR_S:
        return _("min:s")
    return _("h:min:s") if step % MINUTE_S else _("h:min")


def axis_words(axis: Axis, units: UnitSystem, low: float, high: float, step: float) -> str:
    """What stands at an axis: its words and unit, or what its times are counted in."""
    if axis.quantity == DAY:
        return ""
    if axis.quantity not in (CLOCK, AGO):
        return axis.label(units)
    words = clock_unit(max(abs(low), abs(high)), step)
    return _("{unit} ago").format(unit=words) if axis.quantity == AGO else words


def step_along(axis: Axis, units: UnitSystem, least: float) -> float:
    """The step between two values of an axis that lie no less than `least` apart, in SI."""
    if axis.quantity in (CLOCK, AGO) and least > 1:
        return next((step for step in CLOCK_S if step >= least), CLOCK_S[-1] * nice_step(least))
    if axis.numbers is not None:
        return next((n for n in (1, 2, 5, 10, 20, 50, 100) if n >= least), math.inf)
    if axis.quantity == "angle":
        return next((step for step in ANGLES_DEG if step >= least), 360.0)
    per_si = axis.shown(units).per_si
    return nice_step(least * per_si) / per_si


def ticks_along(axis: Axis, units: UnitSystem, low: float, high: float, step: float) -> Ticks:
    """The values of an axis between two places, `step` apart."""
    if axis.quantity == DAY:
        return _days(low, high, (high - low) / step)
    if axis.numbers is not None:
        return _counted(axis.numbers.tolist(), step)
    found = np.arange(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1) * step
    if axis.quantity in (CLOCK, AGO):
        sign, longest_s = (-1 if axis.quantity == AGO else 1), max(abs(low), abs(high))
        return [(at, clock_text(sign * at, step, longest_s)) for at in found.tolist()]
    per_si = axis.shown(units).per_si
    decimals = decimals_for(step * per_si)
    return [(at, plain(at * per_si, decimals)) for at in found.tolist()]


def _counted(numbers: list[int], every: float) -> Ticks:
    """The first of each turn, and every so manieth that stands clear of it."""
    wraps = any(after < before for before, after in pairwise(numbers))
    turn, room = max(numbers) if wraps else math.inf, 0.75 * every
    return [
        (float(place), str(number))
        for place, number in enumerate(numbers, 1)
        if number == 1 or (number % every == 0 and 1 + room < number < turn + 1 - room)
    ]


def _days(first_s: float, last_s: float, most: float) -> Ticks:
    """At most about `most` local midnights between two moments (s since 1970), with the day."""
    days = (last_s - first_s) / DAY_S
    step = next((one for one in DAYS if days / one <= most), DAYS[-1])
    start = datetime.fromtimestamp(first_s).astimezone()
    at = start.replace(hour=0, minute=0, second=0, microsecond=0)
    found = []
    while at.timestamp() <= last_s:
        if at.timestamp() >= first_s:
            found.append((at.timestamp(), day_text(at)))
        # By the calendar, so that a change of the clocks moves nothing.
        at = (at.replace(tzinfo=None) + timedelta(days=step)).astimezone()
    return found
