"""What a pass says that can tell one cause of a mismatch from another.

The belt's speed in equal stretches of time, beside what could move it, and single measures
such as shown ÷ true or the share of pulses missed. Everything is a logarithm or a share,
so that it means the same on every machine.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
from workbench.base.typed import parse_setting_unit
from workbench.calibration.gap.faults import FaultKind, WheelFault
from workbench.calibration.gap.wheel_faults import check_wheel
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.calibration.pulses.edges import CleanEdges, clean
from workbench.calibration.pulses.speed import SpeedSeries, speed_series
from workbench.calibration.pulses.target_wheel import TeethSeen, teeth_seen
from workbench.calibration.statistics.spread import robust_spread
from workbench.match.ratio import Comparison, PaceLimits
from workbench.match.sources import GNSS, UNNAMED, WHEEL, Factor, Quality, SourceKind

Floats = NDArray[np.float64]

MOST_BINS = 120
LEAST_BIN_S = 1.0

STANDS = 0.05
"""Ratio below which the belt stands, and its speed in time says nothing of why. Chosen."""

LAP_U_REL = 0.002
"""How far laps and pulses may differ on a sound machine beyond what lap and drive line are
known to: creep on a roll, the mark's pickup; chosen."""

TOOTH = (FaultKind.MISSING, FaultKind.BENT, FaultKind.WORN)
NOISE = (FaultKind.TWICE, FaultKind.NOISE)


@dataclass(frozen=True, slots=True, eq=False)
class Values:
    """Another quantity in time, (n,) each."""

    time_s: Floats
    value: Floats


@dataclass(frozen=True, slots=True, eq=False)
class PassInputs:
    """All that was recorded on a pass, in arrays.

    `edges_s` are the belt's pulses, `lap_s` the moments the belt's mark went by,
    `other_edges_s` a second pickup's pulses; `shown` is
    in the readout's unit; `engine_hz` and `oil_c` where the bus or a hand gave them.
    """

    belt: SpeedSeries
    ground: SpeedSeries
    ground_source: str
    limits: PaceLimits
    machine: Machine | None = None
    edges_s: Floats | None = None
    amplitude_v: Floats | None = None
    lap_s: Floats | None = None
    other_edges_s: Floats | None = None
    shown: Values | None = None
    engine_hz: Values | None = None
    oil_c: Values | None = None
    qualities: Mapping[str, Quality] = field(default_factory=dict)
    factors: Mapping[str, Factor] = field(default_factory=dict)
    others: Mapping[str, SpeedSeries] = field(default_factory=dict)
    reference: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Bins:
    """Equal stretches of the steady part, (n,) each: logarithms of belt and ground speed
    against the mean of the ground's, of engine speed against its highest, the oil's warmth.

    `engine_log` and `oil_c` are None where they are not known.
    """

    time_s: Floats
    belt_log: Floats
    ground_log: Floats
    engine_log: Floats | None
    oil_c: Floats | None


@dataclass(frozen=True, slots=True)
class Measure:
    """One number with its own standard uncertainty."""

    value: float
    u: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """`measures` and `flags` by name, see `workbench.match.hypotheses`; absent ones were not
    to be had. `u_level` is the uncertainty of the mean ratio's logarithm."""

    bins: Bins | None
    u_level: float
    limits: PaceLimits
    ground_kind: SourceKind
    drive_kind: str
    measures: Mapping[str, Measure]
    flags: Mapping[str, bool]
    faults: tuple[WheelFault, ...] = ()
    teeth: TeethSeen | None = None
    typed_teeth: int = 0
    missed: int = 0
    edges: int = 0
    missed_at_mps: float = math.nan
    usual_mps: float = math.nan
    wheel_against: str = ""
    gnss: Quality | None = None


