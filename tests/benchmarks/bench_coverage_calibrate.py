"""How often a calibration's stated interval holds the readout's true error in a real shop.

A shop of this file alone: a belt that wanders between the moment of the reading and the mean over
the run, a hand at the watch and at the gate, a display that rounds or cuts off its digits and
averages, a readout that need not be linear, a belt that drifts while it is recorded. The runs go
in as a person's table or as a recording's pulses. The seeds were set before anything ran.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from workbench.base.machine import parse_machine
from workbench.calibration.readout.recorded_runs import Window, pulses_of, run_in_window
from workbench.calibration.readout.run_table import read_run_table
from workbench.calibration.readout.steady_runs import calibrate_runs
from workbench.calibration.statistics.decision import Verdict

SEEDS = (1, 2, 3, 4)
MPH, LAP_M, U_LAP_M, PITCH_M, U_PITCH_M, TEETH, RODS = 0.44704, 9.15, 0.005, 0.0508, 1e-4, 24, 9
PULSE_M = RODS * PITCH_M / TEETH
LOW_MPS, HIGH_MPS, LIMIT = 0.9, 1.35, 0.02
WORK_MPS = 0.5 * (LOW_MPS + HIGH_MPS)


@dataclass(frozen=True)
class Shop:
    """One afternoon's runs. Shares are of the speed; `bend` and `tilt` are what the readout's
    error adds at the ends of the working speeds, even and odd about their middle. `told`: pulses
    were recorded along, and a few dozen turns of the wheel told how the belt wandered."""

    runs: int = 5
    step: float = 0.1
    wander: float = 0.0
    laps: bool = True
    gate_s: float = 0.0
    cuts: bool = False
    tilt: float = 0.0
    bend: float = 0.0
    offset_steps: float = 0.0
    drift: float = 0.0
    averages_s: float = 0.0
    residue: bool = False
    told: bool = False
    said: str = "nearest"

    def machine(self):
        rounds = f'rounds = "{self.said}"' if self.said else ""
        return parse_machine(f"""
