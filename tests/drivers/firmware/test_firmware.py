"""The board's own source in CPython and in a real MicroPython: the same bytes, edge for edge.

MicroPython is the npm package `@micropython/micropython-webassembly-pyscript`, run by node;
`EVENPACE_MICROPYTHON` names the folder that holds its `node_modules`.
"""

import ast
import importlib.util
import json
import os
import re
import shutil
import subprocess
from array import array
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.contract import EdgeBlock, Lost, Notes, ValueBlock
from drivers.counter.driver import CounterStream
from drivers.firmware import counter_core as core

SOURCE = Path(core.__file__)
MAIN = SOURCE.with_name("main.py")
PACKAGE = Path("node_modules/@micropython/micropython-webassembly-pyscript/micropython.mjs")
CLOCK_HZ = 2_500_000

EXERCISE = Path(__file__).with_name("board_exercise.py")
NODE = """
import {{ loadMicroPython }} from '{module}';
import fs from 'node:fs';
const mp = await loadMicroPython({{ heapsize: 1024 * 1024 }});
const files = {files};
for (const [name, path] of Object.entries(files)) {{
  mp.FS.writeFile('/' + name, fs.readFileSync(path));
}}
mp.runPython(`
import sys, json
sys.path.append('/')
import counter_core, board_exercise
compile(open('/main.py').read(), 'main.py', 'exec')
print(sys.implementation.name)
print(json.dumps(board_exercise.run(counter_core)))
`);
"""


@pytest.fixture(scope="module")
def exercise():
    """The exercise's module, in CPython."""
    spec = importlib.util.spec_from_file_location(EXERCISE.stem, EXERCISE)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def micropython():
    """The package's file. Skips where node or the package are not here."""
    if shutil.which("node") is None:
        pytest.skip("node is not installed, which runs MicroPython")
    root = Path(os.environ.get("EVENPACE_MICROPYTHON", "."))
    if not (root / PACKAGE).is_file():
        pytest.skip(
            "MicroPython is not here: run 'npm install @micropython/micropython-webassembly-"
            "pyscript' in a folder and name it in EVENPACE_MICROPYTHON"
        )
    return (root / PACKAGE).resolve()


