"""Scales and ticks of a chart."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

from workbench.gui.plot.axes import nice_step
from workbench.words.moments import day_text

_DAYS = (1, 2, 7, 14, 30, 61, 122, 365, 730, 1825)


@dataclass(frozen=True, slots=True)
class Scale:
    """Values `low` to `high` drawn from pixel `start` to pixel `end`."""

    low: float
    high: float
    start: float
    end: float

    def to_px(self, value: float) -> float:
        """The pixel of a value."""
        share = (value - self.low) / (self.high - self.low)
        return self.start + share * (self.end - self.start)


def nice_ticks(low: float, high: float, most: int) -> list[float]:
    """At most `most` values from `low` to `high` in steps of 1, 2 or 5 times a power of ten."""
    if not (math.isfinite(low) and math.isfinite(high) and high > low):
        return []
    step = nice_step((high - low) / max(most, 1))
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [at * step for at in range(first, last + 1)]


def day_ticks(first_s: float, last_s: float, most: int) -> list[tuple[float, str]]:
    """At most about `most` local midnights between two moments (s since 1970), with the day."""
    days = (last_s - first_s) / 86_400
    step = next((one for one in _DAYS if days / one <= most), _DAYS[-1])
    start = datetime.fromtimestamp(first_s).astimezone()
    at = start.replace(hour=0, minute=0, second=0, microsecond=0)
    found = []
    while at.timestamp() <= last_s:
        if at.timestamp() >= first_s - 43_200:
            found.append((max(at.timestamp(), first_s), day_text(at)))
        # By the calendar, so that a change of the clocks moves nothing.
        at = (at.replace(tzinfo=None) + timedelta(days=step)).astimezone()
    return found
