"""Items to a recording: a track a stream, holes kept, nothing invented."""

import numpy as np
import pytest

from drivers.contract import BaseDriver, EdgeBlock, Lost, Notes, SpeedBlock, ValueBlock
from drivers.recording import assemble, read_for, speed_label


def edges(ticks, host_s, channel="left", tick_s=1e-6, **more):
    return EdgeBlock(channel, 0, np.array(ticks, np.int64), tick_s, host_s, 0, **more)


def speeds(speed_mps, time_s, host_s, source="rmc", u_mps=None):
    arrays = [np.array(a, float) for a in (speed_mps, time_s, host_s)]
    return SpeedBlock(source, *arrays, None if u_mps is None else np.array(u_mps, float))


def test_recording_begins_at_its_first_value():
    items = [
        edges([100_000_000, 100_500_000], 100.5),
        speeds([1.0, 2.0], [101.0, 102.0], [101.0, 102.0]),
        ValueBlock("rmc", "course_deg", np.array([90.0]), np.array([101.0]), np.array([101.0])),
        Lost("left", 3, 101.0, 101.5, "a frame was damaged"),
    ]
    recording = assemble(items)
    np.testing.assert_allclose(recording.edges["left"].time_s, [0, 0.5])
    np.testing.assert_allclose(recording.speeds["rmc"].time_s, [1.0, 2.0])
    np.testing.assert_allclose(recording.values["rmc", "course_deg"].time_s, [1.0])
    assert recording.lost == [Lost("left", 3, 1.0, 1.5, "a frame was damaged")]


def test_falls_and_peaks_where_they_were_seen():
    blocks = [
        edges([100, 200], 0.0002, fall_ticks=np.array([150, 0]), peak_v=np.array([1.5, np.nan])),
        edges([300], 0.0003),
    ]
    track = assemble(blocks, Notes(origin_s=0.0)).edges["left"]
    np.testing.assert_allclose(track.fall_s, [150e-6, np.nan, np.nan])
    np.testing.assert_allclose(track.amplitude_v, [1.5, np.nan, np.nan])


def test_uncertainty_that_is_not_known_is_no_number():
    items = [speeds([1.0], [0], [0], u_mps=[0.1]), speeds([2.0], [1], [1])]
    np.testing.assert_array_equal(assemble(items).speeds["rmc"].u_mps, [0.1, np.nan])


def test_channel_that_never_had_an_edge_is_there_and_empty():
    recording = assemble([edges([], 5.0), edges([], 6.0, channel="right"), edges([9], 7.0)])
    assert recording.edges["right"].time_s.size == 0
    assert recording.edges["left"].time_s.size == 1


def test_no_items_at_all():
    recording = assemble([], Notes(kind="edge table"), name="empty")
    assert (recording.name, recording.kind, recording.edges) == ("empty", "edge table", {})


def test_notes_end_in_the_recording_and_are_not_shared():
    notes = Notes(
        kind="log", messages={"frames": 2}, rejects={"cut off": 1}, warnings=["hm"], timed=False
    )
    recording = assemble([speeds([1.0], [0], [0])], notes, simulated=True)
    notes.messages["frames"] = 99
    assert recording.messages == {"frames": 2}
    assert (recording.rejects, recording.warnings) == ({"cut off": 1}, ["hm"])
    assert recording.simulated
    assert not recording.speeds["rmc"].timed


@pytest.mark.parametrize(
    ("source", "label"),
    [
        ("65096/240", "wheel-based speed (PGN 65096, sender 240)"),
        ("128259-water/35", "speed through water (PGN 128259, sender 35)"),
        ("rmc", "GNSS speed over ground, RMC sentence"),
        ("wheel", "wheel"),
        ("99999/1", "99999/1"),
    ],
)
def test_speed_sources_in_words(source, label):
    assert speed_label(source) == label


class Ticking(BaseDriver):
    """A driver whose every read takes half a second of its own clock."""

    def __init__(self):
        super().__init__("ticking:", lambda: self.now_s)
        self.now_s, self.reads, self.closed = 50.0, [], 0

    def _open(self):
        pass

    def _read_some(self, timeout_s):
        self.reads.append(timeout_s)
        self.now_s += timeout_s
        return [speeds([1.0], [self.now_s], [self.now_s])]

    def _close(self):
        self.closed += 1


def test_an_input_is_read_for_as_long_as_it_is_told():
    driver = Ticking()
    items = read_for(driver, 1.7)
    assert driver.reads == pytest.approx([0.5, 0.5, 0.5, 0.2])
    assert driver.closed == 1
    assert [float(item.time_s[0]) for item in items] == pytest.approx([50.5, 51.0, 51.5, 51.7])


def test_what_fails_is_closed():
    driver = Ticking()
    driver.read = lambda timeout_s: 1 / 0
    with pytest.raises(ZeroDivisionError):
        read_for(driver, 1.0)
    assert driver.closed == 1
