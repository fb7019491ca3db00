"""What the wire adds to a pickup's edges and takes from them: bounce, noise, breaks."""

from __future__ import annotations

import numpy as np

from drivers.contract import Floats
from sim import spec
from sim.pickup import NO_EDGES, Edges, join
from sim.streams import stream

SHORTEST_S = 20e-6
"""Two edges nearer than this are one to the counter, chosen."""
_SPARK_S = 1e-4
"""Length of a noise pulse, chosen."""


class Wiring:
    """One channel's cable, continued from call to call."""

    def __init__(self, plan: spec.PickupPlan, seed: int, channel: str) -> None:
        self._plan = plan
        self._bounce = stream(seed, f"{channel}.bounce")
        self._bursts = stream(seed, f"{channel}.bursts")
        self._breaks = stream(seed, f"{channel}.breaks")
        self._hum_phase = float(stream(seed, f"{channel}.hum").random())
        self._pending = NO_EDGES
        self._last_s = -np.inf
        self._broken: list[tuple[float, float]] = []

    def carry(self, edges: Edges, from_s: float, to_s: float) -> Edges:
        """What arrives by `to_s` of `edges` and of all that came before."""
        plan = self._plan
        parts = [self._pending, edges]
        if plan.bounce > 0:
            parts[1] = self._bounced(edges)
        if plan.bursts_per_s > 0:
            parts.append(self._burst(from_s, to_s))
        if plan.hum_hz > 0:
            parts.append(self._hum(from_s, to_s))
        arrived = join(parts)
        if plan.breaks_per_s > 0:
            arrived = self._without_breaks(arrived, from_s, to_s)
        now = int(np.searchsorted(arrived.rise_s, to_s))
        arrived, self._pending = arrived[:now], arrived[now:]
        if not arrived.rise_s.size:
            return arrived
        gap_s = np.diff(arrived.rise_s, prepend=self._last_s)
        self._last_s = float(arrived.rise_s[-1])
        return arrived[gap_s >= SHORTEST_S]

    def _bounced(self, edges: Edges) -> Edges:
        plan, n = self._plan, edges.rise_s.size
        again = self._bounce.random(n) < plan.bounce
        delay_s = SHORTEST_S * 2 + self._bounce.exponential(plan.bounce_s, n)
        again &= edges.rise_s + delay_s < edges.fall_s
        second = edges[again]
        rise_s = second.rise_s + delay_s[again]
        first_fall_s = edges.fall_s.copy()
        first_fall_s[again] = second.rise_s + delay_s[again] / 2
        first = Edges(edges.rise_s, first_fall_s, edges.peak_v, edges.tooth)
        return join([first, Edges(rise_s, second.fall_s, second.peak_v, _no_tooth(rise_s))])

    def _burst(self, from_s: float, to_s: float) -> Edges:
        plan, rng = self._plan, self._bursts
        count = rng.poisson(plan.bursts_per_s * (to_s - from_s))
        start_s = from_s + rng.random(count) * (to_s - from_s)
        sparks = 1 + rng.poisson(plan.burst_hz * rng.exponential(plan.burst_s, count))
        first = np.repeat(start_s, sparks)
        number = np.arange(first.size) - np.repeat(np.cumsum(sparks) - sparks, sparks)
        # Sparks come at engine rate, not locked to the wheel, and a little unevenly.
        return _noise(np.sort(first + (number + 0.05 * rng.random(first.size)) / plan.burst_hz))

    def _hum(self, from_s: float, to_s: float) -> Edges:
        hz = self._plan.hum_hz
        cycles = np.arange(np.ceil(from_s * hz), np.ceil(to_s * hz), dtype=np.float64)
        return _noise((cycles + self._hum_phase) / hz)

    def _without_breaks(self, edges: Edges, from_s: float, to_s: float) -> Edges:
        plan, rng = self._plan, self._breaks
        count = rng.poisson(plan.breaks_per_s * (to_s - from_s))
        start_s = from_s + np.sort(rng.random(count)) * (to_s - from_s)
        end_s = start_s + rng.exponential(plan.break_s, count)
        self._broken = [span for span in self._broken if span[1] > from_s]
        self._broken += zip(start_s.tolist(), end_s.tolist(), strict=True)
        whole = np.ones(edges.rise_s.size, dtype=np.bool_)
        for begin_s, over_s in self._broken:
            whole &= (edges.rise_s < begin_s) | (edges.rise_s >= over_s)
        return edges[whole]


def _no_tooth(rise_s: Floats) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    return np.full(rise_s.size, -1, dtype=np.int64)


def _noise(rise_s: Floats) -> Edges:
    unknown = np.full(rise_s.size, np.nan)
    return Edges(rise_s, rise_s + _SPARK_S, unknown, _no_tooth(rise_s))
