"""The same run over the wire, through the real parsers, ports and buses."""

import sys
from pathlib import Path

import can
import numpy as np
import pytest

from drivers.can.bus import CanDriver
from drivers.contract import Notes
from drivers.counter.driver import CounterDriver, CounterStream
from drivers.gnss.sentences import GnssDecoder
from drivers.recording import assemble
from sim.streams import stream
from sim.terminal import PseudoTerminal, main, speak
from sim.wire import Wire, rmc, vtg

SCENARIO, SEED = "gap-too-wide", 5


def heard(wire, slots, feed):
    """Items that a parser makes of a number of slots."""
    return [item for slot in (wire.slot() for _ in range(slots)) for item in feed(slot)]


def test_the_counter_s_bytes_hold_every_edge(run):
    wire, notes = Wire(SCENARIO, SEED), Notes()
    parser = CounterStream(notes)
    parser.connected()
    # 65 s: over the end of a segment
    items = heard(wire, 1300, lambda slot: parser.feed(slot.counter, slot.to_s))
    found = assemble(items, notes)
    expected = run(SCENARIO, SEED, 60.0).recording
    assert found.rejects == {}
    assert found.lost == []
    for name, track in expected.edges.items():
        ours = found.edges[name]
        n = track.time_s.size
        np.testing.assert_allclose(np.diff(ours.time_s[:n]), np.diff(track.time_s), atol=1e-9)
        duty = ours.fall_s[:n] - ours.time_s[:n]
        np.testing.assert_allclose(duty, track.fall_s - track.time_s, atol=1e-9)
        if track.amplitude_v is not None:
            np.testing.assert_allclose(ours.amplitude_v[:n], track.amplitude_v, atol=0.00051)


def test_the_counter_wraps_within_a_run():
    # A 32-bit microsecond count wraps each 71 minutes: take a seed that does so in its first.
    def first_tick(seed):
        rng = stream(seed, "clock")
        rng.standard_normal()
        return int(rng.integers(0, 2**32))

    seed = next(seed for seed in range(1000) if first_tick(seed) > 2**32 - 50e6)
    wire, notes = Wire("healthy", seed), Notes()
    parser = CounterStream(notes)
    parser.connected()
    items = heard(wire, 1250, lambda slot: parser.feed(slot.counter, slot.to_s))
    left = assemble(items, notes).edges["left"].time_s
    assert left[-1] - left[0] > 60
    assert np.diff(left).max() < 0.02


def test_nmea_through_the_receiver_s_parser(run):
    wire, notes = Wire("gnss-dropouts", 2), Notes()
    decoder = GnssDecoder(notes)
    items = heard(wire, 1200, lambda slot: decoder.feed(slot.nmea, slot.to_s))
    found = assemble(items, notes)
    expected = run("gnss-dropouts", 2, 60.0).recording
    gnss = expected.speeds["gnss"]
    assert notes.rejects == {}
    for source, step in (("rmc", 0.001 * 1852 / 3600), ("vtg", 0.001 / 3.6)):
        speed = found.speeds[source].speed_mps
        np.testing.assert_allclose(speed, gnss.speed_mps, atol=0.51 * step)
        assert np.isnan(speed).any()
    for quantity in ("latitude_deg", "longitude_deg"):
        theirs = expected.values["gnss", quantity].value
        np.testing.assert_allclose(found.values["rmc", quantity].value, theirs, atol=1e-7)


@pytest.mark.parametrize(
    ("sentence", "speed_mps"),
    [
        (rmc(45296.5, 1.2, -31.5, 150.0), 1.2),
        (rmc(45296.5, float("nan"), 31.5, -84.0), float("nan")),
        (vtg(2.0), 2.0),
    ],
)
def test_sentences_alone(sentence, speed_mps):
    (block,) = [i for i in GnssDecoder(Notes()).feed(sentence, 0.0) if hasattr(i, "speed_mps")]
    np.testing.assert_allclose(block.speed_mps, [speed_mps], atol=3e-4)


def test_frames_on_a_virtual_bus(run):
    wire, channel = Wire(SCENARIO, SEED), "a simulated tractor"
    now, items = [0.0], []
    driver = CanDriver(f"virtual:{channel}", {}, lambda: now[0])
    with can.Bus(interface="virtual", channel=channel) as tractor, driver:
        for _ in range(1200):
            slot = wire.slot()
            now[0] = slot.to_s
            for identifier, data in slot.can:
                tractor.send(can.Message(arbitration_id=identifier, data=data))
            items += driver.read(0.0)
    found = assemble(items, driver.notes)
    expected = run(SCENARIO, SEED, 60.0).recording
    for source, name, step in (
        ("65096/240", "wheel", 0.001),
        ("65097/240", "radar", 0.001),
        ("129026/25", "gnss", 0.01),
    ):
        ours, theirs = found.speeds[source].speed_mps, expected.speeds[name].speed_mps
        np.testing.assert_allclose(ours, theirs, atol=0.501 * step)
    engine = found.values["61444/240", "engine_speed_hz"].value
    theirs = expected.values["engine", "engine_speed_hz"].value
    np.testing.assert_allclose(engine, theirs, atol=1e-9)
    oil = found.values["65128/240", "oil_temperature_c"].value
    np.testing.assert_array_equal(oil, expected.values["oil", "oil_temperature_c"].value)
    distance = found.values["65097/240", "distance_m"].value[-1]
    travelled = run(SCENARIO, SEED, 60.0).truth.ground_m(60.0)
    assert distance == pytest.approx(travelled, rel=0.02)  # the radar's scale is 1 % out


def test_identifiers_are_those_of_the_standard():
    # AgIsoStack++, test/speed_distance_message_tests.cpp: 0x0CFE4845 is wheel-based speed
    # from sender 0x45, 0x0CFE4945 ground-based; ours comes from sender 0xF0.
    identifiers = {
        identifier for identifier, _ in heard(Wire("healthy"), 40, lambda slot: slot.can)
    }
    assert {0x0CFE48F0, 0x0CFE49F0} <= identifiers


needs_terminals = pytest.mark.skipif(sys.platform == "win32", reason="only on Linux and macOS")


@needs_terminals
def test_a_pseudo_terminal_is_opened_like_a_port(run):
    now = [0.0]
    with PseudoTerminal() as terminal:
        driver = CounterDriver(terminal.port, {}, lambda: now[0])
        items = []
        with driver:

            def counter(data):
                terminal.send(data)
                items.extend(driver.read(0.0))

            def sleep(seconds):
                now[0] += seconds

            speak(Wire(SCENARIO, SEED), counter, lambda _: None, 20.0, lambda: now[0], sleep)
    found = assemble(items, driver.notes)
    expected = run(SCENARIO, SEED, 60.0).recording.edges["left"].time_s
    ours = found.edges["left"].time_s
    assert found.lost == []
    assert ours.size == pytest.approx(np.count_nonzero(expected < 20.0), abs=25)  # in one batch
    np.testing.assert_allclose(np.diff(ours), np.diff(expected[: ours.size]), atol=1e-9)


@needs_terminals
def test_what_nobody_reads_is_dropped():
    with PseudoTerminal() as terminal:
        terminal.send(bytes(1_000_000))
        assert Path(terminal.port).exists()


@pytest.mark.parametrize(
    ("words", "told"),
    [(["helthy"], "did you mean 'sim:healthy'"), (["healthy", "--seed", "x"], "whole number")],
)
def test_a_wrong_call_is_told(monkeypatch, capsys, words, told):
    monkeypatch.setattr(sys, "argv", ["sim.terminal", *words])
    assert main() == 2
    assert told in capsys.readouterr().err