def test_micropython_gives_the_same_bytes(exercise, tmp_path):
    files = json.dumps({path.name: str(path) for path in (SOURCE, MAIN, EXERCISE)})
    program = tmp_path / "run.mjs"
    program.write_text(NODE.format(module=micropython().as_uri(), files=files), encoding="utf-8")
    done = subprocess.run(
        ["node", str(program)], capture_output=True, encoding="utf-8", timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
    name, answer = done.stdout.splitlines()
    assert name == "micropython"
    assert json.loads(answer) == exercise.run(core)


def test_the_exercise_says_what_went_in(exercise):
    """So that two interpreters cannot agree on nonsense."""
    answer = exercise.run(core)
    stream, items = CounterStream(Notes()), []
    stream.connected()
    stream.feed(b"\x00", 0.0)
    for at, piece in enumerate(answer["wire"]):
        items += stream.feed(bytes.fromhex(piece), at * 0.05)
    left = [i for i in items if isinstance(i, EdgeBlock) and i.channel == "left"]
    gnd = [i for i in items if isinstance(i, EdgeBlock) and i.channel == "gnd"]
    sent = np.concatenate([i.ticks for i in left])
    assert sent.size > 110
    assert sent.tolist() == exercise.ticks()[0::3][: sent.size]
    falls = np.concatenate([i.fall_ticks for i in left])
    assert set((falls - sent)[falls != 0].tolist()) == {900}
    assert np.flatnonzero(falls == 0).tolist() == list(range(0, sent.size, 5))
    assert [i.count for i in items if isinstance(i, Lost)] == [12345]
    assert gnd[-1].count > 12345 + 110
    assert answer["crc"] == 0x29B1  # the check value of CRC-16/CCITT-FALSE, from memory
    assert answer["refused"] == [
        "a payload has 1 to 251 bytes, not 0",
        "a payload has 1 to 251 bytes, not 252",
    ]


def drain(board, tick):
    stream = CounterStream(Notes())
    stream.connected()
    return stream.feed(b"\x00" + board.poll(tick), tick / CLOCK_HZ)


def test_edge_waits_for_its_fall_and_no_longer_than_a_second():
    board = core.PulseCounter("b", CLOCK_HZ, 1, [("left", core.PICKUP, core.FALLS)])
    board.poll(0)
    board.rise(0, 1000)
    assert not board.poll(1000 + CLOCK_HZ // 4)
    board.fall(0, 1000 + CLOCK_HZ // 3)
    assert len(board.poll(1000 + CLOCK_HZ // 3 + 1)) > 10
    board.rise(0, CLOCK_HZ)
    board.poll(CLOCK_HZ + CLOCK_HZ // 2)
    assert not board.poll(CLOCK_HZ + CLOCK_HZ // 2 + 1)
    [block] = [i for i in drain(board, 2 * CLOCK_HZ) if isinstance(i, EdgeBlock)]
    assert block.fall_ticks.tolist() == [0]


def test_heartbeat_and_hello_twice_a_second_at_rest():
    board = core.PulseCounter("b", CLOCK_HZ, 1, [("left", core.PICKUP, 0)])
    said = [bool(board.poll(CLOCK_HZ * k // 20)) for k in range(41)]
    assert [k for k, spoke in enumerate(said) if spoke] == [0, 10, 20, 30, 40]
    [beat] = [i for i in drain(board, 3 * CLOCK_HZ) if isinstance(i, ValueBlock)]
    assert beat.value[0] == 3.0


def test_full_batch_goes_out_whole():
    board = core.PulseCounter("b", CLOCK_HZ, 1, [("left", core.PICKUP, 0)])
    for k in range(100):
        board.rise(0, 1000 + 10 * k)
    blocks = [i for i in drain(board, CLOCK_HZ) if isinstance(i, EdgeBlock)]
    assert sum(block.ticks.size for block in blocks) == 100
    assert blocks[-1].count == 100


@given(st.lists(st.integers(0, 60), max_size=30))
def test_ring_gives_every_word_or_says_how_many_pairs_are_gone(steps):
    """A writer that runs round and round; word k is written as the number k."""
    size = 32
    words = array("I", [0] * size)
    ring = core.Ring(words)
    written = given_out = lost = 0
    for step in steps:
        for _ in range(step):
            words[written % size] = written
            written += 1
        pairs, first, got = ring.take(written)
        lost += 2 * pairs
        assert first == given_out + lost
        assert got == list(range(first, written))
        given_out += len(got)
    assert given_out + lost == written


def pio_program():
    """The state machine's program of main.py: instructions, and places by label."""
    tree = ast.parse(MAIN.read_text(encoding="utf-8"))
    (function,) = [n for n in tree.body if getattr(n, "name", "") == "time_edges"]
    calls = [node.value for node in function.body if isinstance(node, ast.Expr)]
    program, labels = [], {}
    for call in calls:
        words = [getattr(arg, "id", getattr(arg, "value", None)) for arg in call.args]
        if call.func.id == "label":
            labels[words[0]] = len(program)
        elif call.func.id in ("jmp", "in_"):
            program.append((call.func.id, *words))
        else:
            assert call.func.id in ("wrap_target", "wrap")
    return program, labels


def run_pio(pin_at, cycles, x):
    """Words that a state machine hands out in so many cycles, and what is left in x.

    One instruction a cycle; `jmp(x_dec)` jumps where x is not 0 and decrements it anyway
    (RP2040 data sheet, 3.4.2, from memory).
    """
    program, labels = pio_program()
    words, place = [], 0
    for cycle in range(cycles):
        name, *args = program[place % len(program)]
        place += 1
        if name == "in_":
            words.append(x)
        else:
            jump = len(args) == 1 or (pin_at(cycle) if args[0] == "pin" else x != 0)
            x = (x - (args[0] == "x_dec")) % 2**32
            if jump:
                place = labels[args[-1]]
    return words, x


@given(st.lists(st.integers(8, 60), min_size=1, max_size=20))
def test_state_machine_keeps_time_whatever_the_pin_does(spans):
    """Two cycles a tick through every branch, so all inputs share one time."""
    changes = np.cumsum(spans)
    cycles = int(changes[-1]) + 40
    words, x = run_pio(
        lambda cycle: np.searchsorted(changes, cycle, "right") % 2, cycles, 2**32 - 1
    )
    assert abs((2**32 - 1 - x) - cycles / 2) <= 1
    ticks = 2**32 - 1 - np.array(words)
    assert len(words) == len(spans)
    assert np.all(np.abs(ticks - changes / 2) <= 2)


def test_state_machine_goes_on_where_its_counter_passes_zero():
    words, _ = run_pio(lambda cycle: cycle // 20 % 2, 400, 50)
    assert len(words) == 19
    passed = np.diff(-np.array(words)) % 2**32
    assert set(passed.tolist()) <= {9, 10, 11}


def test_state_machine_fits_its_memory():
    # A block of the RP2040's programmable I/O holds 32 instructions (data sheet, from memory).
    assert len(pio_program()[0]) <= 32


def test_wiring_text_drawing_and_program_agree():
    text = MAIN.with_name("WIRING.md").read_text(encoding="utf-8")
    tree = ast.parse(MAIN.read_text(encoding="utf-8"))
    (inputs,) = [
        node.value
        for node in tree.body
        if isinstance(node, ast.Assign) and node.targets[0].id == "INPUTS"
    ]
    for entry in inputs.elts:
        pin, name = (part.value for part in entry.elts[:2])
        assert re.search(rf"^\| GP{pin} \|.*\| `{name}` \|$", text, re.MULTILINE)
    drawing = ElementTree.parse(MAIN.with_name("wiring.svg")).getroot()
    words = {"".join(node.itertext()) for node in drawing.iter("{http://www.w3.org/2000/svg}text")}
    letters = re.findall(r"^\| ([A-Z]\d?) \|", text, re.MULTILINE)
    assert len(letters) == len(set(letters)) == 15
    drawn = " ".join(words)
    assert [letter for letter in letters if not re.search(rf"\b{letter}\b", drawn)] == []
    # Cautions come before the first step.
    assert text.index("## Cautions") < text.index("## Drawing") < text.index("## Putting")
