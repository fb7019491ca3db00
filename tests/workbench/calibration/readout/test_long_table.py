"""A table of many runs: its outliers, and memory that does not grow with it."""

from pathlib import Path

import numpy as np

from workbench.base.machine import load_machine
from workbench.base.statements import statement
from workbench.calibration.readout.runs import Run
from workbench.calibration.readout.steady_runs import calibrate_runs
from workbench.calibration.readout.true_speed import InputSays
from workbench.calibration.statistics.budget import DRAWS, Line, Part, monte_carlo

DIGGER = Path(__file__).parents[3] / "golden" / "inputs" / "digger.toml"


def test_of_many_runs_those_that_were_made_wrong_are_left_out_and_no_other():
    machine = load_machine(DIGGER)
    rng = np.random.default_rng(3)
    length, unit_mps, step = machine.belt.lap_length_m, 0.44704, machine.readout.step
    wrong = {20, 60, 61, 100, 140}
    runs = []
    for i, v in enumerate(rng.uniform(0.9, 1.5, 150)):
        shown = step * round(v / unit_mps / step) * (1.5 if i in wrong else 1.0)
        laps_time_s = 20 * length / v + rng.normal(0, 0.1)
        runs.append(Run(str(i), i + 2, shown, 20.0, laps_time_s))
    answer = calibrate_runs(runs, machine)
    assert {int(run.run) for run in answer.runs if not run.used} == wrong


def test_draws_are_held_in_pieces_and_give_the_spread_of_the_sum():
    """The variance of a sum of independent inputs is the sum of theirs (GUM, eq. (10))."""
    what = statement(InputSays.LAP_LENGTH)
    lines = [Line(what, 0.0, 1.0, source=what, group=Part.LAP_LENGTH) for _ in range(900)]
    widths = []

    def total(x):
        widths.append(x.shape[1])
        return x.sum(axis=0)

    outputs = monte_carlo(total, lines)
    assert sum(widths) == outputs.size == DRAWS
    assert max(widths) * len(lines) <= 8_000_000
    assert abs(outputs.std() / 30 - 1) < 0.03
