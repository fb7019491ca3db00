"""What kind of signal a channel carries: as its driver says, else as its name tells."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drivers.catalogue import open_input
from drivers.contract import (
    ChannelKind,
    EdgeBlock,
    EdgeTrack,
    Notes,
    SpeedBlock,
    SpeedTrack,
    ValueBlock,
)
from drivers.counter.driver import CounterStream
from drivers.files.reading import read_recording
from drivers.firmware import counter_core as core
from drivers.kinds import pulse_kind, speed_kind, value_kind
from drivers.recording import assemble, read_for

TIMES = np.array([1.0, 2.0])


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("left", ChannelKind.BELT),
        ("belt", ChannelKind.BELT),
        ("", ChannelKind.BELT),
        ("lap", ChannelKind.LAP_MARK),
        ("lap@2", ChannelKind.LAP_MARK),
        ("Lap_Mark", ChannelKind.LAP_MARK),
        ("overlap", ChannelKind.BELT),
        ("mark", ChannelKind.INDEX_MARK),
        ("left index", ChannelKind.INDEX_MARK),
        ("radar2", ChannelKind.RADAR),
        ("rear wheel", ChannelKind.WHEEL),
        ("target wheel", ChannelKind.BELT),
    ],
)
def test_a_pulse_channel_is_told_by_the_words_of_its_name(name, kind):
    assert pulse_kind(name) is kind


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("65096/240", ChannelKind.WHEEL),
        ("65097/240", ChannelKind.RADAR),
        ("129026/25", ChannelKind.SATELLITE),
        ("128259-water/35", ChannelKind.WATER),
        ("128259-ground/35", ChannelKind.SATELLITE),
        ("61474/240", ChannelKind.SELECTED),
        ("nav-pvt", ChannelKind.SATELLITE),
        ("belt/240", ChannelKind.BELT),
        ("readout", ChannelKind.READOUT),
        ("something", ChannelKind.UNKNOWN),
    ],
)
def test_a_speed_is_told_by_the_message_it_comes_from(name, kind):
    """Message names after ISO 11783-7 and NMEA 2000 (facts of the readers)."""
    assert speed_kind(name) is kind


def test_another_value_is_told_by_its_quantity():
    assert value_kind("left", "pulse_rate_hz") is ChannelKind.BELT
    assert value_kind("radar", "pulse_count") is ChannelKind.RADAR
    assert value_kind("any", "readout_shown") is ChannelKind.READOUT
    assert value_kind("left", "oil_temperature_c") is ChannelKind.UNKNOWN


def test_what_a_driver_says_goes_before_the_name():
    said = EdgeBlock("lap", 0, np.array([1]), 1e-6, 0.0, 1, kind=ChannelKind.BELT)
    assert said.kind is ChannelKind.BELT
    assert replace(said, channel="radar").kind is ChannelKind.BELT
    assert EdgeBlock("lap", 0, np.array([1]), 1e-6, 0.0, 1).kind is ChannelKind.LAP_MARK
    other = SpeedBlock("radar", TIMES, TIMES, TIMES, kind=ChannelKind.OTHER)
    assert other.kind is ChannelKind.OTHER
    assert EdgeTrack("index", TIMES).kind is ChannelKind.INDEX_MARK
    assert SpeedTrack("rmc", "", TIMES, TIMES, TIMES).kind is ChannelKind.SATELLITE


def test_a_counter_board_says_what_its_channels_are():
    channels = [("a", core.PICKUP, 0), ("left", core.LAP_MARK, 0), ("b", 3, 0), ("lap", 9, 0)]
    stream = CounterStream(Notes())
    stream.feed(b"\x00" + core.frame(core.hello("bench", 1_000_000, 1, channels)), 1.0)
    kinds = {
        "a": ChannelKind.BELT,
        "left": ChannelKind.LAP_MARK,
        "b": ChannelKind.INDEX_MARK,
        "lap": ChannelKind.OTHER,
    }
    assert stream.channels == kinds
    items = []
    for number in range(len(channels)):
        items += stream.feed(core.frame(core.edges(number, 0, 1, [1000])), 2.0)
    assert {item.channel: item.kind for item in items} == kinds
    assert {name: track.kind for name, track in assemble(items).edges.items()} == kinds


def test_tracks_of_every_sort_keep_their_blocks_kind():
    items = [
        SpeedBlock("x", TIMES, TIMES, TIMES, kind=ChannelKind.RADAR),
        ValueBlock("y", "speed", TIMES, TIMES, TIMES, ChannelKind.READOUT),
    ]
    whole = assemble(items)
    assert whole.speeds["x"].kind is ChannelKind.RADAR
    assert whole.values["y", "speed"].kind is ChannelKind.READOUT


def test_an_edge_table_has_names_alone(tmp_path):
    path = tmp_path / "edges.csv"
    path.write_text("time_s,channel\n1,radar\n2,shaft\n3,lap\n")
    kinds = {name: track.kind for name, track in read_recording(path).edges.items()}
    assert kinds == {
        "radar": ChannelKind.RADAR,
        "shaft": ChannelKind.BELT,
        "lap": ChannelKind.LAP_MARK,
    }


def test_the_simulator_says_what_its_channels_are():
    found = assemble(read_for(open_input("sim:healthy?pace=fast"), 10.0))
    kinds = {name: track.kind for name, track in (found.edges | found.speeds).items()}
    assert kinds == {
        "left": ChannelKind.BELT,
        "right": ChannelKind.BELT,
        "lap": ChannelKind.LAP_MARK,
        "wheel": ChannelKind.WHEEL,
        "radar": ChannelKind.RADAR,
        "gnss": ChannelKind.SATELLITE,
    }
    assert found.values["readout", "readout_shown"].kind is ChannelKind.READOUT
