"""One contract for every driver: what can be opened without hardware is put through it.

A driver joins by a line in CASES: its name, and a function of the fixtures below that
gives its address and what makes data come (called once it is open).
"""

import functools
import inspect
import io
import itertools
import math
import operator
import types

import can
import numpy as np
import pytest
from scipy.io import wavfile

from drivers.catalogue import DRIVERS, open_input
from drivers.contract import (
    AddressError,
    DeviceLost,
    DeviceMissing,
    Driver,
    EdgeBlock,
    FileRefused,
    FrameBlock,
    InputError,
    Lost,
    SpeedBlock,
    ValueBlock,
)
from drivers.firmware import counter_core
from drivers.recording import assemble, read_for

pytestmark = pytest.mark.usefixtures("quick_slcan")

EDGE_TABLE = "time_s,channel,fall_s,amplitude_v\n" + "".join(
    f"{i / 100},{'left' if i % 2 else 'right'},{i / 100 + 0.004},1.5\n" for i in range(1, 200)
)
SPEED_TABLE = "time_s,source,speed_mps\n0,wheel,1.2\n0.1,gnss,\n0.2,wheel,1.3\n"
DUMP = (
    "(1700000000.0) can0 0CFE48F0#E8030000000001FD\n(1700000000.1) can0 0CF004F0#FFFFFF0018FFFFFF\n"
)
DBC = """VERSION ""
BU_: A
BO_ 2365475070 Wheel: 8 A
 SG_ speed : 0|16@1+ (0.001,0) [0|0] "m/s" A
"""


def sentence(body):
    return f"${body}*{functools.reduce(operator.xor, body.encode()):02X}\r\n".encode()


RMC = [sentence(f"GPRMC,1200{i:02}.00,A,3130.0,N,08330.0,W,2.5,90,101126,,,A") for i in range(9)]


def sound():
    """A second of a WAV in stereo, 100 teeth a second."""
    rate_hz = 8000
    wave = np.sin(2 * np.pi * 100 * np.arange(rate_hz) / rate_hz)
    file = io.BytesIO()
    wavfile.write(file, rate_hz, np.stack([20_000 * wave] * 2, axis=1).astype(np.int16))
    return file.getvalue()


def nothing():
    pass


def file_of(text):
    def case(tmp_path, **_):
        path = tmp_path / "recording"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return f"file:{path}", nothing

    return case


def counter(cable, **_):
    hello = counter_core.hello("bench", 1_000_000, 1, [("left", counter_core.PICKUP, 0)])
    rises = [[1000 * (5 * k + i) for i in range(5)] for k in range(4)]
    edges = [counter_core.edges(0, k, 5 * (k + 1), part) for k, part in enumerate(rises)]
    frames = b"\x00" + b"".join(map(counter_core.frame, [hello, *edges]))
    return f"counter:{cable.port}", lambda: cable.send(frames)


def printing_board(cable, **_):
    lines = "".join(f"left = {period_us}\r\n" for period_us in (0, 20_000, 20_100, 19_900))
    address = f"counter:{cable.port}?lines=left = {{left:each_period_us}}"
    return address, lambda: cable.send(lines.encode())


def gnss(cable, **_):
    return f"gnss:{cable.port}?baud=9600", lambda: cable.send(b"".join(RMC))


def can_bus(bus, **_):
    return "can:virtual:contract", lambda: send(bus, 0x0CFE48F0)


def slcan(cable, **_):
    return f"can:slcan:{cable.port}", lambda: cable.send(b"T0CFE48F08E803000000000000\r" * 3)


def dbc(bus, tmp_path, **_):
    (tmp_path / "speed.dbc").write_text(DBC)
    address = f"dbc:{tmp_path / 'speed.dbc'}@can:virtual:contract?wheel=Wheel.speed:speed"
    return address, lambda: send(bus, 0x0CFE48FE)


def send(bus, can_id):
    for speed in range(1000, 1005):
        data = speed.to_bytes(2, "little") + bytes(6)
        bus.send(can.Message(arbitration_id=can_id, data=data, is_extended_id=True))


CASES = {
    "file, edge table": file_of(EDGE_TABLE),
    "file, speed table": file_of(SPEED_TABLE),
    "file, CAN log": file_of(DUMP),
    "file, NMEA 0183": file_of(b"".join(RMC)),
    "file, sound": file_of(sound()),
    "sim, as fast as it is read": lambda **_: ("sim:healthy?pace=fast", nothing),
    "sim, by the clock": lambda **_: ("sim:healthy?seed=4", nothing),
    "counter": counter,
    "counter, printed lines": printing_board,
    "gnss": gnss,
    "can": can_bus,
    "can, slcan": slcan,
    "dbc": dbc,
}
BY_CLOCK = [name for name in CASES if name.startswith(("file", "sim"))]
"""Cases that wait by the clock handed in alone; a serial port waits in the system."""


