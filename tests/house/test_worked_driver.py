"""The worked driver of DEVELOPERS.md works as it stands on the page."""

from __future__ import annotations

import os
import re
import sys

import numpy as np
import pytest

from drivers import catalogue
from drivers.contract import AddressError, DeviceMissing
from workbench.records.rebuild import collect


@pytest.fixture
def radar(root, tmp_path, monkeypatch):
    """Lays the page's driver where Python finds it, and its scheme into the catalogue."""
    page = (root / "DEVELOPERS.md").read_text(encoding="utf-8")
    code = re.search(r"^```python\n(.*?)^```$", page, re.MULTILINE | re.DOTALL)[1]
    (tmp_path / "radar_box.py").write_text(code, encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.setitem(catalogue.DRIVERS, "radar", "radar_box:RadarBox")
    yield
    sys.modules.pop("radar_box", None)


def test_it_reads_values_gaps_and_nonsense(radar):
    tty = pytest.importorskip("tty", reason="pseudo-terminals are only on Linux and macOS")
    master, slave = os.openpty()
    tty.setraw(slave)
    ticks = iter(np.arange(0, 1000, 0.25))
    with catalogue.open_input(f"radar:{os.ttyname(slave)}", lambda: next(ticks)) as driver:
        os.write(master, b"99\r\n125\r\n---\r\n1x5\r\n130\r\n")
        recording = collect(driver, 2.0)
    os.close(master)
    os.close(slave)
    track = recording.speeds["radar"]
    np.testing.assert_array_equal(track.speed_mps, [1.25, np.nan, np.nan, 1.30])
    assert track.u_mps[0] == pytest.approx(0.00289, abs=1e-5)  # 0.01 m/s over √12
    assert recording.rejects == {"no number": 1}


def test_it_refuses_as_every_driver_does(radar):
    with pytest.raises(AddressError, match="baud"):
        catalogue.open_input("radar:/dev/ttyUSB0?boud=9600")
    with pytest.raises(DeviceMissing), catalogue.open_input("radar:/dev/not-there") as driver:
        driver.read(0.1)
