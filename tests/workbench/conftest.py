"""A store in a folder of its own, drivers that follow a script, and no thread left behind."""

from __future__ import annotations

import itertools
import os
import re
import shutil
import signal
import subprocess
import tempfile
import threading
from collections.abc import Callable
from contextlib import contextmanager, suppress
from dataclasses import MISSING, dataclass, field, fields, is_dataclass
from pathlib import Path
from typing import get_origin, get_type_hints

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import lfilter

from drivers.contract import BaseDriver, EdgeBlock, Lost
from workbench.calibration.readout.calibrate import Calibration, EndError
from workbench.calibration.readout.runs import RunResult
from workbench.calibration.statistics.decision import Verdict
from workbench.records.store import open_store

try:
    import pwd
except ImportError:  # Windows knows no users of that kind, and no root
    pwd = None

_DATABASES = itertools.count(1)


class ScriptedDriver(BaseDriver):
    """Plays a script, a step a read: a list of items, an exception, or a function to call.

    Its clock is its own and moves a step a read. `openings` are exceptions for the calls
    of `open` in turn, None where it succeeds.
    """

    def __init__(self, script, *, address="fake:1", openings=(), step_s=0.01):
        self.now_s = 100.0
        super().__init__(address, lambda: self.now_s)
        self.script = list(script)
        self.openings = list(openings)
        self.step_s = step_s
        self.opened = 0
        self.closed = 0

    def _open(self):
        error = self.openings.pop(0) if self.openings else None
        if error is not None:
            raise error
        self.opened += 1

    def _read_some(self, timeout_s):
        self.now_s += self.step_s
        if not self.script:
            self.ended = True
            return []
        step = self.script.pop(0)
        if isinstance(step, BaseException):
            raise step
        return step() if callable(step) else step

    def _close(self):
        self.closed += 1


@pytest.fixture
def scripted():
    return ScriptedDriver


@pytest.fixture
def edge_blocks():
    """Makes successive blocks of one channel: 50 edges each, a device clock of 1 µs."""

    def make(count, channel="left", first=0, seed=1):
        rng = np.random.default_rng(seed)
        ticks = np.cumsum(rng.integers(900, 1100, (first + count) * 50)).reshape(-1, 50)
        return [
            EdgeBlock(channel, i, ticks[i], 1e-6, 100.0 + float(ticks[i, -1]) * 1e-6, 50 * (i + 1))
            for i in range(first, first + count)
        ]

    return make


@pytest.fixture
def same_items():
    """Tells whether two lists of items are the same bit for bit, with the first difference."""

    def check(found, expected):
        assert len(found) == len(expected)
        for one, other in zip(found, expected, strict=True):
            assert type(one) is type(other)
            if isinstance(one, Lost):
                assert one == other
                continue
            for name in one.__slots__:
                a, b = getattr(one, name), getattr(other, name)
                if isinstance(b, np.ndarray):
                    assert a.dtype == b.dtype, name
                    assert a.tobytes() == b.tobytes(), name
                else:
                    assert a == b, name
                    assert type(a) is type(b), name

    return check


@pytest.fixture
def store(tmp_path):
    with open_store(str(tmp_path / "bench.db")) as opened:
        yield opened


@pytest.fixture
def no_thread_left():
    """Fails a test that leaves a thread alive."""
    before = set(threading.enumerate())
    yield
    left = [thread for thread in set(threading.enumerate()) - before if thread.is_alive()]
    for thread in left:
        thread.join(2.0)
    assert [thread.name for thread in left if thread.is_alive()] == []


@pytest.fixture
def until():
    """Waits for what another thread does."""

    def wait(holds):
        pause = threading.Event()
        for _ in range(20_000):
            if holds():
                return
            pause.wait(0.001)
        pytest.fail("it did not come to that")

    return wait


def postgresql_programs():
    """The folder of initdb and pg_ctl: on the path, or where Debian keeps them."""
    found = shutil.which("initdb")
    if found:
        return Path(found).parent
    folders = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return folders[-1].parent if folders else None


def _stats():
    """Of every process: its number, its name without a blank in it, its state, its parent …"""
    for path in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            yield re.sub(r"\(.*\)", "name", path.read_text())


