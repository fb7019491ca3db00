"""The longest run table, outliers among its rows, against one of half as many."""

import random
from pathlib import Path

from timed import seconds

from workbench.cli import main
from workbench.records.store import open_store

DIGGER = Path(__file__).parents[1] / "golden" / "inputs" / "digger.toml"
MOST_RATIO = 8.0
"""A step of the third order and no more: a round for every outlier would be of the fourth."""


def _judged_in_s(folder, machine, rows: int) -> float:
    chance = random.Random(rows)
    lines = ["run,shown,laps,laps_time_s,pulses,pulses_time_s"]
    for i in range(rows):
        v, laps = chance.uniform(0.9, 1.5), 20
        time_s = laps * 9.84 / v
        shown = v / 0.44704 * (1.5 if i % 50 == 7 else 1.01)
        timed_s = time_s + chance.gauss(0, 0.1)
        pulses = round(laps * 9.84 / (0.381 / 24))
        lines.append(f"{i + 1},{shown:.1f},{laps},{timed_s:.2f},{pulses},{time_s:.2f}")
    table = folder / f"{rows}.csv"
    table.write_text("\n".join(lines))
    store = str(folder / "s.db")
    with open_store(store):
        pass  # a store that is named must be there
    words = ["calibrate", str(table), "--machine", str(machine), "--store", store]
    judged_s, status = seconds(lambda: main(words))
    assert status in (0, 1), "nothing was judged"
    return judged_s


def test_five_hundred_rows_cost_no_more_than_their_matrices(tmp_path, capsys, figures):
    few, many = (_judged_in_s(tmp_path, DIGGER, rows) for rows in (250, 500))
    with capsys.disabled():
        print(f"\n250 rows {few:.1f} s, 500 rows {many:.1f} s, ratio {many / few:.1f}")
    figures.at_most("500 runs judged", many / few, MOST_RATIO, "×", "250 runs")
