"""Linters, types, contracts, then the tests, in the locked environment."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import debian
from environment import CHECK_LOCK, House, SetUpFailed, ensure, say

HOUSE = House(Path(__file__).resolve().parent.parent)

LINTERS = {
    "ruff check": ("ruff", "check", "."),
    "ruff format": ("ruff", "format", "--check", "."),
    "mypy": ("mypy",),
    "mypy, set-up scripts": ("mypy", *sorted(str(p) for p in Path(__file__).parent.glob("*.py"))),
    "import contracts": ("lint-imports",),
}

EVERY_TEST = ("-n", "2", "--dist", "loadfile")


def main(arguments: Sequence[str]) -> int:
    """Set up and run what `arguments` ask for; returns the exit status."""
    try:
        ensure(HOUSE, CHECK_LOCK)
    except SetUpFailed as error:
        say(str(error))
        return 3
    except KeyboardInterrupt:
        say("Interrupted; start again to go on.")
        return 130
    debian.provide_qt_libraries(say)
    try:
        return _checks(list(arguments))
    except KeyboardInterrupt:
        return 130


def _checks(arguments: list[str]) -> int:
    if arguments == ["--benchmarks"]:
        files = sorted(str(path) for path in (HOUSE.root / "tests/benchmarks").glob("bench_*.py"))
        return _pytest("-s", "-q", "-p", "no:cacheprovider", *files)
    if arguments:
        return _pytest(*arguments)
    failed = [name for name, words in LINTERS.items() if _run_tool(name, words)]
    status = _pytest(*EVERY_TEST)
    if failed:
        say(f"Failed before the tests: {', '.join(failed)}; see above.")
    return status or int(bool(failed))


def _run_tool(name: str, words: Sequence[str]) -> int:
    print(f"== {name}", flush=True)
    tool = shutil.which(words[0], path=str(HOUSE.scripts))
    if tool is None:
        raise SystemExit(f"{words[0]} is not in {HOUSE.scripts}; is it in the check lock?")
    return subprocess.call([tool, *words[1:]], cwd=HOUSE.root)


def _pytest(*arguments: str) -> int:
    inside = Path.cwd().is_relative_to(HOUSE.root)
    command = [str(HOUSE.python), "-m", "pytest", *arguments]
    return subprocess.call(command, cwd=None if inside else HOUSE.root)
