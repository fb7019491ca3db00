"""Edge and speed tables as people and programs write them."""

import csv
import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drivers import source_file
from drivers.contract import FileRefused
from drivers.files import tables
from drivers.files.reading import read_recording


@pytest.fixture
def table(tmp_path):
    def read(text):
        path = tmp_path / "table.csv"
        path.write_bytes(text.encode() if isinstance(text, str) else text)
        return read_recording(path)

    return read


def test_edges_with_falls_and_amplitudes(table):
    recording = table(
        "time_s,channel,fall_s,amplitude_v\n"
        "0.5,left,0.51,2.25\n0.6,right,,\n0.75,left,,1.5\n1.0,left,1.02,\n"
    )
    left, right = recording.edges["left"], recording.edges["right"]
    np.testing.assert_allclose(left.time_s, [0.5, 0.75, 1.0], rtol=1e-15)
    np.testing.assert_allclose(left.fall_s, [0.51, np.nan, 1.02], rtol=1e-15)
    np.testing.assert_array_equal(left.amplitude_v, [2.25, 1.5, np.nan])
    assert np.isnan(right.fall_s).all()
    assert recording.kind == "edge table"
    assert recording.messages == {"edges of left": 3, "edges of right": 1}


def test_speeds_with_no_value_and_uncertainty(table):
    recording = table(
        "time_s,source,speed_mps,u_mps\n0,wheel,1.25,0.01\n0,gnss,,0.2\n0.1,wheel,1.5,\n0.2,wheel,1.5,0\n1,gnss,1.3,0.2\n"
    )
    wheel, gnss = recording.speeds["wheel"], recording.speeds["gnss"]
    np.testing.assert_array_equal(wheel.speed_mps, [1.25, 1.5, 1.5])
    np.testing.assert_array_equal(gnss.speed_mps, [np.nan, 1.3])
    # Where nothing is given, the two decimals written: 0.01/sqrt(12), rectangular (GUM F.2.2.1).
    np.testing.assert_allclose(wheel.u_mps, [0.01, *[0.01 / math.sqrt(12)] * 2])
    np.testing.assert_array_equal(gnss.u_mps, [np.nan, 0.2])


@pytest.mark.parametrize(
    "text",
    [
        "\ufefftime_s,source,speed_mps\n0,wheel,1.5\n1,wheel,2\n",
        "time_s,source,speed_mps\r\n0,wheel,1.5\r\n1,wheel,2\r\n",
        "time_s,source,speed_mps\r0,wheel,1.5\r1,wheel,2",
        "\n\ntime_s,source,speed_mps\n\n0,wheel,1.5\n\n1,wheel,2\n\n",
        '"time_s","source","speed_mps"\n0,"wheel",1.5\n1,"wheel","2"\n',
        " time_s , source , speed_mps \n 0 , wheel , 1.5 \n1, wheel,2\n",
        "speed_mps,time_s,source\n1.5,0,wheel\n2,1,wheel\n",
        "time_s,source,speed_mps\n0e0,wheel,+1.5\n1.,wheel,.2e1\n",
    ],
    ids=["BOM", "CRLF", "CR", "blank lines", "quotes", "spaces", "other order", "other numbers"],
)
def test_the_same_table_in_other_dress(table, text):
    track = table(text).speeds["wheel"]
    np.testing.assert_array_equal(track.time_s, [0, 1])
    np.testing.assert_array_equal(track.speed_mps, [1.5, 2])


def test_columns_that_are_not_known_are_named(table):
    recording = table("time_s,channel,note,operator\n1,left,warm,\n")
    assert recording.warnings == ["Columns that are not used: note, operator."]


def test_names_beyond_ascii_and_with_commas(table):
    recording = table('time_s,channel\n1,Förderband\n2,"left, front"\n')
    assert list(recording.edges) == ["Förderband", "left, front"]


def test_each_source_has_its_own_order(table):
    stacked = table("time_s,source,speed_mps\n0,wheel,1\n1,wheel,1\n0,gnss,1\n1,gnss,1\n")
    np.testing.assert_array_equal(stacked.speeds["gnss"].time_s, [0, 1])


def test_edges_at_one_time_stay(table):
    assert table("time_s,channel\n1,left\n1,left\n").edges["left"].time_s.size == 2


def test_times_since_1970_and_before_the_start(table):
    epoch = table("time_s,channel\n1700000000.25,left\n1700000000.5,left\n")
    np.testing.assert_allclose(np.diff(epoch.edges["left"].time_s), 0.25)
    early = table("time_s,channel\n-1.5,left\n0,left\n")
    np.testing.assert_array_equal(early.edges["left"].time_s, [-1.5, 0])


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    rows=st.lists(
        st.tuples(
            st.integers(0, 10**9),
            st.sampled_from(["left", "right", "ä", 'a "b", c']),
            st.none() | st.floats(0, 100).map(lambda value: round(value, 6)),
        ),
        min_size=1,
        max_size=30,
    ),
    chunk=st.integers(40, 200),
)
def test_a_table_comes_back_as_written_however_it_is_cut(tmp_path, monkeypatch, rows, chunk):
    monkeypatch.setattr(source_file, "CHUNK_BYTES", chunk)
    rows = sorted(rows, key=lambda row: row[0])
    path = tmp_path / "speeds.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["time_s", "source", "speed_mps"])
        writer.writerows((f"{at / 1000}", source, speed) for at, source, speed in rows)
    speeds = read_recording(path).speeds
    assert sum(track.speed_mps.size for track in speeds.values()) == len(rows)
    for source, track in speeds.items():
        mine = [(at, speed) for at, name, speed in rows if name == source]
        np.testing.assert_array_equal(track.time_s, [at / 1000 for at, _ in mine])
        expected = [np.nan if speed is None else speed for _, speed in mine]
        np.testing.assert_array_equal(track.speed_mps, expected)


def test_line_numbers_hold_across_chunks(tmp_path, monkeypatch):
    monkeypatch.setattr(source_file, "CHUNK_BYTES", 64)
    path = tmp_path / "edges.csv"
    path.write_text("time_s,channel\n" + "".join(f"{i},left\n" for i in range(500)) + "x,left\n")
    with pytest.raises(FileRefused, match="line 502: 'x' in column 'time_s'"):
        read_recording(path)


def test_more_edges_than_fit_in_memory(tmp_path, monkeypatch):
    monkeypatch.setattr(tables, "MOST_EDGES", 1000)
    path = tmp_path / "edges.csv"
    path.write_text("time_s,channel\n" + "".join(f"{i},left\n" for i in range(1001)))
    with pytest.raises(FileRefused, match="more than 1000 edges; expected a shorter recording"):
        read_recording(path)