def gather(inputs: PassInputs, found: Comparison) -> Evidence:
    """Everything the causes are judged by."""
    measures: dict[str, Measure] = {}
    flags: dict[str, bool] = {}
    turns = found.aligned is not None and found.pace.ratio > STANDS
    bins = make_bins(inputs, found) if turns else None
    if bins is not None:
        measures |= _of_bins(inputs, bins)
    pulses = _Pulses(inputs)
    measures |= pulses.measures()
    flags |= pulses.flags
    measures |= _of_sources(inputs)
    ratio, u_ratio = found.pace.ratio, found.pace.u_ratio
    kinds = {source: one.kind for source, one in inputs.qualities.items()}
    return Evidence(
        bins=bins,
        u_level=u_ratio / ratio if math.isfinite(ratio) and ratio > 0 else math.inf,
        limits=inputs.limits,
        ground_kind=kinds.get(inputs.ground_source, UNNAMED),
        drive_kind=inputs.machine.drive.kind if inputs.machine else "",
        measures=measures,
        flags=flags,
        faults=pulses.faults,
        teeth=pulses.teeth,
        typed_teeth=inputs.machine.drive.target_teeth if inputs.machine else 0,
        missed=pulses.edges.missed if pulses.edges else 0,
        edges=int(pulses.edges.time_s.size) if pulses.edges else 0,
        missed_at_mps=pulses.missed_at_mps,
        usual_mps=pulses.usual_mps,
        wheel_against=inputs.reference,
        gnss=next((q for q in inputs.qualities.values() if q.kind is GNSS), None),
    )


def make_bins(inputs: PassInputs, found: Comparison) -> Bins | None:
    """The steady part in at most `MOST_BINS` stretches; None where fewer than 5 are filled."""
    both, steady = found.aligned, found.steady
    assert both is not None
    assert steady is not None
    time_s = both.time_s[steady]
    width_s = max(LEAST_BIN_S, float(np.ptp(time_s)) / MOST_BINS)
    number = ((time_s - time_s[0]) / width_s).astype(np.int64)
    count = np.bincount(number)
    full = count * both.step_s >= 0.5 * width_s
    if full.sum() < 5:
        return None

    def mean(values: Floats) -> Floats:
        return np.asarray(np.bincount(number, weights=values)[full] / count[full])

    belt, ground = mean(both.belt_mps[steady]), mean(both.ground_mps[steady])
    belt = np.maximum(belt, 1e-3)
    at_s = mean(time_s)
    engine = _at(inputs.engine_hz, at_s)
    if engine is not None:
        engine = np.log(np.maximum(engine, 1e-3))
        engine = engine - np.quantile(engine, 0.9)
    level = float(np.log(ground).mean())
    return Bins(at_s, np.log(belt) - level, np.log(ground) - level, engine, _at(inputs.oil_c, at_s))


def _at(values: Values | None, time_s: Floats) -> Floats | None:
    if values is None:
        return None
    good = np.isfinite(values.value)
    if good.sum() < 2:
        return None
    return np.interp(time_s, values.time_s[good], values.value[good])


def _of_bins(inputs: PassInputs, bins: Bins) -> dict[str, Measure]:
    """How much the ground varied without the belt, the engine, the oil."""
    measures = {"unfollowed": Measure(math.log(_unfollowed(inputs, bins)))}
    if bins.engine_log is not None:
        measures["engine"] = Measure(math.log(float(np.std(bins.engine_log)) + 5e-4))
    if bins.oil_c is not None:
        measures["oil"] = Measure(float(bins.oil_c[-1] - bins.oil_c[0]))
    return measures


