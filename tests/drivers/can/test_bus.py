"""`can:` and `dbc:` on python-can's virtual bus and on slcan over a pseudo-terminal.

Above all: nothing is ever sent.
"""

import ast
import json
import subprocess
import types
from pathlib import Path

import can
import numpy as np
import pytest

import drivers
from drivers.can.listen_only import SILENT, ListenOnlyBus
from drivers.catalogue import open_input
from drivers.contract import (
    AddressError,
    DeviceBusy,
    DeviceError,
    DeviceLost,
    DeviceMissing,
    FileRefused,
    FrameBlock,
    Lost,
    SpeedBlock,
    ValueBlock,
)

pytestmark = pytest.mark.usefixtures("quick_slcan")

# Identifiers and speeds of AgIsoStack++'s test/speed_distance_message_tests.cpp (open
# source): 65096 from sender 0x45 with 9876 mm/s, 65097 with 9999 mm/s.
WHEEL = (0x0CFE4845, bytes.fromhex("9426 00000000 0000"))
GROUND = (0x0CFE4945, bytes.fromhex("0F27 00000000 0000"))


def frame(can_id, data, extended=True):
    return can.Message(arbitration_id=can_id, data=data, is_extended_id=extended)


def slcan_line(can_id, data):
    return f"T{can_id:08X}{len(data)}{data.hex().upper()}\r".encode()


def speeds(items):
    return {i.source: i.speed_mps.tolist() for i in items if isinstance(i, SpeedBlock)}


def read_until(driver, wanted, tries=40):
    items = []
    for _ in range(tries):
        items += driver.read(0.1)
        if wanted(items):
            return items
    raise AssertionError("what was waited for did not come")


@pytest.fixture
def sender():
    """The other end of the virtual bus."""
    with can.Bus("bench", interface="virtual", ignore_config=True) as bus:
        yield bus


def test_speeds_and_raw_frames_from_the_virtual_bus(sender):
    with open_input("can:virtual:bench") as driver:
        sender.send(frame(*WHEEL))
        sender.send(frame(*GROUND))
        sender.send(frame(0x123, b"\x01\x02", extended=False))
        items = driver.read(1.0)
    assert speeds(items) == {"65096/69": [9.876], "65097/69": [9.999]}
    [block] = [i for i in items if isinstance(i, FrameBlock)]
    assert block.can_id.tolist() == [WHEEL[0] | 1 << 31, GROUND[0] | 1 << 31, 0x123]
    assert block.length.tolist() == [8, 8, 2]
    assert block.data == WHEEL[1] + GROUND[1] + b"\x01\x02"


def test_slcan_only_ever_says_its_silent_commands(cable):
    with open_input(f"can:slcan:{cable.port}?bitrate=250000") as driver:
        cable.send(slcan_line(*WHEEL) + slcan_line(*GROUND))
        items = read_until(driver, lambda items: len(speeds(items)) == 2)
    assert speeds(items) == {"65096/69": [9.876], "65097/69": [9.999]}
    # C closes, S5 sets 250 kbit/s, L opens listen-only; O would open to take part, t, T, r, R
    # send: the ASCII protocol of slcan adapters as python-can's source speaks it.
    said = cable.received().split(b"\r")
    assert set(said) == {b"C", b"S5", b"L", b""}
    assert said.index(b"L") > said.index(b"S5")


def test_damaged_slcan_lines_are_counted_and_survived(cable):
    with open_input(f"can:slcan:{cable.port}") as driver:
        cable.send(b"T0CFE48\rTxyz\r\xff\xfe\x80\r\a\rT0CFE48458zz\r" + slcan_line(*WHEEL))
        items = read_until(driver, speeds)
    assert speeds(items) == {"65096/69": [9.876]}
    lost = [i for i in items if isinstance(i, Lost)]
    assert sum(i.count for i in lost) == driver.rejects["damaged frame"] >= 2


def test_slcan_line_in_two_pieces(cable):
    line = slcan_line(*WHEEL)
    with open_input(f"can:slcan:{cable.port}") as driver:
        cable.send(line[:11])
        assert driver.read(0.02) == []
        cable.send(line[11:])
        assert speeds(read_until(driver, speeds)) == {"65096/69": [9.876]}


def test_slcan_pulled_and_plugged_in_again(cable):
    driver = open_input(f"can:slcan:{cable.port}")
    for _ in range(3):
        driver.open()
        cable.send(slcan_line(*WHEEL))
        read_until(driver, speeds)
        cable.pull()
        with pytest.raises(DeviceLost, match="went away"):
            read_until(driver, lambda items: False)
        with pytest.raises(DeviceMissing):
            driver.open()
        cable.plug()
    driver.close()


