"""An edge table of a long day read, beside a reader of tables in C++ that checks nothing."""

import numpy as np
from timed import best_s

from drivers.files.reading import read_recording

EDGES, RATE_HZ = 4_000_000, 600


def test_an_edge_table_against_pyarrow(tmp_path, figures):
    from pyarrow.csv import read_csv

    rng = np.random.default_rng(1)
    time_s = np.cumsum(rng.normal(1 / RATE_HZ, 20e-6, EDGES))
    path = tmp_path / "edges.csv"
    with path.open("w") as file:
        file.write("time_s,channel\n")
        for some in np.array_split(time_s, 20):
            file.write("".join([f"{at:.6f},left\n" for at in some.tolist()]))
    theirs_s = best_s(lambda: read_csv(path), 4)
    ours_s = best_s(lambda: read_recording(path), 4)
    theirs = np.rint(read_csv(path)["time_s"].to_numpy() / 1e-9) * 1e-9
    assert np.array_equal(read_recording(path).edges["left"].time_s, theirs)
    print(
        f"\n{EDGES / 1e6:.0f} million edges, {path.stat().st_size / 1e6:.0f} MB: {ours_s:.2f} s, "
        f"pyarrow {theirs_s:.2f} s of processor time"
    )
    figures.at_most("an edge table read", ours_s / theirs_s, 3, "×", "pyarrow's reader")
