"""Every reader on damaged files: a sentence or an answer, in 20 s and 1 GB, and nothing else.

What lies under `corpus/KIND` is read as it is and is what the damage is done to; a file that a
reader once fell over is kept there. `EVENPACE_FUZZ=50` looks fifty times as long, elsewhere
each time.
"""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
from contextlib import closing, suppress
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from workbench.records.entries import result_sha256

CORPUS = Path(__file__).parent / "corpus"
TIMES = int(os.environ.get("EVENPACE_FUZZ", "1"))

_JOBS = ("inputs", "speed", "pass", "gap", "calibrate")
MACHINE = ["--machine", "digger.toml"]
STEADY = ["calibrate", "steady.csv", *MACHINE]

CALLS = {
    "recording": [*([job, "{}"] for job in _JOBS), ["import", "{}", "--store", "s.db"]],
    "run": [
        ["calibrate", "{}", *MACHINE],
        ["calibrate", "{}"],
        ["calibrate", "runs.csv", *MACHINE, "--as-left", "{}"],
    ],
    "shown": [[*STEADY, "--shown", "{}"]],
    "flips": [[*STEADY, "--flips", "{}"]],
    "gap": [["gap", "{}", *MACHINE], ["gap", "{}", "--summary", "s.csv", "--control", "left"]],
    "machine": [
        ["calibrate", "runs.csv", "--machine", "{}", "--report", "r.html"],
        ["gap", "edges.csv", "--machine", "{}"],
        ["pass", "speeds.csv", "--machine", "{}", "--units", "metric"],
    ],
    "dbc": [["dbc", "{}"]],
    "scenario": [["speed", "sim:{}", "--for", "5s"], ["gap", "sim:{}", "--for", "5s"]],
    "paper": [["verify", "--paper", "{}", "--store", "store.db"]],
}
CASES = {"recording": 160}
"""How many of a kind are tried where it is not ten; recordings are of sixteen formats."""

STORE_CALLS = [
    ["verify"],
    *([["verify", number] for number in ("1", "2", "3", "4")]),
    ["speed", "1"],
    ["gap", "1"],
    ["calibrate", "3"],
    ["pass", "2"],
    ["pass", "3"],
    ["export", "1", "-o", "out.csv"],
    ["export", "2", "--original", "-o", "file.csv"],
    ["export", "3", "-o", "out2.csv"],
    ["report", "1", "-o", "r.json"],
    ["report", "2", "-o", "r.html"],
    ["import", "edges.csv"],
]

_NUMBER = re.compile(rb"[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")
_NUMBERS = (
    b"0 -0 -1 1e308 -1e308 1e-308 1e98 nan inf -inf 1e400 4294967296 9223372036854775808 0.1"
    b" 1_000 1,5 0x10 1e5000 true [1,2] 3000-01-01 -2147483649"
)
NUMBERS = (*_NUMBERS.split(), b"", b"9" * 400, "１２".encode())
PIECES = (
    *(b"\n", b"\r", b"\r\n", b",", b";", b"\t", b'"', b"'", b"#", b"\x00", b"\xff", b" " * 300),
    *(b"\xef\xbb\xbf", b"\x1b[2J", b"[/]", b"{0}", b"{path}", b"%s", b"%(x)s", b"<b>", b"=1+1"),
    *(b"$GPRMC,", b"*00", b"\xb5\x62\x01\x07", b"LOBJ", b"##", b"[drive]", b"BO_ ", b"SG_ "),
    *(b"\xe2\x80\xae", b"\xed\xa0\x80", "٣".encode(), b"," * 3000, b"[" * 2000, b"x" * 5000),
)


@st.composite
def damaged(draw: st.DrawFn, whole: bytes) -> bytes:
    """`whole` with one to six damages, near its beginning as often as anywhere."""
    content = whole
    for _ in range(draw(st.integers(1, 6))):
        end = len(content) if draw(st.booleans()) else min(len(content), 300)
        at = draw(st.integers(0, end))
        content = draw(st.sampled_from(DAMAGES))(draw, content, at)
    return content


def _other_number(draw: st.DrawFn, content: bytes, at: int) -> bytes:
    found = _NUMBER.search(content, at) or _NUMBER.search(content)
    if found is None:
        return content
    return content[: found.start()] + draw(st.sampled_from(NUMBERS)) + content[found.end() :]


def _piece_put_in(draw: st.DrawFn, content: bytes, at: int) -> bytes:
    return content[:at] + draw(st.sampled_from(PIECES)) + content[at:]


def _other_byte(draw: st.DrawFn, content: bytes, at: int) -> bytes:
    return content[:at] + draw(st.binary(min_size=1, max_size=1)) + content[at + 1 :]