def test_slcan_port_that_another_program_holds(cable):
    with (
        open_input(f"counter:{cable.port}"),
        pytest.raises(DeviceBusy, match="Another program holds"),
    ):
        open_input(f"can:slcan:{cable.port}").open()
    assert cable.received() == b""


class Tattler:
    """A bus that tells of every call that would put something on the wire."""

    def __init__(self):
        self.sent = []
        self.messages = [frame(*WHEEL), None]
        self.closed = False

    def send(self, message, timeout=None):
        self.sent.append(message)

    send_periodic = send

    def flush_tx_buffer(self):
        self.sent.append(None)

    def recv(self, timeout=None):
        return self.messages.pop(0) if self.messages else None

    def shutdown(self):
        self.closed = True


def test_the_way_to_send_is_cut_off():
    bus = Tattler()
    quiet = ListenOnlyBus(bus, bus.shutdown)
    assert [name for name in dir(quiet) if not name.startswith("_")] == ["close", "recv"]
    for send in (bus.send, bus.send_periodic, bus.flush_tx_buffer):
        with pytest.raises(PermissionError, match="only listens"):
            send(frame(*WHEEL))
    assert quiet.recv().arbitration_id == WHEEL[0]
    quiet.close()
    assert bus.closed
    assert bus.sent == []


@pytest.mark.parametrize("interface", sorted(SILENT))
def test_a_whole_run_on_any_silent_interface_sends_nothing(interface, monkeypatch, cable):
    """Whatever the interface, what python-can is asked for is listen-only."""
    bus, asked = Tattler(), {}
    bus.permission_mask = 1
    bus.serialPortOrig = types.SimpleNamespace(close=lambda: None)

    def make(channel, **settings):
        asked.update(settings)
        return bus

    monkeypatch.setattr(can, "Bus", make)
    with open_input(f"can:{interface}:{cable.port}?bitrate=500000") as driver:
        assert speeds(driver.read(0.1)) == {"65096/69": [9.876]}
        driver.read(0.0)
    assert bus.sent == []
    assert bus.closed
    assert asked["bitrate"] == 500_000
    assert asked.items() >= SILENT[interface].items()
    # facts of python-can 4.6.1's sources, interface by interface
    silent = {
        "slcan": asked.get("listen_only") is True,
        "vector": asked.get("listen_only") is True,
        "nixnet": asked.get("listen_only") is True,
        "pcan": asked.get("state") is can.BusState.PASSIVE,
        "systec": asked.get("state") is can.BusState.PASSIVE,
        "kvaser": asked.get("driver_mode") is False,
        "seeedstudio": asked.get("operation_mode") == "silent",
    }
    assert silent[interface]


def test_no_source_of_the_drivers_calls_a_way_to_send():
    """`open_bus` alone makes a bus, and nowhere is a send or a bus's periodic task called."""
    forbidden = {"send", "send_periodic", "_send_periodic_internal", "flush_tx_buffer", "sendto"}
    makes_bus, writes = [], []
    for path in Path(drivers.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute):
                assert node.attr not in forbidden, f"{path.name}, line {node.lineno}"
                makes_bus += [path.name] * (node.attr in ("Bus", "ThreadSafeBus", "Notifier"))
                writes += [path.name] * (node.attr == "write")
    assert makes_bus == ["listen_only.py"]
    # The one write is the command that closes an slcan adapter; the board's own program
    # writes to its host.
    assert sorted(set(writes)) <= ["listen_only.py", "main.py"]
    assert writes.count("listen_only.py") == 1


@pytest.mark.parametrize("interface", ["gs_usb", "socketcand", "serial", "ixxat"])
def test_an_interface_that_cannot_be_silent_asks_first(interface):
    with pytest.raises(AddressError, match=r"cannot be made listen-only.*may_transmit=yes"):
        open_input(f"can:{interface}:0")
    driver = open_input(f"can:{interface}:0?may_transmit=yes")
    assert "by consent" in driver.notes.warnings[0]


@pytest.mark.parametrize(
    ("told", "says"),
    [
        ({"linkinfo": {"info_kind": "vcan"}}, None),
        ({"linkinfo": {"info_kind": "can", "info_data": {"ctrlmode": ["LISTEN-ONLY"]}}}, None),
        ({"linkinfo": {"info_kind": "can", "info_data": {}}}, "bitrate 250000 listen-only on"),
        ({}, "is not known to be listen-only"),
    ],
)
def test_socketcan_is_believed_only_when_the_system_says_listen_only(told, says, monkeypatch):
    def run(command, **_):
        assert command == ["ip", "-details", "-json", "link", "show", "dev", "can7"]
        return types.SimpleNamespace(stdout=json.dumps([told]))

    monkeypatch.setattr(subprocess, "run", run)
    monkeypatch.setattr(can, "Bus", lambda *_, **__: Tattler())
    driver = open_input("can:socketcan:can7")
    if says is None:
        driver.open()
        assert speeds(driver.read(0.1)) == {"65096/69": [9.876]}
        driver.close()
    else:
        with pytest.raises(DeviceError, match=says):
            driver.open()


