"""A process that runs commands, each in a fork of its own with limits of time and memory.

Reads one JSON list of calls a line and answers with one JSON object a line. All that commands
load is loaded before the first fork, so that a call takes hundredths of a second.
"""

from __future__ import annotations

import gc
import json
import os
import resource
import signal
import sys
from importlib import import_module
from pathlib import Path

MOST_BYTES = 1_000_000_000
MOST_CPU_S, MOST_S = 20, 60
"""Of the processor's time, and of the clock's, which a busy machine makes longer."""

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))


def load() -> None:
    """Load what commands would load each by itself."""
    from workbench.cli import door

    for module, _ in door.COMMANDS.values():
        import_module(module)
    for module in (
        "asammdf",
        "drivers.can.bus",
        "drivers.can.dbc",
        "drivers.can.python_can_logs",
        "drivers.gnss.sentences",
        "drivers.wave.scope",
        "drivers.wave.sound_files",
        "scipy.linalg",
        "scipy.optimize",
        "scipy.special",
        "scipy.stats",
        "sim.driver",
        "workbench.records.store",
        "workbench.reports.document",
        "workbench.reports.testified",
    ):
        import_module(module)


def run(words: list[str]) -> int:
    """The exit status of a command, or of what stands for one that needs a device."""
    if words[0] == "dbc":
        return read_dbc(words[1])
    from workbench.cli.__main__ import run as evenpace

    sys.argv = ["evenpace", *words]
    try:
        return evenpace()
    except SystemExit as error:  # argparse says so that a call is wrong
        return int(error.code or 0)


def read_dbc(path: str) -> int:
    """All signals of a DBC out of frames of all its messages; what `dbc:` does on a bus."""
    import numpy as np

    from drivers.can.dbc import KINDS, choose, load_dbc
    from drivers.contract import FrameBlock, InputError, Notes
    from drivers.files.can_export import EXTENDED

    chance, notes = np.random.default_rng(7), Notes()
    try:
        database = load_dbc(path)
        for message in database.messages[:20]:
            named = {
                f"s{n}": f"{message.name}.{signal.name}:{KINDS[n % len(KINDS)]}"
                for n, signal in enumerate(message.signals[:20])
            }
            can_id = message.frame_id | EXTENDED * message.is_extended_frame
            times = np.arange(20.0)
            block = FrameBlock(
                "can0",
                np.full(20, can_id, np.uint32),
                np.full(20, 8, np.uint8),
                chance.bytes(160),
                times,
                times,
            )
            for choice in choose("dbc:it@can:virtual:0", database, named or {"s": "x.y:hz"}):
                choice.items(block, notes)
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    return 0


def forked(words: list[str], folder: str) -> int:
    """The exit status of a call in a fork that stands in `folder`; of one that was ended by a
    signal its number, negative."""
    child = os.fork()
    if not child:
        status = 70
        try:
            limited(folder)
            status = run(words)
        except BaseException:
            import traceback

            traceback.print_exc()
        finally:
            sys.stderr.flush()
            os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def limited(folder: str) -> None:
    """Take limits, a place to stand in, and files for what is said."""
    os.chdir(folder)
    for name, stream in (("out", 1), ("err", 2)):
        os.dup2(os.open(name, os.O_WRONLY | os.O_CREAT | os.O_APPEND), stream)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_CPU_S, MOST_CPU_S))
    resource.setrlimit(resource.RLIMIT_FSIZE, (MOST_BYTES, MOST_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    signal.alarm(MOST_S)


def main() -> None:
    """Answer calls until there are no more."""
    load()
    gc.collect()
    gc.freeze()
    with os.fdopen(os.dup(1), "w", encoding="utf-8") as answers:
        print("ready", file=answers, flush=True)
        for line in sys.stdin:
            asked = json.loads(line)
            for name in ("out", "err"):
                Path(asked["folder"], name).unlink(missing_ok=True)
            statuses = [forked(words, asked["folder"]) for words in asked["calls"]]
            print(json.dumps(statuses), file=answers, flush=True)


if __name__ == "__main__":
    main()
