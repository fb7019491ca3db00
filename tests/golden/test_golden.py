"""What each command prints with --json, held to files: keys, numbers, statements, exit status.

A file changes only where an answer is meant to change: `python tests/golden/test_golden.py`
writes them all anew; read the difference.
"""

from __future__ import annotations

import io
import json
import math
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any

import pytest

from workbench.cli import main
from workbench.records.store import open_store

HERE = Path(__file__).parent
COMMANDS: dict[str, list[str]] = json.loads((HERE / "commands.json").read_text(encoding="utf-8"))

SAME_REL, SAME_ABS = 1e-6, 1e-9
"""As `evenpace verify` has it: another processor rounds differently."""

NEW_EACH_TIME = (
    *("sha256", "head", "created_utc", "started_utc", "made_by", "verified_by", "store"),
)
"""Keys whose values hang on the moment, the place or the program's version."""

STORE = ("gap", "inputs/feeler-one.csv", "--machine", "inputs/digger.toml")
"""What the commands on a stored result find as result 1."""

NEEDS_RECORDING, NEEDS_RESULT = ("export",), ("verify", "verify-store", "report")


def called(words: list[str]) -> tuple[int, str]:
    """Exit status and stdout of a command, here and now."""
    out = io.StringIO()
    with redirect_stdout(out), redirect_stderr(io.StringIO()):
        status = main([*words, "--json"])
    return status, out.getvalue()


def answer_of(name: str) -> dict[str, Any]:
    """The command's exit status and JSON, in the folder one stands in."""
    kept = [] if name == "inputs" else ["--store", "store.db"]
    open_store("store.db").close()
    if name in NEEDS_RECORDING:
        called(["import", "inputs/edges.csv", *kept])
    if name in NEEDS_RESULT:
        called([*STORE, *kept])
    status, text = called([*COMMANDS[name], *kept])
    return {"exit status": status, **json.loads(text)}


def work_in(folder: Path) -> None:
    shutil.copytree(HERE / "inputs", folder / "inputs")
    (folder / "out").mkdir()
    os.chdir(folder)


def differences(at: str, golden: Any, found: Any) -> Iterator[str]:
    if at.rpartition(".")[2] in NEW_EACH_TIME:
        return
    if isinstance(golden, dict) and isinstance(found, dict):
        for key in dict.fromkeys([*golden, *found]):
            yield from differences(
                f"{at}.{key}", golden.get(key, "absent"), found.get(key, "absent")
            )
    elif isinstance(golden, list) and isinstance(found, list) and len(golden) == len(found):
        for place, (one, other) in enumerate(zip(golden, found, strict=True)):
            yield from differences(f"{at}[{place}]", one, other)
    elif isinstance(golden, float) and isinstance(found, int | float):
        if not math.isclose(golden, found, rel_tol=SAME_REL, abs_tol=SAME_ABS):
            yield f"{at}: {golden} is now {found}"
    elif golden != found:
        yield f"{at}: {golden!r} is now {found!r}"


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_answers_as_ever(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    work_in(tmp_path)
    golden = json.loads((HERE / f"{name}.json").read_text(encoding="utf-8"))
    assert list(differences("", golden, answer_of(name))) == []


def write_all() -> None:
    for name in COMMANDS:
        with tempfile.TemporaryDirectory() as folder:
            work_in(Path(folder))
            text = json.dumps(answer_of(name), ensure_ascii=False, indent=1)
            (HERE / f"{name}.json").write_text(text + "\n", encoding="utf-8")
            os.chdir(HERE)


if __name__ == "__main__":
    sys.exit(write_all())