def test_socketcan_that_is_not_there_or_cannot_be_asked(monkeypatch):
    def absent(*_, **__):
        raise subprocess.CalledProcessError(1, "ip")

    monkeypatch.setattr(subprocess, "run", absent)
    with pytest.raises(DeviceMissing, match="no CAN interface can7"):
        open_input("can:socketcan:can7").open()

    def no_tool(*_, **__):
        raise FileNotFoundError

    monkeypatch.setattr(subprocess, "run", no_tool)
    with pytest.raises(DeviceError, match="not known to be listen-only"):
        open_input("can:socketcan:can7").open()


@pytest.mark.parametrize("error", [TypeError("ord() of b''"), can.CanOperationError("short")])
def test_short_read_of_a_serial_interface_does_not_kill_the_reader(error, monkeypatch):
    """python-can 4.6.1's serial interface raises out of its reader when a read is short."""
    bus = Tattler()
    answers = [error, frame(*WHEEL)]

    def recv(timeout=None):
        answer = answers.pop(0) if answers else None
        if isinstance(answer, Exception):
            raise answer
        return answer

    bus.recv = recv
    monkeypatch.setattr(can, "Bus", lambda *_, **__: bus)
    with open_input("can:serial:/dev/x?may_transmit=yes") as driver:
        items = driver.read(0.1)
    assert speeds(items) == {"65096/69": [9.876]}
    assert [i.count for i in items if isinstance(i, Lost)] == [1]


def test_interface_that_fails_for_ever_is_lost_after_what_it_gave(monkeypatch):
    bus = Tattler()
    answers = [frame(*WHEEL)]

    def recv(timeout=None):
        if answers:
            return answers.pop()
        raise can.CanOperationError("hardware error")

    bus.recv = recv
    monkeypatch.setattr(can, "Bus", lambda *_, **__: bus)
    driver = open_input("can:kvaser:0")
    driver.open()
    assert speeds(driver.read(0.1)) == {"65096/69": [9.876]}
    with pytest.raises(DeviceLost, match="kvaser 0 went away"):
        read_until(driver, lambda items: False)
    assert bus.closed


@pytest.mark.parametrize(
    ("address", "says"),
    [
        ("can:can0", "expected can:INTERFACE:CHANNEL"),
        ("can:nosuch:0", "no CAN interface 'nosuch'; known are"),
        ("can:slcan:/dev/x?bitrate=33333", "bitrate is 33333, expected one of"),
        ("can:slcan:/dev/x?bitrate=fast", "expected one of 10000"),
        ("can:virtual:x?may_transmit=maybe", "expected yes or no"),
        ("can:virtual:x?speed=1", "no option 'speed'"),
    ],
)
def test_wrong_addresses(address, says):
    with pytest.raises(AddressError, match=says):
        open_input(address)


def test_maker_driver_that_is_not_installed_is_said():
    with pytest.raises(DeviceError, match="pcan"):
        open_input("can:pcan:PCAN_USBBUS1").open()


DBC = """VERSION ""
NS_ :
BS_:
BU_: ECU
BO_ 2566855422 Conveyor: 8 ECU
 SG_ BeltRate : 0|16@1+ (0.1,0) [0|6000] "Hz" ECU
 SG_ BeltCount : 16|16@1+ (1,0) [0|0] "" ECU
 SG_ Shaft : 32|16@1+ (0.125,0) [0|8031] "rpm" ECU
 SG_ Speed : 48|16@1+ (0.01,0) [0|100] "km/h" ECU
BO_ 291 Plain: 4 ECU
 SG_ Pulses : 0|16@1+ (1,0) [0|0] "" ECU
 SG_ Rate : 16|16@1- (1,0) [-5|1000] "" ECU
"""
CONVEYOR = 0x18FF1A00  # PGN 65306, as 0x98FF1AFE in the DBC


@pytest.fixture
def dbc(tmp_path):
    path = tmp_path / "mine.dbc"
    path.write_text(DBC)
    return path


def conveyor(rate, count, shaft, speed):
    return b"".join(int(value).to_bytes(2, "little") for value in (rate, count, shaft, speed))


