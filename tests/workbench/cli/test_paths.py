"""Paths that no command can use are a sentence and exit 2, whatever the system says to them."""

from __future__ import annotations

import pytest

from workbench.cli import main

TOO_LONG = "n" * 300
"""A name may have 255 bytes (Linux, limits.h NAME_MAX; from memory)."""


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    assert main(["record", "sim:healthy?pace=fast", "--for", "5s"]) == 0


@pytest.mark.parametrize(
    "words",
    [
        ("gap", TOO_LONG),
        ("gap", "a/" * 3000),
        ("calibrate", TOO_LONG),
        ("export", "1", "-o", f"{TOO_LONG}.csv"),
        ("export", "1", "-o", f"{TOO_LONG}.asc"),
        ("pass", "1", "--track", "/"),
    ],
)
def test_a_name_that_no_file_can_have_is_a_sentence(capsys, words):
    assert main([*words]) == 2
    assert "unexpected" not in capsys.readouterr().err