class SteppingClock:
    """A clock that goes on by a tenth of a second each time it is looked at."""

    def __init__(self):
        self.now_s = 100.0

    def __call__(self):
        self.now_s += 0.1
        return self.now_s


@pytest.fixture
def bus():
    with can.Bus("contract", interface="virtual", ignore_config=True) as other_end:
        yield other_end


@pytest.fixture
def make(request, tmp_path):
    """Makes the named case's driver and what feeds it; closes what was left open."""
    made = []

    def make(name, clock=None):
        asked = inspect.signature(CASES[name]).parameters
        needs = [need for need in ("cable", "bus") if need in asked]
        fixtures = {need: request.getfixturevalue(need) for need in needs}
        address, feed = CASES[name](tmp_path=tmp_path, **fixtures)
        made.append(open_input(address, clock or SteppingClock()))
        return made[-1], feed

    yield make
    for driver in made:
        driver.close()


@pytest.fixture
def read_some(make):
    """What a driver hands out in its first reads."""

    def read(name):
        driver, feed = make(name)
        driver.open()
        feed()
        items = []
        for _ in range(20):
            if items:
                break
            items += driver.read(0.5)
        for _ in range(4):
            items += driver.read(0.03)
        return driver, items

    return read


every_case = pytest.mark.parametrize("name", CASES)


def test_every_scheme_of_the_catalogue_is_here():
    assert {name.split(",")[0] for name in CASES} == set(DRIVERS)


@every_case
def test_is_a_driver_before_and_after_it_is_open(make, name):
    driver, _ = make(name)
    assert isinstance(driver, Driver)
    assert driver.address.split(":")[0] == name.split(",")[0]
    assert driver.simulated is name.startswith("sim")
    assert not driver.ended
    driver.open()
    assert isinstance(driver.clock(), float)


@every_case
def test_open_read_and_close_in_any_order(make, name):
    driver, _ = make(name)
    driver.close()
    with pytest.raises(DeviceLost, match="not open"):
        driver.read(0.0)
    driver.open()
    driver.open()
    assert isinstance(driver.read(0.0), list)
    driver.close()
    driver.close()
    with pytest.raises(DeviceLost, match="not open"):
        driver.read(0.0)
    driver.open()
    assert isinstance(driver.read(0.0), list)


@every_case
def test_closes_at_the_end_of_with(make, name):
    driver, _ = make(name)
    with driver as opened:
        assert opened is driver
    with pytest.raises(DeviceLost):
        driver.read(0.0)


@pytest.mark.parametrize("name", BY_CLOCK)
def test_read_waits_by_the_clock_handed_in(make, name):
    clock = SteppingClock()
    driver, _ = make(name, clock)
    driver.open()
    for timeout_s in (0.0, 1.0, 2.0):
        begin_s = clock.now_s
        driver.read(timeout_s)
        assert clock.now_s - begin_s <= timeout_s + 0.5


@pytest.mark.parametrize("name", [name for name in CASES if name.startswith("file")])
def test_a_file_ends_and_stays_ended(make, name):
    driver, _ = make(name)
    driver.open()
    assert sum(len(driver.read(1.0)) for _ in range(20)) > 0
    assert driver.ended
    assert driver.read(1.0) == []


@every_case
def test_items_are_well_formed(read_some, name):
    _, items = read_some(name)
    assert items
    for item in items:
        CHECKS[type(item)](item)
    holes = {item.stream for item in items if isinstance(item, Lost)}
    edges = [item for item in items if isinstance(item, EdgeBlock)]
    for channel in {block.channel for block in edges}:
        blocks = [block for block in edges if block.channel == channel]
        assert (np.diff(np.concatenate([block.ticks for block in blocks])) >= 0).all()
        for before, after in itertools.pairwise(blocks):
            assert after.tick_s == before.tick_s
            assert after.host_s >= before.host_s
            if not holes & {"", channel}:
                assert after.sequence == before.sequence + 1
                assert after.count == before.count + after.ticks.size


@every_case
def test_items_make_a_recording(read_some, name):
    driver, items = read_some(name)
    recording = assemble(items, driver.notes, name=name, simulated=driver.simulated)
    assert recording.kind
    tracks = [*recording.edges.values(), *recording.speeds.values(), *recording.values.values()]
    assert tracks
    for track in tracks:
        assert (np.diff(track.time_s) >= 0).all()
    count = sum(i.ticks.size for i in items if isinstance(i, EdgeBlock))
    assert sum(track.time_s.size for track in recording.edges.values()) == count


