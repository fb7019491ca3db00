"""What is plugged in is told by listening: which device, which rate, which address."""

import functools
import itertools
import operator
import os
import types

import can
import pytest
from serial.tools import list_ports

from drivers import plugged
from drivers.catalogue import open_input
from drivers.firmware import counter_core as core
from drivers.plugged import Found, can_channels, hear_can, hear_ports, serial_ports

termios = pytest.importorskip("termios", reason="pseudo-terminals are only on Linux and macOS")


def ticking(step_s=0.05):
    """A clock on which each look takes a twentieth of a second."""
    return functools.partial(next, itertools.count(0.0, step_s))


def nmea(body="GPVTG,90.0,T,,M,2.5,N,4.6,K,A"):
    return f"${body}*{functools.reduce(operator.xor, body.encode()):02X}\r\n".encode()


@pytest.fixture
def found_when(monkeypatch, cable):
    """What is found where the device says `speak(rate)` each time that it is listened to."""

    def found(speak):
        real = plugged.SerialPort.read

        def read(port, timeout_s):
            # On a pseudo-terminal both ends see the rate that the listener set.
            cable.send(speak(termios.tcgetattr(cable.master)[4]))
            return real(port, timeout_s)

        monkeypatch.setattr(plugged.SerialPort, "read", read)
        [found] = hear_ports([Found(cable.port, "test port")], ticking())
        assert cable.received() == b""
        assert found.what == "test port"
        return found

    return found


def test_silence(found_when, cable):
    found = found_when(lambda rate: b"")
    assert (found.looks_like, found.address, found.problem) == ("silent", "", "")


def test_counter(found_when, cable):
    channels = [("left", core.PICKUP, 0), ("lap", core.LAP_MARK, 0)]
    hello = core.frame(core.hello("bench counter", 1000, 1, channels))
    found = found_when(lambda rate: b"\x00" + hello)
    assert found.looks_like == "counter 'bench counter', 2 channels: left (belt), lap (lap mark)"
    assert found.address == f"counter:{cable.port}"


def test_counter_of_a_newer_protocol(found_when):
    hello = bytearray(core.hello("b", 1000, 1, []))
    hello[1] = 7
    found = found_when(lambda rate: b"\x00" + core.frame(bytes(hello)))
    assert "version 7" in found.problem


@pytest.mark.parametrize("baud", [115200, 9600, 4800])
def test_nmea_at_its_rate(found_when, cable, baud):
    right = getattr(termios, f"B{baud}")
    found = found_when(lambda rate: nmea() if rate == right else os.urandom(60))
    assert found.looks_like == f"looks like NMEA at {baud} baud"
    assert found.address == f"gnss:{cable.port}?baud={baud}"


def test_simple_board(found_when, cable):
    found = found_when(lambda rate: b"48.2\r\n" if rate == termios.B9600 else b"\x81\x00\xfe" * 9)
    assert found.looks_like.startswith("prints numbers at 9600 baud, such as '48.2'")
    assert found.address == f"counter:{cable.port}?lines=hz&baud=9600"


def test_simple_board_with_words_around_the_number(found_when, cable):
    found = found_when(lambda rate: b"belt = 48.2 Hz\r\n")
    assert found.address == f"counter:{cable.port}?lines=belt = {{hz}} Hz&baud=115200"
    with open_input(found.address) as driver:
        items = driver.read(1.0) + driver.read(1.0)
    assert {item.value[0] for item in items} == {48.2}


def test_slcan_adapter_that_was_left_open(found_when, cable):
    found = found_when(lambda rate: b"T0CFE484580102030405060708\r")
    assert found.looks_like == "looks like an slcan CAN adapter"
    assert found.address == f"can:slcan:{cable.port}"


def test_unknown_speech(found_when):
    found = found_when(lambda rate: b"Booting...\r\nhello world\r\n")
    assert (found.looks_like, found.address) == ("speaks, and nothing that is known here", "")


def test_several_ports_are_heard_at_once_and_problems_are_told(make_cable, tmp_path):
    first, second = make_cable("ttyA"), make_cable("ttyB")
    ports = [Found(first.port, "a"), Found(str(tmp_path / "gone"), "b"), Found(second.port, "c")]
    found = hear_ports(ports, ticking())
    assert [f.name for f in found] == [p.name for p in ports]
    assert [f.looks_like for f in found] == ["silent", "", "silent"]
    assert "There is no port" in found[1].problem


def test_port_that_is_pulled_while_it_is_listened_to(monkeypatch, cable):
    real = plugged.SerialPort.read

    def read(port, timeout_s):
        cable.pull()
        return real(port, timeout_s)

    monkeypatch.setattr(plugged.SerialPort, "read", read)
    [found] = hear_ports([Found(cable.port, "x")], ticking())
    assert "went away" in found.problem


def test_serial_ports_with_their_usb_names(monkeypatch):
    usb = types.SimpleNamespace(
        device="/dev/ttyACM0",
        product="Board in FS mode",
        manufacturer=None,
        description="?",
        vid=0x1209,
        pid=1,
        hwid="USB VID:PID",
    )
    unreal = types.SimpleNamespace(device="/dev/ttyS3", vid=None, hwid="n/a")
    monkeypatch.setattr(list_ports, "comports", lambda: [usb, unreal])
    assert serial_ports() == [Found("/dev/ttyACM0", "Board in FS mode (USB 1209:0001)")]


def test_can_channels(monkeypatch):
    asked = []

    def detect(interfaces, timeout):
        asked.extend(interfaces)
        return [{"interface": "socketcan", "channel": "can0"}]

    monkeypatch.setattr(can, "detect_available_configs", detect)
    assert can_channels() == [Found("socketcan:can0", "CAN channel")]
    assert "pcan" in asked
    assert not {"virtual", "serial"} & set(asked)


def test_can_detection_that_fails_is_told(monkeypatch):
    def detect(interfaces, timeout):
        raise RuntimeError("vendor library")

    monkeypatch.setattr(can, "detect_available_configs", detect)
    [found] = can_channels()
    assert found.problem == "vendor library"


def test_can_channel_by_its_sound():
    with can.Bus("bench", interface="virtual", ignore_config=True) as bus:
        data = bytes.fromhex("9426 00000000 0000")
        clock = ticking(0.2)

        def send_then_tell():
            bus.send(can.Message(arbitration_id=0x0CFE4845, data=data))
            return clock()

        [found] = hear_can([Found("virtual:bench", "CAN channel")], send_then_tell)
    assert found.address == "can:virtual:bench"
    assert "65096 wheel-based speed and distance" in found.looks_like


def test_can_channel_that_may_not_be_opened():
    [found] = hear_can([Found("gs_usb:0", "CAN channel")], ticking())
    assert "cannot be made listen-only" in found.problem