def _piece_cut_out(draw: st.DrawFn, content: bytes, at: int) -> bytes:
    return content[:at] + content[at + draw(st.integers(1, 64)) :]


def _piece_doubled(draw: st.DrawFn, content: bytes, at: int) -> bytes:
    return content[: at + draw(st.integers(1, 400))] + content[at:]


def _lines_exchanged(draw: st.DrawFn, content: bytes, at: int) -> bytes:
    lines = content.splitlines(keepends=True)
    if len(lines) > 1:
        i, j = (draw(st.integers(0, len(lines) - 1)) for _ in range(2))
        lines[i], lines[j] = lines[j], lines[i]
    return b"".join(lines)


def _cut_short(draw: st.DrawFn, content: bytes, at: int) -> bytes:
    return content[:at]


def _line_repeated(draw: st.DrawFn, content: bytes, at: int) -> bytes:
    end = content.find(b"\n", at) + 1 or len(content)
    times = draw(st.sampled_from((2, 30, 700)))
    return content[:end] + content[at:end] * times + content[end:]


def _other_integer(draw: st.DrawFn, content: bytes, at: int) -> bytes:
    """A length, a count or a step, as binary files hold them."""
    size = draw(st.sampled_from((1, 2, 4, 8)))
    most = (1 << 8 * size) - 1
    value = draw(st.sampled_from((0, 1, 0x7F, 0xFF, most // 2, most // 2 + 1, most)))
    order = draw(st.sampled_from(("little", "big")))
    return content[:at] + value.to_bytes(size, order) + content[at + size :]


DAMAGES = (
    *(_other_number, _piece_put_in, _other_byte, _piece_cut_out, _piece_doubled),
    *(_lines_exchanged, _cut_short, _line_repeated, _other_integer),
)

Cell = tuple[int, int, int, object]
"""Table, row and column as counts that wrap round, and what the cell holds then."""

_VALUES = (None, "", 0, -1, 2**63 - 1, 1e308, b"", "{}", "[]", "null", "\x1b[2J", "x" * 5000)


@st.composite
def altered_cells(draw: st.DrawFn, store: Path) -> list[Cell]:
    """Cells of a store to alter."""
    count = st.integers(0, 2**16)
    cells = []
    for _ in range(draw(st.integers(1, 4))):
        table, row, column = draw(count), draw(count), draw(count)
        value = draw(st.sampled_from(_VALUES) | st.binary(max_size=20) | st.text(max_size=20))
        if draw(st.booleans()):
            found = held(store, table, row, column)
            if isinstance(found, str | bytes):
                data = draw(damaged(found.encode() if isinstance(found, str) else found))
                value = data if isinstance(found, bytes) else data.decode("utf-8", "replace")
            elif isinstance(found, int | float):
                value = draw(st.sampled_from((0, -1, 2, 3, 2**31, 2**63 - 1, 1e308, -1e308, 0.5)))
        cells.append((table, row, column, value))
    return cells


def _named(connection: sqlite3.Connection, kind: str) -> list[str]:
    query = "SELECT name FROM sqlite_master WHERE type = ? ORDER BY name"
    return [row[0] for row in connection.execute(query, (kind,))]


def _place_of(connection: sqlite3.Connection, *cell: int) -> tuple[str, str, int] | None:
    """The table, column and rowid that a cell's counts mean; None in an empty table."""
    names = _named(connection, "table")
    name = names[cell[0] % len(names)]
    columns = [found[1] for found in connection.execute(f"PRAGMA table_info({name})")]
    rows = [row[0] for row in connection.execute(f"SELECT rowid FROM {name} ORDER BY rowid")]
    return (name, columns[cell[2] % len(columns)], rows[cell[1] % len(rows)]) if rows else None


def held(store: Path, *cell: int) -> object:
    """What a cell holds."""
    with closing(sqlite3.connect(store)) as connection:
        place = _place_of(connection, *cell)
        if place is None:
            return None
        name, column, row = place
        return connection.execute(f"SELECT {column} FROM {name} WHERE rowid = {row}").fetchone()[0]


def alter(store: Path, cells: list[Cell]) -> None:
    """Alter cells of a store as someone with a database's own program would, whom neither
    triggers nor a result's seal stop."""
    with closing(sqlite3.connect(store, isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
        for name in _named(connection, "trigger"):
            connection.execute(f"DROP TRIGGER {name}")
        for *cell, value in cells:
            place = _place_of(connection, *cell)
            if place is None:
                continue
            name, column, row = place
            with suppress(sqlite3.IntegrityError, UnicodeEncodeError):
                connection.execute(f"UPDATE {name} SET {column} = ? WHERE rowid = {row}", (value,))
            if name == "result" and column != "number":
                _seal_anew(connection, row)


def _seal_anew(connection: sqlite3.Connection, number: int) -> None:
    found = connection.execute(f"SELECT * FROM result WHERE rowid = {number}")
    row = dict(zip([column[0] for column in found.description], found.fetchone(), strict=True))
    with suppress(TypeError, AttributeError, ValueError):
        seal = result_sha256(row)
        connection.execute(f"UPDATE result SET sha256 = ? WHERE rowid = {number}", (seal,))


def cases(count: int) -> settings:
    """So many, the same each time; `TIMES` as many are others each time."""
    return settings(
        max_examples=count * TIMES,
        derandomize=TIMES == 1,
        database=None,
        deadline=None,
        phases=(Phase.generate, Phase.shrink),
        suppress_health_check=list(HealthCheck),
    )


AS_JSON = st.sampled_from(([], ["--json"]))


def kept(kind: str) -> list[Path]:
    return sorted((CORPUS / kind).glob("*"))


@pytest.fixture(scope="module")
def folder(tmp_path_factory, limited):
    """Where calls stand: sound files of each kind, and a store of recordings and results."""
    folder = tmp_path_factory.mktemp("here")
    golden = CORPUS.parents[1] / "golden" / "inputs"
    for path in (*golden.iterdir(), CORPUS / "recording" / "bus.trc"):
        shutil.copy(path, folder)
    store = ["--store", "store.db"]
    calls = [
        ["import", "edges.csv", "speeds.csv", *store],
        ["record", "sim:healthy?pace=fast", "--for", "4s", *store],
        ["import", "bus.trc", *store],
        ["calibrate", "runs.csv", *MACHINE, *store, "--report", "paper.json"],
        ["gap", "feeler.csv", *MACHINE, *store, "--report", "paper.html"],
        ["speed", "1", *store],
        ["pass", "2", *store],
    ]
    limited(calls, folder).check()
    return folder


@pytest.fixture(scope="module")
def hit(limited, folder):
    """Put `content` in the place of a file and make a call on it."""

    def hit(content: bytes, name: str, call: list[str]) -> None:
        (folder / name).write_bytes(content)
        for path in (folder / "s.db", *folder.glob("out*.csv"), folder / "file.csv"):
            path.unlink(missing_ok=True)
        limited([[word.replace("{}", name) for word in call]], folder).check()

    return hit


@pytest.mark.parametrize("path", [p for kind in CALLS for p in kept(kind)], ids=lambda p: p.name)
def test_every_file_kept_is_read_or_refused(hit, path):
    for call in CALLS[path.parent.name]:
        hit(path.read_bytes(), f"it{path.suffix}", call)


@pytest.mark.parametrize("kind", [kind for kind in CALLS if kept(kind)])
def test_damage_is_a_sentence_or_an_answer(hit, kind):
    seeds = {path: path.read_bytes() for path in kept(kind)}

    @cases(CASES.get(kind, 10))
    @given(data=st.data())
    def damage(data: st.DataObject) -> None:
        path = data.draw(st.sampled_from(sorted(seeds)))
        content = data.draw(damaged(seeds[path]))
        call = data.draw(st.sampled_from(CALLS[kind]))
        hit(content, f"it{path.suffix}", [*call, *data.draw(AS_JSON)])

    damage()


@pytest.mark.parametrize("name", ["paper.json", "paper.html"])
def test_a_damaged_report_is_a_sentence(hit, folder, name):
    sound = (folder / name).read_bytes()

    @cases(10)
    @given(content=damaged(sound))
    def damage(content: bytes) -> None:
        hit(content, f"it{name[-5:]}", CALLS["paper"][0])

    damage()


@pytest.mark.parametrize("how", ["pages", "cells"])
def test_a_damaged_store_is_a_sentence(limited, folder, tmp_path, how):
    sound = (folder / "store.db").read_bytes()
    shutil.copy(folder / "edges.csv", tmp_path)

    @cases(30)
    @given(data=st.data())
    def damage(data: st.DataObject) -> None:
        for path in tmp_path.glob("[!e]*"):
            path.unlink()
        store = tmp_path / "store.db"
        if how == "pages":
            store.write_bytes(data.draw(damaged(sound)))
        else:
            store.write_bytes(sound)
            alter(store, data.draw(altered_cells(store)))
        call = data.draw(st.sampled_from(STORE_CALLS))
        words = [*call, "--store", "store.db", *data.draw(AS_JSON)]
        limited([words], tmp_path).check()

    damage()
