"""What the driver tests share: a pseudo-terminal that stands for a device and its cable."""

import os

import pytest


class Cable:
    """A pseudo-terminal: `port` is what a driver opens, `send` what the device says."""

    def __init__(self, link):
        self._link = link
        self.master = None
        self.port = str(link)

    def plug(self):
        """The device is there, under the same name as before."""
        tty = pytest.importorskip("tty", reason="pseudo-terminals are only on Linux and macOS")
        self.master, slave = os.openpty()
        tty.setraw(slave)
        os.set_blocking(self.master, False)
        self._link.unlink(missing_ok=True)
        self._link.symlink_to(os.ttyname(slave))
        os.close(slave)
        return self

    def send(self, data):
        while data:
            data = data[os.write(self.master, data) :]

    def received(self):
        """What was written to the device."""
        try:
            return os.read(self.master, 65536)
        except (BlockingIOError, OSError):
            return b""

    def pull(self):
        """The device goes, name and all."""
        if self.master is not None:
            os.close(self.master)
            self.master = None
            self._link.unlink()


@pytest.fixture
def make_cable(tmp_path):
    """Makes plugged-in cables, and pulls what is left of them at the end."""
    cables = []

    def make(name="ttyTEST"):
        cables.append(Cable(tmp_path / name).plug())
        return cables[-1]

    yield make
    for cable in cables:
        cable.pull()


@pytest.fixture
def cable(make_cable):
    return make_cable()