class Server:
    """A private PostgreSQL cluster that can be stopped and frozen; `address` leads to it."""

    def __init__(self, folder):
        self._programs, self._folder = postgresql_programs(), folder
        self.address = f"postgresql://bench@/postgres?host={folder}&connect_timeout=2"
        self._as_user = {}
        if os.geteuid() == 0:  # PostgreSQL refuses to run as root
            names = {entry.pw_name for entry in pwd.getpwall()}
            name = "postgres" if "postgres" in names else "nobody"
            self._as_user = {"user": name, "group": pwd.getpwnam(name).pw_gid, "extra_groups": []}
            shutil.chown(folder, name)
        self._call("initdb", "-A", "trust", "-U", "bench", "--no-sync", "-E", "UTF8")

    def _call(self, program, *words):
        words = [self._programs / program, "-D", self._folder / "data", *words]
        done = subprocess.run(
            words, capture_output=True, text=True, cwd=self._folder, **self._as_user
        )
        assert done.returncode == 0, done.stdout + done.stderr

    def start(self):
        options = f"-k {self._folder} -c listen_addresses= -c fsync=off"
        self._call("pg_ctl", "-o", options, "-l", self._folder / "log", "-w", "start")

    def stop(self, mode="fast"):
        """'fast' ends every connection politely; 'immediate' is a crash."""
        self._call("pg_ctl", "-m", mode, "-w", "stop")

    @contextmanager
    def frozen(self):
        """Nothing of the server moves, but whatever connects to it finds its sockets."""
        first = int((self._folder / "data" / "postmaster.pid").read_text().split()[0])
        os.kill(first, signal.SIGSTOP)  # which makes no other process from now on
        made = [int(stat.split()[0]) for stat in _stats() if int(stat.split()[3]) == first]
        for process in made:
            os.kill(process, signal.SIGSTOP)
        try:
            yield
        finally:
            for process in (*made, first):
                with suppress(ProcessLookupError):
                    os.kill(process, signal.SIGCONT)


@contextmanager
def private_server():
    """A server in a folder of its own, started, and gone afterwards."""
    # A socket's path may have 107 bytes, so the folder is not pytest's long one.
    folder = Path(tempfile.mkdtemp(prefix="evp", dir="/tmp"))
    try:
        made = Server(folder)
        made.start()
        try:
            yield made
        finally:
            made.stop("immediate")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def server():
    """A private PostgreSQL cluster, made for this run and stopped after it."""
    if postgresql_programs() is None:
        pytest.skip("PostgreSQL's initdb is not installed")
    with private_server() as made:
        yield made


