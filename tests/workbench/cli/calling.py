"""What several tests of commands do: call one and look at all that it says."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from workbench.cli import main

Capsys = pytest.CaptureFixture[str]


def answer_of(capsys: Capsys, *words: str) -> tuple[int, dict[str, Any]]:
    """A command's exit status, and the one JSON object that it prints."""
    capsys.readouterr()
    status = main([*words, "--json"])
    out = capsys.readouterr().out
    assert out.count("\n") == 1, "one JSON object and nothing else on stdout"
    return status, json.loads(out)


def refusal(capsys: Capsys, *words: str) -> str:
    """The sentence with which a command refuses its call."""
    capsys.readouterr()
    assert main(list(words)) == 2
    return _sentence(capsys)


def parser_refusal(capsys: Capsys, *words: str) -> str:
    """The same of what the parser refuses before the command is asked."""
    capsys.readouterr()
    with pytest.raises(SystemExit) as left:
        main(list(words))
    assert left.value.code == 2
    return _sentence(capsys)


def another_hand(store: Path, change: str) -> None:
    """Change what a store holds as no command does: nothing of its own stands in the way."""
    with closing(sqlite3.connect(store)) as raw:
        kept = raw.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for (name,) in kept:
            raw.execute(f"DROP TRIGGER {name}")
        raw.execute(change)
        raw.commit()


def _sentence(capsys: Capsys) -> str:
    said = capsys.readouterr()
    assert said.out == ""
    assert "Traceback" not in said.err
    return said.err