def _unfollowed(inputs: PassInputs, bins: Bins) -> float:
    """Scatter of the ground speed's logarithm that the belt's does not share, 0.001 at least.

    Taken from the source with the least noise, be it the wheels': the driver's changes of
    speed show in all of them.
    """
    logs = [bins.ground_log]
    for series in inputs.others.values():
        good = np.isfinite(series.speed_mps) & (series.speed_mps > 0)
        if good.sum() > bins.time_s.size:
            width_s = float(np.median(np.diff(bins.time_s)))
            logs.append(
                np.log(_means_at(series.time_s[good], series.speed_mps[good], bins, width_s))
            )
    quiet = min(logs, key=lambda one: float(np.median(np.abs(np.diff(one, n=2)))))
    moved = quiet - quiet.mean()
    size = float(moved @ moved)
    share = float(moved @ (bins.belt_log - bins.belt_log.mean())) / size if size > 0 else 0.0
    return max(0.001, float(np.std(moved)) * (1 - min(max(share, 0.0), 1.0)))


def _means_at(time_s: Floats, speed_mps: Floats, bins: Bins, width_s: float) -> Floats:
    """Mean speed in each bin; where a bin is empty, from a straight line."""
    total = np.concatenate(([0.0], np.cumsum(speed_mps)))
    low = np.searchsorted(time_s, bins.time_s - width_s / 2)
    high = np.searchsorted(time_s, bins.time_s + width_s / 2)
    line = np.interp(bins.time_s, time_s, speed_mps)
    count = np.maximum(high - low, 1)
    return np.where(high > low, (total[high] - total[low]) / count, line)


class _Pulses:
    """What the belt's pulses, laps and readout say."""

    def __init__(self, inputs: PassInputs) -> None:
        self._inputs = inputs
        self.flags: dict[str, bool] = {}
        self.faults: tuple[WheelFault, ...] = ()
        self.edges: CleanEdges | None = None
        self.teeth: TeethSeen | None = None
        self.missed_at_mps = self.usual_mps = math.nan
        if inputs.edges_s is not None and inputs.edges_s.size > 200 and inputs.machine:
            self._look(inputs.edges_s, inputs.machine)

    def _look(self, edges_s: Floats, machine: Machine) -> None:
        self.edges = clean(edges_s)
        self.teeth = teeth_seen(self.edges)
        typed = machine.drive.target_teeth
        self.flags["teeth"] = self.teeth.contradicts(typed)
        wheel = self.teeth.teeth if self.flags["teeth"] and self.teeth.teeth else typed
        try:
            found = check_wheel(edges_s, wheel, amplitude_v=self._inputs.amplitude_v)
            self.faults = found.answer.faults
        except (WrongInput, ValueError):  # too few turns in one piece
            self.faults = ()
        kinds = {fault.kind for fault in self.faults}
        self.flags["tooth"] = bool(kinds & set(TOOTH))
        self.flags["noise"] = bool(kinds & set(NOISE))
        self.flags["lost"] = FaultKind.LOST in kinds
        self.flags["breaks"] = FaultKind.BREAKS in kinds
        series = speed_series(self.edges, typed, metres_per_pulse(machine).value_m)
        if series.speed_mps.size:
            self.usual_mps = float(np.median(series.speed_mps))
            if self.edges.missed_s.size:
                at = np.interp(self.edges.missed_s, series.time_s, series.speed_mps)
                self.missed_at_mps = float(np.median(at))

    def measures(self) -> dict[str, Measure]:
        machine, edges = self._inputs.machine, self.edges
        if machine is None:
            return {}
        found: dict[str, Measure | None] = {"setting": _setting(machine)}
        if edges is not None:
            found["missed"] = Measure(math.log(edges.missed / max(edges.time_s.size, 1) + 5e-4))
            found["extra"] = Measure(math.log(edges.extra / max(edges.time_s.size, 1) + 5e-4))
            found["other_pickup"] = self._other_pickup()
            found["shown"] = self._shown(machine)
            found["lap"] = self._lap(machine, edges)
        return {name: one for name, one in found.items() if one is not None}

    def _other_pickup(self) -> Measure | None:
        """ln(pulses of the second pickup ÷ of the belt's) over the time both were there."""
        own, other = self._inputs.edges_s, self._inputs.other_edges_s
        if own is None or other is None or other.size < 200:
            return None
        low, high = max(own[0], other[0]), min(own[-1], other[-1])
        counts = [int(((one >= low) & (one <= high)).sum()) for one in (own, other)]
        if min(counts) < 200:
            return None
        return Measure(math.log(counts[1] / counts[0]), 1 / counts[0])

    def _shown(self, machine: Machine) -> Measure | None:
        """ln(shown ÷ belt by pulses) over the steady time the readout was read."""
        shown = self._inputs.shown
        if shown is None:
            return None
        belt, unit = self._inputs.belt, machine.readout.unit_mps
        if belt.time_s.size < 3:
            return None
        used = np.isfinite(shown.value) & (shown.time_s >= belt.time_s[0] + 3)
        used &= shown.time_s <= belt.time_s[-1]
        if used.sum() < 3:
            return None
        belt_mps = np.interp(shown.time_s[used], belt.time_s, belt.speed_mps)
        shown_mps = shown.value[used] * unit
        moving = (belt_mps > 0.2) & (shown_mps > 0)
        if moving.sum() < 3:
            return None
        mean = float(belt_mps[moving].mean())
        digits = np.unique(np.round(shown.value[used][moving] / machine.readout.step)).size
        # A digit that never changes may be half a step off; one that flips averages out.
        u_step = machine.readout.step_mps / math.sqrt(12) / mean / min(digits, 3)
        error = math.log(float(shown_mps[moving].mean()) / mean)
        return Measure(error, math.hypot(u_step, metres_per_pulse(machine).u_rel))

    def _lap(self, machine: Machine, edges: CleanEdges) -> Measure | None:
        """ln(belt travel by its laps ÷ by its pulses)."""
        lap_s, length_m = self._inputs.lap_s, machine.belt.lap_length_m
        if lap_s is None or lap_s.size < 3 or not math.isfinite(length_m):
            return None
        lap_s = lap_s[(lap_s >= edges.time_s[0]) & (lap_s <= edges.time_s[-1])]
        if lap_s.size < 3:
            return None
        per_pulse = metres_per_pulse(machine)
        teeth = np.interp(lap_s, edges.time_s, edges.tooth.astype(np.float64))
        by_pulses = np.diff(teeth) * per_pulse.value_m
        ratio = length_m / by_pulses
        u_length = machine.belt.u_lap_length_m / length_m
        scatter = robust_spread(ratio - np.median(ratio))
        u = math.hypot(u_length, per_pulse.u_rel, scatter / math.sqrt(ratio.size), LAP_U_REL)
        return Measure(math.log(float(np.median(ratio))), u)


