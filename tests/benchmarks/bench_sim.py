"""How long the simulator takes, and how often a computed speed holds the simulated truth."""

import numpy as np
from timed import seconds

from drivers.catalogue import open_input
from sim.run import simulate
from sim.scenarios import SCENARIOS
from workbench.base.machine import parse_machine
from workbench.jobs.speed.answer import SpeedOptions
from workbench.jobs.speed.compute import compute
from workbench.records.rebuild import collect

HOUR_S = 3600.0
FAST = "[drive]\ntarget_teeth = 60\nturns_per_target_turn = 0.304\n"
"""600 pulses a second at working speed."""


def plain_numpy(edges):
    """What any simulation of so many edges costs: noise, two interpolations, one sort."""
    rng = np.random.default_rng(1)
    grid = np.linspace(0, HOUR_S, round(50 * HOUR_S) + 1)
    angle = grid * 10
    at = np.linspace(0, angle[-1], edges)
    noise = rng.standard_normal((edges, 2))
    rise = np.interp(at + 1e-5 * noise[:, 0], angle, grid)
    fall = np.interp(at + 1e-5 * noise[:, 1], angle, grid)
    return rise[np.argsort(rise)], fall


def test_an_hour_of_two_pickups_at_600_hz(tmp_path, figures):
    path = tmp_path / "fast.toml"
    path.write_text(FAST)
    simulate(path, 1, HOUR_S)  # imports are no part of it
    ours_s, run = seconds(lambda: simulate(path, 1, HOUR_S))
    read_s, _ = seconds(lambda: collect(open_input(f"sim:{path}?pace=fast&seed=1"), HOUR_S))
    edges = [run.recording.edges[side].time_s.size for side in ("left", "right")]
    plain_s, _ = seconds(lambda: [plain_numpy(count) for count in edges])
    rate_hz = sum(edges) / 2 / HOUR_S
    print(
        f"\nan hour, two pickups at {rate_hz:.0f} Hz, GNSS at "
        f"{run.recording.speeds['gnss'].time_s.size / HOUR_S:.0f} Hz: {ours_s:.2f} s simulated "
        f"(under 5), {read_s:.2f} s read through the driver; {ours_s / plain_s:.1f} × plain numpy "
        f"for the same edges ({plain_s:.2f} s, at most 6)"
    )
    assert 590 < rate_hz < 620
    figures.at_most("an hour simulated", ours_s / plain_s, 6, "×", "plain numpy, the same edges")


def test_coverage_of_300_seeds(figures):
    print()
    held = total = 0
    for name, scenario in SCENARIOS.items():
        if scenario.speed_is == "off":
            continue  # the drive shaft turns as it should; only the laps tell
        machine = parse_machine(scenario.machine_text)
        hits = warned = silent = 0
        for seed in range(300):
            run = simulate(scenario, seed, 60.0)
            answer = compute(run.recording, machine, SpeedOptions("left"))
            edges_s = run.recording.edges["left"].time_s
            true_mps = run.truth.belt_speed_mps(*run.truth.true_s(edges_s[[0, -1]]))
            hit = abs(answer.belt_speed_mps - true_mps) <= answer.U_belt_speed_mps
            hits += hit
            warned += bool(answer.warnings)
            silent += not hit and not answer.warnings
        print(f"{name:18s} {scenario.speed_is:6s} held {hits:3d}, warned {warned:3d} of 300")
        if scenario.speed_is == "right":
            held, total = held + hits, total + 300
        assert scenario.speed_is != "warned" or silent <= 15, name
    print(f"held in {100 * held / total:.1f} % where it should (at least 93)")
    figures.at_least("simulated passes held", 100 * held / total, 93, "%")
