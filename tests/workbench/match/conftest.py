"""A simulated pass judged as the command judges it, and replayed as it is driven."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from drivers.catalogue import open_input
from drivers.contract import Item
from sim.run import simulate
from workbench.base.machine import parse_machine
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.jobs.passes.answer import PassAnswer, PassOptions
from workbench.jobs.passes.compute import compute
from workbench.live.driven_pass import DrivenPass
from workbench.live.streams import Streams
from workbench.match.live import LiveMatch, Snapshot
from workbench.match.ratio import PaceLimits
from workbench.records.rebuild import rebuild

BAND = PaceLimits(0.95, 1.05)


@dataclass(frozen=True)
class Replay:
    """Snapshots in order, and the answer after the pass."""

    snapshots: list[Snapshot]
    after: PassAnswer


@pytest.fixture
def judged():
    """Makes the answer of a scenario, and the run's truth."""

    def make(scenario: str | Path, seed: int = 0, for_s: float = 60.0, **options: Any):
        run = simulate(scenario, seed, for_s)
        machine = parse_machine(run.machine_text)
        answer = compute(run.recording, machine, PassOptions(**options))
        return answer, run.truth

    return make


@pytest.fixture
def replayed():
    """Plays a scenario into the live engine, a block every `chunk_s`."""

    def make(scenario: str, seed: int, for_s: float, ground: str = "radar", chunk_s: float = 0.5):
        driver = open_input(f"sim:{scenario}?pace=fast&seed={seed}")
        machine = parse_machine(driver.machine_text)
        per_pulse = metres_per_pulse(machine)
        live = LiveMatch(
            BAND,
            teeth=machine.drive.target_teeth,
            metre_per_pulse_m=per_pulse.value_m,
            u_belt_rel=per_pulse.u_rel,
            u_ground_rel=0.01 if ground == "radar" else 0.0,
        )
        items: list[Item] = []
        snapshots = []
        streams, driven = Streams(), DrivenPass(live, "left", ground)
        driver.open()
        while driver.clock() < for_s - 1e-6:
            new = driver.read(chunk_s)
            items += new
            streams.take("sim:", new)
            driven.follow(streams.by_name)
            snapshots.append(live.snapshot(driver.clock()))
        driver.close()
        pairs = [(driver.address, item) for item in items]
        whole = rebuild(pairs, driver.notes, 0.0, scenario, simulated=True)
        after = compute(whole, machine, PassOptions("left", ground))
        return Replay(snapshots, after)

    return make
