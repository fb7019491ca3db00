"""`gnss:` on a pseudo-terminal: the rate is found, damage is said, the plug may be pulled."""

import functools
import operator
import os

import numpy as np
import pytest
from pyubx2 import GET, UBXMessage

from drivers.catalogue import open_input
from drivers.contract import DeviceLost, Lost, SpeedBlock
from drivers.gnss.driver import DWELL_S, SEARCH_BAUDS, BaudSearch
from drivers.serial_port import SerialPort

termios = pytest.importorskip("termios", reason="pseudo-terminals are only on Linux and macOS")


def sentence(body):
    return f"${body}*{functools.reduce(operator.xor, body.encode()):02X}\r\n".encode()


def rmc(second, knots):
    return sentence(f"GPRMC,1200{second:02d}.00,A,3130.00,N,08330.00,W,{knots},90.0,101125,,,A")


def speeds(items, source="rmc"):
    return [
        float(v)
        for i in items
        if isinstance(i, SpeedBlock) and i.source == source
        for v in i.speed_mps
    ]


def read_until(driver, wanted, tries=40):
    items = []
    for _ in range(tries):
        items += driver.read(0.2)
        if wanted(items):
            return items
    raise AssertionError("what was waited for did not come")


def test_speeds_over_ground(cable):
    # 1 kn = 1852/3600 m/s exactly (the international nautical mile).
    with open_input(f"gnss:{cable.port}?baud=9600") as driver:
        cable.send(rmc(1, 2.5) + rmc(2, 2.6))
        items = read_until(driver, lambda items: len(speeds(items)) == 2)
    np.testing.assert_allclose(speeds(items), [2.5 * 1852 / 3600, 2.6 * 1852 / 3600])
    assert cable.received() == b""


def test_ubx_too(cable):
    message = UBXMessage("NAV", "NAV-PVT", GET, fixType=3, gnssFixOk=1, gSpeed=1234, sAcc=50)
    with open_input(f"gnss:{cable.port}") as driver:
        cable.send(message.serialize())
        items = read_until(driver, lambda items: speeds(items, "nav-pvt"))
    assert speeds(items, "nav-pvt") == [1.234]


def test_rate_is_found_on_a_line_that_needs_it(cable):
    """The device speaks 115200; at any other rate only garbage arrives."""
    rates = {getattr(termios, f"B{rate}"): rate for rate in SEARCH_BAUDS}
    tried = []
    with open_input(f"gnss:{cable.port}") as driver:
        for second in range(60):
            # On a pseudo-terminal both ends see the rate that the driver set.
            rate = rates[termios.tcgetattr(cable.master)[4]]
            tried.append(rate)
            cable.send(rmc(second, 2.5) if rate == 115200 else os.urandom(300))
            if items := driver.read(0.1):
                break
        assert speeds(items)
        assert driver.notes.kind == "GNSS receiver at 115200 baud"
    assert list(dict.fromkeys(tried)) == [9600, 38400, 115200]


def test_search_loses_nothing_of_the_burst_that_decides():
    search = BaudSearch([9600, 4800], 0.0)
    wire = rmc(1, 2.5) + rmc(2, 2.6)
    assert search.feed(wire[:30], 0.1) == b""
    assert search.feed(wire[30:], 0.2) == wire


def test_search_moves_on_from_silence_and_from_garbage_and_comes_round():
    search = BaudSearch([9600, 4800], 0.0)
    search.feed(b"", DWELL_S - 0.1)
    assert search.baud == 9600
    search.feed(b"", DWELL_S + 0.1)
    assert search.baud == 4800
    search.feed(b"\x80" * 300, DWELL_S + 0.2)
    assert (search.baud, search.found) == (9600, False)


def test_receiver_that_changes_its_rate_is_searched_for_again(cable):
    now_s = [0.0]
    driver = open_input(f"gnss:{cable.port}", clock=lambda: now_s[0])
    driver.open()
    cable.send(rmc(1, 2.5))
    driver.read(0.0) or driver.read(0.0)
    assert driver.notes.kind == "GNSS receiver at 9600 baud"
    for _ in range(8):
        now_s[0] += 1.0
        cable.send(b"\x80" * 300)
        driver.read(0.0)
    assert termios.tcgetattr(cable.master)[4] != termios.B9600
    driver.close()


def test_damaged_sentence_is_lost_aloud(cable):
    with open_input(f"gnss:{cable.port}?baud=4800") as driver:
        cable.send(rmc(1, 2.5) + rmc(2, 2.6).replace(b"2.6", b"2.7") + rmc(3, 2.5))
        items = read_until(driver, lambda items: len(speeds(items)) == 2)
    [lost] = [item for item in items if isinstance(item, Lost)]
    assert (lost.count, lost.reason) == (1, "damaged sentences")
    assert driver.rejects["bad checksum"] == 1


def test_pulled_and_plugged_in_again(cable):
    driver = open_input(f"gnss:{cable.port}")
    for second in range(3):
        driver.open()
        cable.send(rmc(second, 2.5))
        read_until(driver, speeds)
        cable.pull()
        with pytest.raises(DeviceLost, match="went away"):
            read_until(driver, lambda items: False)
        cable.plug()
    driver.close()


def test_set_baud_on_a_port_that_went_away(cable):
    port = SerialPort(cable.port, 9600)
    port.open()
    cable.pull()
    with pytest.raises(DeviceLost):
        port.set_baud(4800)
    port.close()


def test_something_else_on_the_port_is_told_once(cable):
    now_s = [0.0]
    with open_input(f"gnss:{cable.port}", clock=lambda: now_s[0]) as driver:
        for _ in range(30):
            cable.send(b"hello\r\n")
            driver.read(0.0)
            now_s[0] += 1.0
        [warning] = driver.notes.warnings
    assert "is a sentence or frame of a GNSS receiver; the list of inputs says" in warning
