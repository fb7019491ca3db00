"""An oscilloscope's CSV in the manners of several makes, and those that are wrong.

The shapes are from memory: names and units in lines of their own, what the scope tells beside the
first samples, numbers of samples before the times, decimal commas.
"""

import numpy as np
import pytest

from drivers.contract import FileRefused
from drivers.files.reading import read_recording

STEP_S = 5e-5
START_S = -0.5
TOOTH_HZ = 100.0
TRUE_S = START_S + (np.arange(150) + 0.5) / TOOTH_HZ
"""Of 1.5 s."""


def times(count=30_000):
    return START_S + STEP_S * np.arange(count)


def volts(time_s, height_v=4.0):
    chance = np.random.default_rng(3)
    wave = height_v * np.sin(2 * np.pi * TOOTH_HZ * (time_s - START_S))
    return np.round(wave + 0.02 * chance.standard_normal(time_s.size), 3)


def rows(*columns, separator=",", form="{:.9g}", end="\n"):
    return "".join(
        separator.join(map(form.format, row)) + end for row in zip(*columns, strict=True)
    )


def plain():
    return rows(times(), volts(times()))


def units_below():
    text = "Time,Channel A,Channel B\n(ms),(mV),(V)\n\n"
    return text + rows(times() * 1e3, volts(times()) * 1e3, volts(times(), 2.0))


def beside():
    """What the scope tells stands before the first samples, line by line."""
    told = ["Record Length,30000,Points", "Sample Interval,5e-05,s", "Trigger Point,10000,Samples"]
    told += [",,"] * (times().size - 3)
    lines = rows(times(), volts(times()), end=",\n").splitlines()
    return "".join(f"{a},{b}\n" for a, b in zip(told, lines, strict=True))


def numbered():
    return "Index,Time(s),CH1(V)\n" + rows(np.arange(times().size), times(), volts(times()))


def commas():
    text = "Zeit;Kanal A\n(s);(V)\n" + rows(times(), volts(times()), separator=";").replace(
        ".", ","
    )
    return text.replace("\n", "\r\n")


def long_header():
    return "".join(f"Setting {k},on,{k}\n" for k in range(90)) + "time,CH2\ns,V\n" + plain()


MANNERS = {
    "no header": (plain, {"CH1": 4.0}),
    "units below": (units_below, {"Channel A": 4.0, "Channel B": 2.0}),
    "beside": (beside, {"CH1": 4.0}),
    "numbered": (numbered, {"CH1": 4.0}),
    "decimal commas": (commas, {"Kanal A": 4.0}),
    "a long header": (long_header, {"CH2": 4.0}),
}


def read(tmp_path, text):
    path = tmp_path / "scope.csv"
    path.write_text(text, encoding="utf-8")
    return read_recording(path)


@pytest.mark.parametrize("name", MANNERS)
def test_each_manner_gives_channels_in_volts_on_the_scope_s_own_time(tmp_path, name):
    make, heights_v = MANNERS[name]
    recording = read(tmp_path, make())
    assert "oscilloscope's table" in recording.kind
    assert list(recording.edges) == list(heights_v)
    for channel, height_v in heights_v.items():
        track = recording.edges[channel]
        # The recording's time begins with the file's first sample.
        assert track.time_s == pytest.approx(TRUE_S - START_S, abs=2e-5)
        assert abs((track.time_s - TRUE_S + START_S).mean()) < 1e-6
        assert track.amplitude_v[5:].mean() == pytest.approx(height_v, rel=0.02)


def test_times_of_few_digits_are_taken_for_what_they_mean(tmp_path):
    """Six digits after a second are half a step of 20 µs; the mean step is what counts."""
    time_s = 1.0 + 2e-5 * np.arange(60_000)
    wave = np.sin(2 * np.pi * TOOTH_HZ * (time_s - 1.0))
    text = rows([f"{t:.5e}" for t in time_s], [f"{v:.3f}" for v in wave], form="{}")
    track = read(tmp_path, text).edges["CH1"]
    rate_hz = (track.time_s.size - 1) / np.ptp(track.time_s)
    assert rate_hz == pytest.approx(TOOTH_HZ, rel=2e-5)
    assert track.time_s.size == 120


def damaged(line, by):
    lines = plain().splitlines(keepends=True)
    lines[line - 1] = by
    return "".join(lines)


@pytest.mark.parametrize(
    ("line", "by", "words"),
    [
        (20_000, "", "the time goes from"),
        (20_000, "0.9,1\n", "the time goes from"),
        (20_000, "nothing here\n", "'nothing here' is no row of numbers"),
        (20_000, "0.49995\n", "'0.49995' is no row of numbers"),
    ],
)
def test_a_wrong_line_is_named(tmp_path, line, by, words):
    with pytest.raises(FileRefused) as caught:
        read(tmp_path, damaged(line, by))
    assert words in str(caught.value)
    assert caught.value.where == f"line {line}"
    assert "expected a column of times that go up by one step" in str(caught.value)


@pytest.mark.parametrize(
    "text", ["1,2\n3,4\n", "1,2\n" * 500, "a,b\n" + "0.1,1\n0.2,2\n0.4,3\n" * 40]
)
def test_what_has_no_even_times_is_none(tmp_path, text):
    with pytest.raises(FileRefused, match="of no format known here"):
        read(tmp_path, text)


def test_a_scope_that_is_blind_gives_channels_without_edges(tmp_path):
    recording = read(tmp_path, rows(times(), 0 * times()))
    assert recording.edges["CH1"].time_s.size == 0


def test_a_level_beyond_the_scope_s_range_is_counted_and_left_out(tmp_path):
    recording = read(tmp_path, damaged(20_000, f"{times()[19_999]:.9g},inf\n"))
    assert recording.rejects == {"sample that is no level": 1}
    assert recording.edges["CH1"].time_s.size == 150
