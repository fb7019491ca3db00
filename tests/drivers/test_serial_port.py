"""A port that cannot be used says why, and what would mend it."""

import errno
import os
import re
import threading
import types
from contextlib import suppress

import pytest
import serial

from drivers.contract import (
    AddressError,
    DeviceBusy,
    DeviceDenied,
    DeviceError,
    DeviceLost,
    DeviceMissing,
)
from drivers.serial_port import SerialPort, permission_advice

grp = pytest.importorskip("grp", reason="groups own ports only on Linux and macOS")
pwd = pytest.importorskip("pwd", reason="groups own ports only on Linux and macOS")


def opening_raises(monkeypatch, error):
    def refuse(*_, **__):
        raise error

    monkeypatch.setattr(serial, "Serial", refuse)
    with pytest.raises((DeviceError, AddressError)) as caught:
        SerialPort("/dev/ttyX9", 12345).open()
    return caught.value


@pytest.mark.parametrize(
    ("error", "kind", "says"),
    [
        (serial.SerialException(errno.ENOENT, "no"), DeviceMissing, "There is no port /dev/ttyX9"),
        (serial.SerialException(errno.EACCES, "no"), DeviceDenied, "This user may not open"),
        (serial.SerialException(errno.EBUSY, "no"), DeviceBusy, "Another program holds"),
        (serial.SerialException(errno.EAGAIN, "lock"), DeviceBusy, "Another program holds"),
        (serial.SerialException(errno.EIO, "no"), DeviceMissing, "no device behind it"),
        (serial.SerialException(errno.ENOTTY, "odd"), DeviceError, "cannot be opened"),
        (ValueError("Invalid baud rate"), AddressError, "cannot do 12345 baud; usual rates are"),
        # As pyserial puts it on Windows, where the number does not survive.
        (
            serial.SerialException("could not open port 'COM9': FileNotFoundError(2, 'x')"),
            DeviceMissing,
            "There is no port",
        ),
        (
            serial.SerialException("could not open port 'COM9': PermissionError(13, 'x')"),
            DeviceBusy,
            "Another program holds",
        ),
    ],
)
def test_each_refusal_is_a_sentence_of_its_kind(monkeypatch, error, kind, says):
    refused = opening_raises(monkeypatch, error)
    assert isinstance(refused, kind)
    assert says in str(refused)


@pytest.mark.parametrize(
    ("mode", "members", "says"),
    [
        (0o660, [], r"group 'radio': run 'sudo usermod -aG radio \w+', then log out and in again"),
        (0o660, None, "is in the group 'radio'; log out and in again"),
        (0o600, [], "group 'radio' may not open it either; install packaging/70-evenpace.rules"),
    ],
)
def test_which_group_or_rule_would_give_permission(monkeypatch, tmp_path, mode, members, says):
    port = tmp_path / "tty"
    port.touch(mode)
    port.chmod(mode)
    me = pwd.getpwuid(os.getuid()).pw_name
    group = types.SimpleNamespace(gr_name="radio", gr_mem=[me] if members is None else members)
    monkeypatch.setattr(grp, "getgrgid", lambda _: group)
    advice = permission_advice(str(port))
    assert re.search(says, advice)


def test_closing_from_another_thread_ends_a_read_at_once(cable):
    port = SerialPort(cable.port, 9600)
    port.open()
    reads = threading.Event()

    def read():
        with suppress(DeviceLost):
            while True:
                port.read(30.0)
                reads.set()

    reader = threading.Thread(target=read)
    reader.start()
    cable.send(b"x")
    assert reads.wait(10.0)  # and is about to read again
    port.close()
    reader.join(timeout=10.0)
    assert not reader.is_alive()
    port.close()
    with pytest.raises(DeviceLost, match="is not open"):
        port.read(0.1)


def test_read_waits_for_data_and_takes_all_of_it(cable):
    port = SerialPort(cable.port, 9600)
    port.open()
    assert port.read(0.0) == b""
    cable.send(b"x" * 3000)
    got = b""
    while len(got) < 3000:
        got += port.read(1.0)
    assert got == b"x" * 3000
    port.close()