@pytest.mark.parametrize("name", BY_CLOCK)
def test_reading_for_a_time_opens_reads_and_closes(make, name):
    driver, _ = make(name)
    read_for(driver, 5.0)
    with pytest.raises(DeviceLost):
        driver.read(0.0)


@pytest.mark.parametrize(
    ("address", "error", "words"),
    [
        ("", AddressError, "is no input address"),
        ("recording.csv", AddressError, "begins with one of can:, counter:, dbc:, file:"),
        ("radar:/dev/ttyS0", AddressError, "begins with one of"),
        ("file:", AddressError, "says nothing after 'file:'"),
        ("sim:", AddressError, "says nothing after 'sim:'"),
        ("sim:healthy?seed", AddressError, "found 'seed' after '?', expected key=value"),
        ("sim:healthy?seed=1&seed=2", AddressError, "'seed' is given twice"),
        ("sim:healthy?speed=3", AddressError, "no option 'speed'; known are seed, pace"),
        ("sim:no such", AddressError, "no such"),
        ("gnss:/dev/ttyNONE?bauds=9600", AddressError, "no option 'bauds'"),
        ("counter:/dev/ttyNONE?colour=red", AddressError, "no option 'colour'"),
        ("file:/no/such.csv", FileRefused, "there is no such file"),
        ("counter:/dev/ttyNONE", DeviceMissing, "/dev/ttyNONE"),
        ("gnss:/dev/ttyNONE", DeviceMissing, "/dev/ttyNONE"),
    ],
)
def test_what_cannot_be_opened_says_why(address, error, words):
    with pytest.raises(error) as caught:
        open_input(address).open()
    assert words in str(caught.value)
    assert isinstance(caught.value, InputError)


@pytest.fixture
def others(monkeypatch):
    """Installs drivers of other distributions: scheme -> 'module:Class'."""

    def install(**schemes):
        points = [types.SimpleNamespace(name=n, value=v) for n, v in schemes.items()]
        monkeypatch.setattr("drivers.catalogue.entry_points", lambda group: points)

    return install


def test_a_driver_of_another_distribution_is_added_and_replaces_none(others, tmp_path):
    others(radio="drivers.files.reading:FileDriver", file="no.such:Driver")
    assert open_input(f"radio:{tmp_path}").path == tmp_path
    assert open_input(f"file:{tmp_path}").path == tmp_path


@pytest.mark.parametrize("place", ["no.such.module:Driver", "drivers.files.reading:NoSuchDriver"])
def test_a_driver_that_cannot_be_loaded_says_so(others, place):
    others(radio=place)
    with pytest.raises(AddressError, match=f"{place} cannot be loaded"):
        open_input("radio:1")


def check_edges(block):
    assert block.channel
    assert block.ticks.dtype == np.int64
    assert block.ticks.ndim == 1
    assert (np.diff(block.ticks) >= 0).all()
    assert block.tick_s > 0
    assert math.isfinite(block.host_s)
    assert block.count >= 0
    if block.fall_ticks is not None:
        assert block.fall_ticks.dtype == np.int64
        assert block.fall_ticks.shape == block.ticks.shape
        seen = block.fall_ticks != 0
        assert (block.fall_ticks[seen] >= block.ticks[seen]).all()
    if block.peak_v is not None:
        assert block.peak_v.shape == block.ticks.shape


def check_numbers(block, values):
    assert block.source
    for array in (values, block.time_s, block.host_s):
        assert array.dtype == np.float64
        assert array.shape == values.shape
        assert array.ndim == 1
    assert np.isfinite(block.time_s).all()
    assert (np.diff(block.host_s) >= 0).all()
    assert not np.isinf(values).any()


def check_speeds(block):
    check_numbers(block, block.speed_mps)
    assert not (block.speed_mps < 0).any()
    if block.u_mps is not None:
        assert block.u_mps.shape == block.speed_mps.shape
        assert not (block.u_mps < 0).any()


def check_values(block):
    check_numbers(block, block.value)
    assert block.quantity


def check_frames(block):
    assert block.can_id.dtype == np.uint32
    assert block.can_id.shape == block.length.shape == block.time_s.shape == block.host_s.shape
    assert int(block.length.sum()) == len(block.data)


def check_lost(lost):
    assert lost.count is None or lost.count >= 0
    assert lost.from_s <= lost.to_s
    assert lost.reason


CHECKS = {
    EdgeBlock: check_edges,
    SpeedBlock: check_speeds,
    ValueBlock: check_values,
    FrameBlock: check_frames,
    Lost: check_lost,
}
