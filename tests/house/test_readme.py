"""The README's calls give what the README shows, on the files it shows."""

from __future__ import annotations

import doctest
import re
import shlex

import pytest

from workbench.base.machine import load_machine
from workbench.cli import main

BLOCK = re.compile(r"^```(?P<kind>\w+)\n(?P<text>.*?)^```$", re.MULTILINE | re.DOTALL)
FILES = {
    "run,shown": "runs.csv",
    "pickup,angle": "feeler.csv",
    "check,place": "sheet.csv",
    "name =": "digger.toml",
}
"""How a file in the README begins -> what its calls name it."""

LIKE = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


@pytest.fixture
def readme(root, tmp_path, monkeypatch):
    """The README's blocks; its files lie in the working folder, its records in a store there."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("EVENPACE_STORE", str(tmp_path / "records.db"))
    monkeypatch.setenv("COLUMNS", "80")
    blocks = [
        (block["kind"], block["text"])
        for block in BLOCK.finditer((root / "README.md").read_text(encoding="utf-8"))
    ]
    for kind, text in blocks:
        if kind != "console":
            name = next(name for start, name in FILES.items() if text.startswith(start))
            (tmp_path / name).write_text(text, encoding="utf-8")
    return blocks


def test_every_call_prints_what_is_shown(readme, capsys):
    calls = [
        call.partition("\n")
        for kind, text in readme
        if kind == "console"
        for call in re.split(r"^\$ ", text, flags=re.MULTILINE)[1:]
    ]
    assert len(calls) >= 5
    for command, _, shown in calls:
        program, *words = shlex.split(command)
        assert program == "evenpace"
        status = main(words)
        printed = capsys.readouterr().out
        assert status in (0, 1), command
        assert doctest.OutputChecker().check_output(shown, printed, LIKE), f"{command}\n{printed}"


def test_the_machine_file_is_one(readme):
    assert load_machine("digger.toml").name == "Six-row digger, left belt"
