"""What speed, pass and calibrate say where edges come that no tooth made: hum, bounce.

The edges are made here, not by the simulator: teeth off their places, a belt that wanders, hum that
triggers in a share of the mains' cycles, a second edge behind a share of the teeth. The seeds were
set before anything ran.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from drivers.contract import ChannelKind, EdgeTrack, Recording, SpeedTrack, ValueTrack
from workbench.base.errors import WrongInput
from workbench.base.machine import parse_machine
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.calibrate import compute as calibrate
from workbench.jobs.calibrate.answer import CalibrateOptions
from workbench.jobs.passes.answer import PassOptions
from workbench.jobs.passes.compute import compute as judge_pass
from workbench.jobs.speed.answer import SpeedOptions
from workbench.jobs.speed.compute import compute as tell_speed

SEEDS = range(100, 200)
M_PER_PULSE = 10 * 0.0381 / 24
MACHINE = parse_machine(
    'name = "test"\n[belt]\nlap_length_m = 9.84\nu_lap_length_m = 0.004\n'
    '[drive]\ntarget_teeth = 24\nkind = "sprocket"\nsprocket_teeth = 10\nrod_pitch_m = 0.0381\n'
    '[readout]\nunit = "mph"\nstep = 0.1\nsetting = 1920\nsetting_unit = "pulses/100 ft"\n'
    'setting_step = 1\nreads = "inverse"\n'
)


@dataclass(frozen=True)
class World:
    """`hum` is the share of cycles that trigger, `twice` that of teeth that trigger again."""

    hum: float = 0.0
    hz: float = 60.0
    twice: float = 0.0
    behind: float = 0.08
    for_s: float = 40.0

    def recording(self, seed: int) -> tuple[Recording, float]:
        """(a recording of belt, ground and readout, the true belt speed in m/s)."""
        rng = np.random.default_rng(seed)
        speed_mps = rng.uniform(1.0, 1.4)
        rate_hz = speed_mps / M_PER_PULSE
        count = np.arange(int(self.for_s * rate_hz))
        stands = rng.normal(0, 0.01, 24)
        own = 0.002 * np.sin(count / rate_hz / rng.uniform(0.5, 2)) / rate_hz
        tooth_s = (count + stands[count % 24]) / rate_hz + own
        tooth_s += rng.normal(0, 2e-5, count.size)
        cycle_s = np.arange(0.0, self.for_s, 1 / self.hz) + rng.uniform(0, 1 / self.hz)
        hum_s = cycle_s[rng.random(cycle_s.size) < self.hum]
        again_s = tooth_s[rng.random(count.size) < self.twice]
        again_s = again_s + rng.uniform(0.7, 1.3, again_s.size) * self.behind / rate_hz
        edge_s = np.sort(
            np.concatenate((tooth_s, hum_s + rng.normal(0, 3e-4, hum_s.size), again_s))
        )
        time_s = np.arange(0.0, self.for_s, 0.2)
        ground = SpeedTrack(
            "rmc", "ground", time_s, speed_mps / 0.98 + rng.normal(0, 0.02, time_s.size),
            np.full(time_s.size, 0.02), kind=ChannelKind.SATELLITE,
        )  # fmt: skip
        shown = np.full(time_s.size, round(speed_mps / 0.44704, 1))
        return Recording(
            "test",
            "made up",
            edges={"belt": EdgeTrack("belt", edge_s, kind=ChannelKind.BELT)},
            speeds={"rmc": ground},
            values={
                ("readout", "readout_shown"): ValueTrack("readout", "readout_shown", time_s, shown)
            },
        ), speed_mps


SOUND = {
    "sound": World(),
    "hum in 1 of 100": World(hum=0.01),
    "1 tooth in 10 twice": World(twice=0.1),
}
NOISY = {
    "hum in half the cycles": World(hum=0.5),
    "hum in all cycles": World(hum=1.0),
    "50 Hz in all cycles": World(hum=1.0, hz=50.0),
    "50 Hz in half": World(hum=0.5, hz=50.0),
    "every tooth twice, close": World(twice=1.0),
    "every tooth twice, a quarter on": World(twice=1.0, behind=0.25),
    "every tooth twice, 0.4 on": World(twice=1.0, behind=0.4),
}


def told(world: World, seed: int) -> dict[str, bool | None]:
    """Of each job whether what it told is right; None where it did not tell."""
    recording, true_mps = world.recording(seed)
    speed = tell_speed(recording, MACHINE, SpeedOptions())
    said: dict[str, bool | None] = {"speed": None, "pass": None, "calibrate": None}
    if math.isfinite(speed.belt_speed_mps):
        said["speed"] = abs(speed.belt_speed_mps - true_mps) <= speed.U_belt_speed_mps
    ran = judge_pass(recording, MACHINE, PassOptions())
    if ran.verdict is not Verdict.CANNOT_TELL:
        said["pass"] = abs(ran.ratio - 0.98) <= ran.U_ratio
    try:
        error = calibrate.compute(recording, MACHINE, CalibrateOptions())
    except WrongInput:
        return said
    true_error = recording.values["readout", "readout_shown"].value[0] * 0.44704 / true_mps - 1
    said["calibrate"] = abs(error.error_at_work - true_error) <= error.U_error_at_work
    return said


def table(worlds: dict[str, World], seeds: range = SEEDS) -> dict[str, dict[str, float]]:
    """Share of recordings in which each job told something, and was right, printed."""
    shares = {}
    for name, world in worlds.items():
        rows = [told(world, seed) for seed in seeds]
        shares[name] = {job: np.mean([row[job] is not None for row in rows]) for job in rows[0]}
        right = {job: [row[job] for row in rows if row[job] is not None] for job in rows[0]}
        said = ", ".join(
            f"{job} {100 * shares[name][job]:.0f} %"
            + (f" (right {100 * np.mean(right[job]):.0f} %)" if right[job] else "")
            for job in rows[0]
        )
        print(f"{name:34} told: {said}", flush=True)
    return shares


def test_noise_keeps_every_job_from_an_answer(capsys):
    with capsys.disabled():
        print(f"\n{len(SEEDS)} recordings a case, standard error 2 at 95 %")
        for shares in table(NOISY).values():
            assert max(shares.values()) <= 0.03
        assert min(table(SOUND)["sound"].values()) == 1.0