@pytest.fixture
def new_database(server):
    """The address of a fresh database in the private cluster."""
    import psycopg

    name = f"bench_{next(_DATABASES)}"
    with psycopg.connect(server.address, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    return server.address.replace("/postgres?", f"/{name}?")


@pytest.fixture(params=["sqlite", "postgresql"])
def any_address(request, tmp_path):
    """The address of a store that is not made yet, in each kind of database."""
    if request.param == "sqlite":
        return str(tmp_path / "bench.db")
    return request.getfixturevalue("new_database")


Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Wheel:
    """A wheel, its belt's wander, its pickup's noise; shares of a pitch, of the radius."""

    teeth: int = 24
    turns: int = 60
    turn_hz: float = 3.0
    spacing: float = 0.006  # 1 sigma, of a pitch
    runout: float = 0.002  # e/r
    jitter_s: float = 20e-6
    wander: float = 0.005  # of the speed, 1 sigma
    wander_s: float = 1.0
    drift: float = 0.03  # of the speed, from the first to the last turn
    bent: dict[int, float] = field(default_factory=dict)  # tooth (from 0) -> shift, of a pitch
    missing: tuple[int, ...] = ()
    weak: dict[int, float] = field(default_factory=dict)  # tooth -> share of turns not seen
    play: float = 0.0  # of the radius, 1 sigma in each direction, new each turn
    bounce: float = 0.0  # share of teeth that trigger twice
    bounce_s: float = 0.0008  # mean delay of the second edge
    second_at: float = 0.0  # where the second edge stands, of a pitch; 0: by bounce_s
    hum_hz: float = 0.0
    sparks_hz: float = 0.0  # within bursts of 0.25 s, one a second
    hum_shift_s: float = 0.0  # hum that moves the edges instead of making new ones

    def __call__(self, rng: np.random.Generator) -> Floats:
        """Rising edges, ascending seconds; the first is tooth 0 where it is there."""
        index = np.arange(self.teeth * self.turns)
        tooth, turn = index % self.teeth, index // self.teeth
        theta = 2 * np.pi * tooth / self.teeth
        pitch = 2 * np.pi / self.teeth
        offset = rng.normal(0, self.spacing, self.teeth)[tooth]
        offset += self.runout / pitch * np.cos(theta - rng.uniform(0, 2 * np.pi))
        centre = rng.normal(0, self.play, (self.turns, 2))[turn]
        offset += (centre[:, 0] * np.cos(theta) + centre[:, 1] * np.sin(theta)) / pitch
        for which, shift in self.bent.items():
            offset[tooth == which] += shift
        time_s = self._reached_s(index + offset, rng) + rng.normal(0, self.jitter_s, index.size)
        if self.hum_shift_s:
            phase = rng.uniform(0, 2 * np.pi)
            time_s += self.hum_shift_s * np.sin(2 * np.pi * 50.0 * time_s + phase)
        gone = np.isin(tooth, self.missing)
        for which, share in self.weak.items():
            gone |= (tooth == which) & (rng.random(index.size) < share)
        time_s = time_s[~gone]
        return np.sort(np.concatenate([time_s, *self._extras(time_s, rng)]))

    def _reached_s(self, pitches: Floats, rng: np.random.Generator) -> Floats:
        """When the belt has moved so many pitches: a first-order wander about a slow drift."""
        step_s = 1 / (self.turn_hz * 8)
        steps = int(self.turns * 8 * 1.3) + 50
        keep = np.exp(-step_s / self.wander_s)
        noise = rng.normal(0, self.wander * np.sqrt(1 - keep**2), steps)
        noise[0] = rng.normal(0, self.wander)
        wander = lfilter([1.0], [1.0, -keep], noise)
        rate = self.turn_hz * self.teeth * (1 + wander + self.drift * np.arange(steps) / steps)
        reached = np.concatenate(
            [[-2.0 * self.teeth], -2.0 * self.teeth + np.cumsum(rate) * step_s]
        )
        return np.interp(pitches, reached, np.arange(steps + 1) * step_s)

    def _extras(self, time_s: Floats, rng: np.random.Generator) -> list[Floats]:
        extras = []
        if self.bounce:
            twice = time_s[rng.random(time_s.size) < self.bounce]
            if self.second_at:
                delay = self.second_at / (self.turn_hz * self.teeth)
                extras.append(twice + delay * rng.normal(1, 0.01, twice.size))
            else:
                extras.append(twice + rng.exponential(self.bounce_s, twice.size))
        first_s, last_s = time_s[0], time_s[-1]
        if self.hum_hz:
            extras.append(np.arange(first_s + rng.random() / self.hum_hz, last_s, 1 / self.hum_hz))
        if self.sparks_hz:
            starts = np.arange(first_s, last_s - 0.8, 1.0)
            starts += rng.uniform(0, 0.5, starts.size)
            burst = np.arange(int(0.25 * self.sparks_hz)) / self.sparks_hz
            extras.append((starts[:, None] + burst + rng.normal(0, 2e-4, burst.size)).ravel())
        return extras


@pytest.fixture(scope="session")
def wheel() -> Callable[..., Wheel]:
    """`wheel(teeth=24, bent={6: 0.08})(rng)`: the edges of one such wheel."""
    return Wheel


NEUTRAL = {
    float: float("nan"),
    int: 0,
    str: "",
    bool: False,
    tuple: (),
    dict: {},
    Verdict: Verdict.PASS,
}
"""What stands in an answer of which a test gives only a part."""


@pytest.fixture(scope="session")
def whole():
    """A whole answer of a type, of which only what a test is about is given."""

    def made(kind, **given):
        hints = get_type_hints(kind)
        for one in fields(kind):
            required = one.default is MISSING and one.default_factory is MISSING
            if required and one.name not in given:
                hint = get_origin(hints[one.name]) or hints[one.name]
                given[one.name] = made(hint) if is_dataclass(hint) else NEUTRAL.get(hint)
        return kind(**given)

    return made


@pytest.fixture
def two_runs(whole):
    """A calibration of two runs, the second not used, at two speeds with their errors, and the
    fitted line's ends with U = 0.4 %."""

    def made(speeds_mps, errors, ends):
        u = {"u_true_mps": 0.001, "u_error": 0.002}
        runs = [
            whole(RunResult, run=name, true_mps=v, error=error, used=used, **u)
            for name, v, error, used in zip("12", speeds_mps, errors, (True, False), strict=True)
        ]
        fit = [EndError(v, error, 0.002) for v, error in ends]
        return whole(Calibration, runs=tuple(runs), error_at_ends=tuple(fit), k=2.0)

    return made


@pytest.fixture(scope="session")
def dcc_schema(data_dir):
    """The open schema of digital certificates, its imports mapped to what lies beside it and to
    the XML signature's that the library brings."""
    xmlschema = pytest.importorskip("xmlschema", reason="xmlschema is not installed")
    folder = data_dir / "dcc"
    if not folder.is_dir():
        pytest.skip("the recordings made by others are not here: no schemas beside them")
    signature = Path(xmlschema.__file__).parent / "schemas/DSIG/xmldsig-core-schema.xsd"
    return xmlschema.XMLSchema(
        str(folder / "dcc-3.2.1.xsd"),
        locations={
            "https://ptb.de/si": str(folder / "SI_Format-2.1.0.xsd"),
            "http://www.w3.org/2000/09/xmldsig#": str(signature),
        },
        allow="local",
    )