def _setting(machine: Machine) -> Measure | None:
    """ln(shown ÷ belt) that the number set in the readout makes, by the drive line."""
    readout, per_pulse = machine.readout, metres_per_pulse(machine)
    if not math.isfinite(readout.setting):
        return None
    right = parse_setting_unit(readout.setting_unit).setting(
        per_pulse.value_m, machine.drive.target_teeth
    )
    if not (math.isfinite(right) and right > 0):
        return None
    error = math.log(readout.setting / right)
    step = readout.setting_step if math.isfinite(readout.setting_step) else 0.0
    u = math.hypot(step / readout.setting / math.sqrt(12), per_pulse.u_rel)
    return Measure(-error if readout.reads == "inverse" else error, u)


def _of_sources(inputs: PassInputs) -> dict[str, Measure]:
    """Wheel against ground, and how usable the satellite speed was."""
    measures: dict[str, Measure] = {}
    for source, factor in inputs.factors.items():
        if inputs.qualities[source].kind is WHEEL and "wheel" not in measures:
            measures["wheel"] = Measure(math.log(factor.factor), factor.u_factor / factor.factor)
    for one in inputs.qualities.values():
        if one.kind is GNSS and "fixes" not in measures:
            measures["fixes"] = Measure(math.log(1.01 - one.share))
            if math.isfinite(one.noise_rel):
                measures["gnss_noise"] = Measure(math.log(one.noise_rel + 0.003))
    return measures