name = "study"
[belt]
lap_length_m = {LAP_M}
u_lap_length_m = {U_LAP_M}
[drive]
target_teeth = {TEETH}
kind = "sprocket"
sprocket_teeth = {RODS}
rod_pitch_m = {PITCH_M}
u_rod_pitch_m = {U_PITCH_M}
measured_on = 2026-09-14
[readout]
unit = "mph"
step = {self.step}
{rounds}
[limits]
speed_low_mps = {LOW_MPS}
speed_high_mps = {HIGH_MPS}
readout_error = {LIMIT}
""")

    def error_at(self, scale, speed_mps):
        x = (speed_mps - WORK_MPS) / (HIGH_MPS - WORK_MPS)
        offset = self.offset_steps * self.step * MPH / speed_mps
        return (1 + scale) * (1 + self.tilt * x + self.bend * x**2) + offset - 1

    def shown(self, scale, speed_mps):
        indicated = (1 + self.error_at(scale, speed_mps)) * speed_mps / MPH / self.step
        return self.step * (np.floor(indicated) if self.cuts else np.round(indicated))

    def answer(self, rng, scale):
        machine = self.machine()
        lap_m = LAP_M + U_LAP_M * rng.standard_normal()
        pulse_m = PULSE_M * (1 + U_PITCH_M / PITCH_M * rng.standard_normal())
        if self.drift:
            return calibrate_runs(self._recorded(rng, scale, pulse_m, machine), machine)
        speeds = rng.uniform(LOW_MPS, HIGH_MPS, self.runs)
        if self.residue:  # the wanted digit just came up, each time at the same place in its step
            whole = rng.choice(np.arange(20, 31), self.runs) + rng.uniform(-0.5, 0.5)
            speeds = whole * self.step * MPH / (1 + scale)
        lines = []
        for at, v in enumerate(speeds):
            shown = self.shown(scale, v * (1 + self.wander * rng.standard_normal()))
            cells = [str(at + 1), f"{shown:.6g}", "", "", "", "", ""]
            if self.told:
                cells[6] = f"{max(self.wander, 0.001) * math.sqrt(rng.chisquare(20) / 20):.3g}"
            if self.laps:
                laps = int(rng.integers(6, 12))
                cells[2:4] = str(laps), f"{laps * lap_m / v + 0.1 * rng.standard_normal():.2f}"
            if self.gate_s:
                held_s = self.gate_s + 0.1 * rng.standard_normal()
                count = math.floor(held_s * v / pulse_m + rng.uniform())
                cells[4:6] = str(count), f"{self.gate_s:g}"
            lines.append(",".join(cells))
        header = "run,shown,laps,laps_time_s,pulses,pulses_time_s,u_wander_rel"
        runs = read_run_table("\n".join([header, *lines]), "runs.csv", machine).runs
        return calibrate_runs(runs, machine)

    def _recorded(self, rng, scale, pulse_m, machine):
        """Runs of 40 s whose speed drifts evenly, all the same way as oil warms; the display
        averages, and is read at one share of every run."""
        runs, at = [], rng.uniform(0.1, 1.0)
        for count in range(self.runs):
            v, drift = rng.uniform(LOW_MPS, HIGH_MPS), self.drift * rng.uniform(0.3, 1.0)
            grid_s = np.arange(0.0, 44.0, 0.01)
            speed = v * (1 - drift * ((grid_s - 4.0) / 40.0 - 0.5))
            phase = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * 0.01)])
            tooth = np.arange(1, int(phase[-1] / pulse_m))
            edge_s = np.interp(tooth * pulse_m, phase, grid_s)
            edge_s += rng.normal(0, 20e-6, edge_s.size)
            end_s = 4.0 + 40.0 * at
            seen = float(np.diff(np.interp([end_s - self.averages_s, end_s], grid_s, phase))[0])
            shown = float(self.shown(scale, seen / self.averages_s))
            pulses = pulses_of(edge_s, np.empty(0), machine)
            window = Window(4.0, 44.0, shown, "study", count + 1)
            run = run_in_window(pulses, window, str(count + 1), [])
            assert run is not None
            runs.append(run)
        return runs


EASY = {
    "five runs": Shop(),
    "five runs, pulses too": Shop(gate_s=60.0),
    "eight runs": Shop(runs=8),
    "three runs": Shop(runs=3),
    "five runs, 0.05 mph": Shop(step=0.05),
    "five runs, wander told": Shop(told=True),
    "three runs, wander told": Shop(runs=3, told=True),
}
HARD = (
    {
        f"{name}, wander {100 * wander:g} %": replace(shop, wander=wander)
        for name, shop in (
            ("five runs", Shop()),
            ("five, 0.05 mph", Shop(step=0.05)),
            ("five, 0.01 mph", Shop(step=0.01)),
            ("three runs", Shop(runs=3)),
            ("eight runs", Shop(runs=8)),
        )
        for wander in (0.005, 0.007, 0.01, 0.02)
    }
    | {
        f"{name}, wander {100 * wander:g} % told": replace(shop, wander=wander, told=True)
        for name, shop in (
            ("five runs", Shop()),
            ("three runs", Shop(runs=3)),
            ("two runs", Shop(runs=2)),
        )
        for wander in (0.005, 0.01, 0.02)
    }
    | {
        "two runs": Shop(runs=2),
        "two runs, wander 1 %": Shop(runs=2, wander=0.01),
        "five, 0.01 mph": Shop(step=0.01),
        "gated by hand 20 s": Shop(laps=False, gate_s=20.0),
        "gated 20 s, 0.01 mph": Shop(laps=False, gate_s=20.0, step=0.01),
        "drift 1.5 %, averages 3 s": Shop(drift=0.015, averages_s=3.0),
        "the same, 0.01 mph": Shop(drift=0.015, averages_s=3.0, step=0.01),
        "tilt 1 %": Shop(tilt=0.01),
        "tilt -1, bend 1 %, 0.01 mph": Shop(tilt=-0.01, bend=0.01, step=0.01),
        "bend 1.5 %": Shop(bend=0.015),
        "tilt 1.5 %, eight runs": Shop(tilt=0.015, runs=8),
        "cuts off, said": Shop(cuts=True, said="down"),
        "cuts off, unsaid": Shop(cuts=True, said=""),
        "rounds, unsaid": Shop(said=""),
        "cuts off, unsaid, wander 1 %": Shop(cuts=True, said="", wander=0.01),
        "cuts off, unsaid, 0.01 mph": Shop(cuts=True, said="", step=0.01),
        "two runs, one residue": Shop(runs=2, residue=True),
        "three runs, one residue": Shop(runs=3, residue=True),
        "five runs, one residue": Shop(residue=True),
    }
)
NAMED = {
    # Nothing tells of a wander: what is allowed for it is on top of what holds already.
    **dict.fromkeys(
        ("five runs, 0.05 mph", "five, 0.01 mph", "gated by hand 20 s", "gated 20 s, 0.01 mph"),
        (0.93, 1.0),
    ),
    "two runs": (0.93, 1.0),  # the same
    # Two or three runs may agree by chance however the belt wanders.
    "two runs, wander 1 %": (0.88, 0.98),
    "three runs, wander 1 %": (0.89, 0.98),
    "three runs, wander 2 %": (0.88, 0.98),
    # A display of 4 % of a speed hides part of what differs from run to run.
    "five runs, wander 0.5 %": (0.92, 0.98),
    "five runs, wander 0.7 %": (0.92, 0.98),
    "three runs, wander 0.7 %": (0.91, 0.98),
    "eight runs, wander 1 %": (0.92, 0.98),
    # The error is that of a straight line; what bends by three times the usual is not held.
    "bend 1.5 %": (0.86, 0.98),
    "tilt -1, bend 1 %, 0.01 mph": (0.88, 0.98),
    "tilt 1.5 %, eight runs": (0.91, 0.98),
}
"""Cases that do not hold 93 to 98 %, why, and what they hold."""

AT_ENDS = 0.90
"""What the ends of the working speeds hold at least; of a readout in proportion they hold nearly
all, since nobody knew that it was."""

MOST_OFFSETS, MOST_ACCEPTED = 0.05, 0.025
"""Tables of readouts without an offset in which one was claimed, and readouts exactly at their
limit that passed (ILAC-G8, from memory), at most."""


def study(shop, trials, seeds=SEEDS):
    """What came of `trials` afternoons: coverage at work and at the ends, the share of tables with
    an offset claimed, that of readouts exactly at the limit that passed, and the median U."""
    held, ends, U, offset, passed = [], [], [], [], []
    linear = not (shop.bend or shop.tilt)
    for seed in seeds:
        rng = np.random.default_rng(seed)
        for at in range(trials // len(seeds)):
            # Every other readout is wrong by just what is allowed.
            at_limit = linear and at % 2 == 1
            scale = rng.choice([-1, 1]) * LIMIT if at_limit else rng.normal(0, 0.02)
            found = shop.answer(rng, scale)
            held.append(abs(found.error_at_work - shop.error_at(scale, WORK_MPS)) <= found.budget.U)
            ends += [
                abs(end.error - shop.error_at(scale, end.speed_mps)) <= found.k * end.u_error
                for end in found.error_at_ends
            ]
            U.append(found.budget.U)
            offset.append(found.fit.offset_mps != 0)
            passed += [found.verdict is Verdict.PASS] if at_limit else []
    shares = [float(np.mean(what)) for what in (held, ends, offset, passed or [False])]
    return (*shares, float(np.median(U)))


def judge_all(trials, cases):
    """The table, printed, and each case of which a figure is beyond its bounds by 3 of its
    binomial errors."""
    print()
    wrong = []
    for name, shop in cases.items():
        held, ends, offset, passed, U = study(shop, trials)
        low, high = NAMED.get(name, (0.93, 0.98))
        u = math.sqrt(max(held * (1 - held), 0.01) / trials)
        print(
            f"{name:32} {100 * held:5.1f} ± {100 * u:3.1f} %  at the ends {100 * ends:5.1f} %  "
            f"offsets {100 * offset:4.1f} %  accepted at the limit {100 * passed:4.1f} %  "
            f"U {100 * U:.3f} %"
        )
        room = 3 * math.sqrt(0.05 / trials)
        if not low - 3 * u <= held <= high + 3 * u or ends < AT_ENDS - room:
            wrong.append((name, held, ends))
        if offset > MOST_OFFSETS + room or passed > MOST_ACCEPTED + 2 * room:
            wrong.append((name, offset, passed))
    return wrong


def test_coverage_of_a_calibration():
    assert judge_all(400, {**EASY, **HARD}) == []
