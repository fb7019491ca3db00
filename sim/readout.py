"""The speed display in the cab: it counts the left pickup's pulses and shows a number.

    speed = pulse rate × metres a pulse, as its setting says them

Rate by counting in tenths of a second, exponential average, rounded to the display's step or cut
off to it.
"""

from __future__ import annotations

import numpy as np

from drivers.contract import Floats
from sim import spec
from sim.pickup import Edges
from sim.sensors import RATE_HZ, Samples
from sim.streams import Lag
from sim.typed import SETTING_UNITS

UNITS_MPS = {"mph": 0.44704, "km/h": 1 / 3.6, "m/s": 1.0, "ft/min": 0.00508}
"""Exact: the mile of 1609.344 m, the foot of 0.3048 m."""

_DELAY_S = 0.06
"""From the pulse to the display, chosen; longer than two teeth of a running belt."""


def metres_per_pulse(reads: str, setting: float) -> float:
    """What a readout takes a pulse for, from the number set in it."""
    length_m = SETTING_UNITS[reads][1]
    return length_m / setting if reads == "inverse" else length_m * setting


class RunningReadout:
    """One readout, continued from call to call."""

    def __init__(self, plan: spec.ReadoutPlan, setting: float) -> None:
        self._plan = plan
        self.enter(setting)
        self._average = Lag(plan.averaging_s, 1 / RATE_HZ)
        self._recent_s = np.empty(0)
        self._counted = 0.0
        self._averaged_hz: Floats = np.empty(0)
        self._shown: float | None = None
        self._tick = 0

    def enter(self, setting: float) -> None:
        """Set this number."""
        self.metres_per_pulse = metres_per_pulse(self._plan.reads, setting)

    def show(self, edges: Edges, to_s: float) -> Samples:
        """What stands on the display each tenth of a second until `to_s`."""
        last = int(np.ceil(to_s * RATE_HZ - 1e-9))
        at_s = np.arange(self._tick, last) / RATE_HZ
        first_tick, self._tick = self._tick == 0, last
        rate_hz = self._rate_hz(edges, at_s - _DELAY_S, first_tick)
        self._averaged_hz = self._average(rate_hz)
        return Samples(self.shown(slice(None)), at_s, at_s)

    def shown(self, part: slice) -> Floats:
        """What stands on the display with the setting of now, in a part of the last stretch."""
        mps = self._averaged_hz[part] * self.metres_per_pulse
        return self._digits(mps / UNITS_MPS[self._plan.unit])

    def _rate_hz(self, edges: Edges, at_s: Floats, first: bool) -> Floats:
        """Pulses a second in each tick; the count between two pulses is interpolated."""
        self._recent_s = np.concatenate((self._recent_s, edges.rise_s))
        if self._recent_s.size == 0:
            return np.zeros(at_s.size)
        known = self._counted + np.arange(self._recent_s.size)
        count = np.interp(at_s, self._recent_s, known)
        before = np.interp(at_s[:1] - 1 / RATE_HZ, self._recent_s, known)
        rate_hz = np.diff(np.concatenate((before, count))) * RATE_HZ
        if first and rate_hz.size > 4:
            rate_hz[:4] = rate_hz[4]  # it was running before we looked
        keep = max(0, int(np.searchsorted(self._recent_s, at_s[-1] - 1.0)) - 1)
        self._recent_s, self._counted = self._recent_s[keep:], self._counted + keep
        return np.asarray(rate_hz)

    def _digits(self, speed: Floats) -> Floats:
        step, slack = self._plan.step, self._plan.hysteresis_steps
        half = 0.5 if self._plan.rounds == "nearest" else 0.0
        nearest = np.floor(speed / step + half) * step
        if slack > 0:
            shown = nearest[0] if self._shown is None else self._shown
            for number, value in enumerate(speed):
                if abs(value + (half - 0.5) * step - shown) > (0.5 + slack) * step:
                    shown = nearest[number]
                nearest[number] = shown
            self._shown = float(shown)
        return np.round(nearest, 9)
