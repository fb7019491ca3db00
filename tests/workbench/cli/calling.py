"""What several tests of commands do: call one and look at all that it says."""

from __future__ import annotations

import json
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


def _sentence(capsys: Capsys) -> str:
    said = capsys.readouterr()
    assert said.out == ""
    assert "Traceback" not in said.err
    return said.err
