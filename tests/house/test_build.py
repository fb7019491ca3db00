"""What a package brings beside the program: the manual page, and the files in their places.

The package itself is made, installed and driven in a bare Debian by `packaging/bare_install.py`,
which CI runs after the tests.
"""

from __future__ import annotations

import re
import shutil
import subprocess

import pytest

from workbench.cli.door import COMMANDS, whole_parser


@pytest.fixture
def page():
    from manual import manual

    return manual(whole_parser())


def test_the_manual_names_every_command_and_option(page, capsys):
    shown = page.replace(r"\-", "-")
    options = set()
    for name in COMMANDS:
        assert f".SS {name}\n" in shown
        with pytest.raises(SystemExit):
            whole_parser().parse_args([name, "--help"])
        options |= set(
            re.findall(r"^ {2}(?:-\w, )?(--[a-z-]+)", capsys.readouterr().out, re.MULTILINE)
        )
    assert len(options) > 20
    assert sorted(option for option in options - {"--help"} if option not in shown) == []
    assert ".SH EXIT STATUS" in shown
    assert "qualified" in shown
    assert "%(" not in shown  # a placeholder of argparse


def test_the_manual_is_sound_roff(page):
    if shutil.which("groff") is None:
        pytest.skip("groff not installed: the page is not set")
    done = subprocess.run(
        ["groff", "-man", "-Tutf8", "-ww"], input=page, capture_output=True, text=True, check=True
    )
    assert done.stderr == ""
    assert "EXIT STATUS" in re.sub(r"\x1b\[[0-9;]*m|.\x08", "", done.stdout)


def test_a_build_that_cannot_be_set_up_says_why(monkeypatch, capsys, tmp_path):
    import builds
    from environment import SetUpFailed

    def fail(house, lock):
        assert house.folder == ".venv-build"
        assert lock == "lock-freeze.txt"
        raise SetUpFailed("no room")

    monkeypatch.setattr(builds, "ensure", fail)
    assert builds.main([str(tmp_path)]) == 3
    assert "no room" in capsys.readouterr().err