def test_chosen_signals_beside_the_tractors_own_messages(dbc, sender):
    address = (
        f"dbc:{dbc}@can:virtual:bench?belt=Conveyor.BeltRate:hz&n=Conveyor.BeltCount:pulses"
        "&shaft=Conveyor.Shaft:1/min&v=Conveyor.Speed:speed&mph=Conveyor.Speed:mph"
    )
    with open_input(address) as driver:
        assert driver.address == address
        sender.send(frame(CONVEYOR | 0x21, conveyor(485, 7, 8 * 120, 432)))
        sender.send(frame(*WHEEL))
        items = driver.read(1.0)
    values = {(i.source, i.quantity): i.value.tolist() for i in items if isinstance(i, ValueBlock)}
    assert values["belt/33", "pulse_rate_hz"] == [48.5]
    assert values["n/33", "pulse_count"] == [7]
    assert values["shaft/33", "shaft_speed_hz"] == [2.0]
    by_source = speeds(items)
    np.testing.assert_allclose(by_source["v/33"], [4.32 / 3.6])
    np.testing.assert_allclose(by_source["mph/33"], [4.32 * 0.44704])
    assert by_source["65096/69"] == [9.876]


def test_dbc_value_that_is_none_is_no_value_never_a_number(dbc, sender):
    # SAE J1939-71: FFFF is 'not available', FExx an error; cantools knows nothing of it.
    with open_input(f"dbc:{dbc}@can:virtual:bench?v=Conveyor.Speed:km/h") as driver:
        for raw in (0xFFFF, 0xFE00, 0xFB00, 0xFAFF, 100):
            sender.send(frame(CONVEYOR, conveyor(0, 0, 0, raw)))
        [block] = [i for i in driver.read(1.0) if isinstance(i, SpeedBlock)]
    # 0xFAFF is a value to SAE J1939, and beyond the DBC's own range of 100 km/h.
    np.testing.assert_allclose(block.speed_mps, [np.nan] * 4 + [1 / 3.6])


def test_dbc_counts_overflow_and_restart(dbc, sender):
    with open_input(f"dbc:{dbc}@can:virtual:bench?n=Plain.Pulses:pulses") as driver:
        for count in (65_530, 65_535, 4, 3):
            sender.send(frame(291, count.to_bytes(2, "little") + b"\0\0", extended=False))
        items = driver.read(1.0)
    [block] = [i for i in items if isinstance(i, ValueBlock)]
    assert block.value.tolist() == [65_530, 65_535, 65_540, 65_540]
    assert block.source == "n"
    assert [i.reason for i in items if isinstance(i, Lost)] == [
        "its count went back: the sender restarted"
    ]


def test_dbc_short_frame_is_counted(dbc, sender):
    with open_input(f"dbc:{dbc}@can:virtual:bench?r=Plain.Rate:hz") as driver:
        sender.send(frame(291, b"\0\0", extended=False))
        sender.send(frame(291, b"\0\0\x0c\0", extended=False))
        sender.send(frame(291, b"\0\0\xe0\xff", extended=False))
        [block] = [i for i in driver.read(1.0) if isinstance(i, ValueBlock)]
        # −32 lies below the DBC's range.
        np.testing.assert_array_equal(block.value, [12, np.nan])
        assert driver.rejects == {"Plain without Rate": 1}


@pytest.mark.parametrize(
    ("rest", "says"),
    [
        ("@can:virtual:x", "chooses no signal; add NAME=.* Conveyor.BeltRate"),
        ("@can:virtual:x?belt=BeltRate", "expected NAME=Message.Signal:KIND"),
        ("@can:virtual:x?belt=None.X:hz", "no message 'None'; it has Conveyor"),
        ("@can:virtual:x?belt=Plain.X:hz", "no signal 'X'; it has Pulses, Rate"),
        ("@can:virtual:x?belt=Plain.Rate:furlongs", "no kind 'furlongs'; known are pulses, hz"),
        ("@can:virtual:x?belt=Plain.Rate:speed", "gives 'Rate' the unit ''; say which it is"),
        ("", "expected dbc:FILE.dbc@can:"),
    ],
)
def test_wrong_choices(dbc, rest, says):
    with pytest.raises(AddressError, match=says):
        open_input(f"dbc:{dbc}{rest}")


def test_wrong_dbc_files(tmp_path):
    wrong = tmp_path / "wrong.dbc"
    with pytest.raises(FileRefused, match="no such file"):
        open_input(f"dbc:{wrong}@can:virtual:x?a=B.C:hz")
    for content in (b"this is no DBC", b"\x00\xff" * 50, b""):
        wrong.write_bytes(content)
        with pytest.raises(FileRefused, match="expected a DBC file"):
            open_input(f"dbc:{wrong}@can:virtual:x?a=B.C:hz")
