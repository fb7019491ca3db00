"""What judging passes costs: a long one, one that is driven, a season's worth, and the causes."""

import json
import os
import time
from collections import Counter
from pathlib import Path

from timed import seconds

from drivers.catalogue import open_input
from drivers.contract import EdgeBlock, SpeedBlock
from sim.run import simulate
from workbench.base.machine import parse_machine
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.cli import main
from workbench.jobs.passes.answer import PassOptions
from workbench.jobs.passes.compute import compute
from workbench.match.live import LiveMatch
from workbench.match.ratio import PaceLimits
from workbench.records.rebuild import collect
from workbench.records.store import open_store

VARIANTS = Path(__file__).parents[1] / "workbench" / "match" / "variants"
BUILT_IN = (
    *("healthy", "hall-pickup", "roll-drive", "valve-off", "valve-too-fast", "cold-oil"),
    *("engine-droop", "slipping-belt", "mud-on-roll", "bumped-valve", "fixed-belt"),
    *("wheel-slip", "wrong-setting", "wrong-tooth-count", "low-speed-dropout", "gap-too-wide"),
    *("gnss-dropouts", "noisy-wiring", "missing-tooth", "bent-tooth", "worn-tooth"),
)

SEEDS = range(1000, 1040)


def record(store, address, for_s):
    """A simulated pass in the store; its number."""
    driver = open_input(address)
    machine = parse_machine(driver.machine_text)
    driver.open()
    writer = store.begin_recording(
        address, started_host_s=driver.clock(), simulated=True, machine=machine
    )
    while driver.clock() < for_s - 1e-6:
        items = driver.read(min(60.0, for_s - driver.clock()))
        writer.write([(address, item) for item in items], driver.notes)
    writer.end(driver.notes)
    driver.close()
    return writer.number


def test_a_pass_of_eight_hours_against_its_loading(tmp_path, figures):
    with open_store(str(tmp_path / "bench.db")) as store:
        number = record(store, "sim:healthy?pace=fast&seed=1", 8 * 3600.0)
        machine = parse_machine(store.recording(number).machine_text)
        load_s, recording = seconds(lambda: store.load_recording(number))
    compute(recording, machine, PassOptions())
    judge_s, answer = seconds(lambda: compute(recording, machine, PassOptions()))
    edges = sum(track.time_s.size for track in recording.edges.values())
    print(
        f"\n8 h, {edges} edges: {load_s:.2f} s loaded, {judge_s:.2f} s judged "
        f"({answer.verdict}); ratio {judge_s / load_s:.2f} (at most 3)"
    )
    figures.at_most("8 h judged", judge_s / load_s, 3, "×", "loading them as a journal")


def test_a_pass_of_ten_minutes_is_judged_at_once(figures):
    for scenario in ("healthy", "bumped-valve"):
        driver = open_input(f"sim:{scenario}?pace=fast&seed=1")
        machine = parse_machine(driver.machine_text)
        recording = collect(driver, 600.0)
        compute(recording, machine, PassOptions())
        judge_s, _ = seconds(lambda of=(recording, machine): compute(*of, PassOptions()))
        figures.at_most(f"10 min judged, {scenario}", judge_s, 0.5, "s")


def test_the_live_engine_at_ten_updates_a_second(figures):
    driver = open_input("sim:healthy?pace=fast&seed=1")
    machine = parse_machine(driver.machine_text)
    live = LiveMatch(
        PaceLimits(0.95, 1.05),
        teeth=machine.drive.target_teeth,
        metre_per_pulse_m=metres_per_pulse(machine).value_m,
    )
    for_s, spent_s = 600.0, 0.0
    driver.open()
    while driver.clock() < for_s - 1e-6:
        items = driver.read(0.1)
        begin_s = time.process_time()
        for item in items:
            if isinstance(item, EdgeBlock) and item.channel == "left":
                live.add_edges(item.ticks, item.tick_s, item.host_s)
            elif isinstance(item, SpeedBlock) and item.source == "gnss":
                live.add_ground(item.time_s, item.speed_mps, float(item.host_s[-1]), item.u_mps)
        live.snapshot(driver.clock())
        spent_s += time.process_time() - begin_s
    driver.close()
    print(
        f"\n{for_s:.0f} s driven, ten updates a second: {spent_s:.2f} s of processor time, "
        f"{100 * spent_s / for_s:.2f} % of one core (under 2)"
    )
    figures.at_most("live engine", 100 * spent_s / for_s, 2, "% of a core")


def test_five_hundred_passes_with_one_worker_and_with_two(tmp_path, capsys, figures):
    address = str(tmp_path / "season.db")
    with open_store(address) as store:
        for number in range(500):
            recording = record(store, f"sim:healthy?pace=fast&seed={number}", 60.0)
            store.add_result("pass", "{}", "{}", recording=recording)
    took_s, spent_s = {}, {}
    for workers in (1, 2):
        begin_s, children = time.monotonic(), os.times()
        assert main(["pass", "--all", "--store", address, "--workers", str(workers), "--json"]) == 0
        took_s[workers] = time.monotonic() - begin_s
        spent = zip(os.times()[2:4], children[2:4], strict=True)
        spent_s[workers] = sum(after - before for after, before in spent)
        answer = json.loads(capsys.readouterr().out)
        assert len(answer["passes"]) == 500
        assert answer["warnings"] == []
    with capsys.disabled():
        print(
            f"\n500 stored passes of 60 s judged again: {took_s[1]:.0f} s with one worker, "
            f"{took_s[2]:.0f} s with two; ratio {took_s[1] / took_s[2]:.2f} (at least 1.6)"
        )
    # A fifth of what the first version of the fit took.
    figures.at_most("500 passes, one worker", spent_s[1], 344 / 5, "s of processor time")
    figures.at_least("500 passes, two workers", took_s[1] / took_s[2], 1.6, "×", "one worker")


def share_of_true_causes(scenarios):
    """(first, within the first two) of all, and a line a scenario."""
    first, two, total = 0, 0, 0
    for scenario in scenarios:
        hits, others = [0, 0], Counter()
        for seed in SEEDS:
            run = simulate(scenario, seed, 60.0)
            answer = compute(run.recording, parse_machine(run.machine_text), PassOptions())
            named = [one.cause for one in answer.causes] or ["nothing"]
            hits[0] += named[0] == run.truth.cause
            hits[1] += run.truth.cause in named[:2]
            if named[0] != run.truth.cause:
                others[named[0]] += 1
        name = Path(scenario).stem
        print(f"{name:24} {run.truth.cause:20} {hits[0]:3} {hits[1]:3} of {len(SEEDS)} {others}")
        first, two, total = first + hits[0], two + hits[1], total + len(SEEDS)
        assert hits[0] >= 0.9 * len(SEEDS), name
        assert hits[1] >= 0.975 * len(SEEDS), name
    return first / total, two / total


def test_the_true_cause_comes_first(figures):
    """Each row: scenario, its truth, times first, times within two, and what came before it."""
    print()
    for scenarios in (BUILT_IN, sorted(VARIANTS.glob("*.toml"))):
        first, two = share_of_true_causes(scenarios)
        print(f"first {100 * first:.1f} % (at least 90), in two {100 * two:.1f} % (at least 98)")
        figures.at_least("cause is the first named", 100 * first, 90, "%")
        figures.at_least("cause is in the first two", 100 * two, 98, "%")
