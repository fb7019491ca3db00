"""What a person or a script meets at a command's door: names, pipes, full disks, accidents."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys

import pytest

from workbench import cli
from workbench.cli import main

EDGES = "time_s,channel\n" + "".join(f"{n / 100},left\n" for n in range(400))


@pytest.fixture(autouse=True)
def own_folders(tmp_path, monkeypatch):
    monkeypatch.setenv("EVENPACE_STORE", str(tmp_path / "store.db"))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))


@pytest.fixture
def child(tmp_path):
    """A command in a process of its own; (exit status, stdout, stderr) as bytes."""

    def run(*words, **how):
        env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), **how.pop("env", {})}
        call = [sys.executable, "-m", "workbench.cli", *words]
        done = subprocess.run(call, cwd=tmp_path, env=env, stderr=subprocess.PIPE, **how)
        return done.returncode, done.stdout, done.stderr

    return run


@pytest.mark.parametrize(
    "name", ["north [/] field", "[left]", "[bold red]x[/]", "a\x1b[31mred\x07"]
)
def test_any_name_is_shown_and_none_steers_the_terminal(tmp_path, capsys, name):
    if "/" in name:
        path = tmp_path / "run.csv"
        path.write_text(EDGES)
        assert main(["record", "sim:healthy?pace=fast", "--for", "5s", "--name", name]) == 0
        assert main(["speed", "1"]) == 0
    else:
        path = tmp_path / f"{name}.csv"
        path.write_text(EDGES)
        assert main(["inputs", str(path)]) == 0
        assert main(["speed", str(path)]) == 0
    out = capsys.readouterr().out
    assert "\x1b" not in out
    assert "\x07" not in out
    assert name.replace("\x1b", "·").replace("\x07", "·") in out


def test_a_name_that_is_no_text_is_shown(tmp_path, child):
    path = os.fsencode(str(tmp_path)) + b"/caf\xe9.csv"
    with open(path, "wb") as file:  # noqa: PTH123, a name that is no text
        file.write(EDGES.encode())
    status, out, err = child("speed", path, stdout=subprocess.PIPE)
    assert (status, b"Traceback" in err) == (0, False)
    assert b"caf" in out


def test_an_encoding_without_a_sign_gets_its_nearest(tmp_path, child):
    (tmp_path / "run.csv").write_text(EDGES)
    for encoding in ("cp1252", "ascii"):
        env = {"PYTHONIOENCODING": encoding}
        status, out, err = child("pass", "sim:bumped-valve", stdout=subprocess.PIPE, env=env)
        assert (status, b"Traceback" in err) == (0, False)
        assert b"-" in out


@pytest.mark.skipif(sys.platform != "linux", reason="/dev/full: not on Linux")
def test_a_disk_that_is_full_is_a_sentence(tmp_path, child):
    (tmp_path / "run.csv").write_text(EDGES)
    for more in ((), ("--json",)):
        with open("/dev/full", "wb") as full:  # noqa: PTH123
            status, _, err = child("speed", "run.csv", *more, stdout=full)
        assert status == 3
        assert b"cannot be written" in err
        assert b"Traceback" not in err
        assert b"Exception ignored" not in err


def test_a_reader_that_goes_away_is_no_fail(tmp_path):
    (tmp_path / "run.csv").write_text(EDGES)
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    with subprocess.Popen(
        [sys.executable, "-m", "workbench.cli", "pass", "sim:bumped-valve", "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=tmp_path,
        env=env,
    ) as process:
        process.stdout.close()
        assert process.stderr.read() == b"CAUTION" or b"Traceback" not in process.stderr.read()
        assert process.wait() == 0


@pytest.mark.parametrize(
    ("words", "status"),
    [
        (("speed", "nothere.csv"), 2),
        (("calibrate", "nothere.csv"), 2),
        (("gap", "nothere.csv"), 2),
        (("pass", "nothere.csv"), 2),
        (("verify", "7"), 2),
        (("report", "7", "-o", "x.html"), 2),
        (("export", "7", "-o", "x.csv"), 2),
        (("speed", "1", "--store", "/proc/none/store.db"), 3),
    ],
)
def test_an_error_is_an_object_too_where_one_was_asked_for(capsys, words, status):
    assert main([*words, "--json"]) == status
    out, err = capsys.readouterr()
    told = json.loads(out)
    assert told["exit_status"] == status
    assert told["error"] in err


def test_what_nobody_foresaw_is_a_sentence_and_its_log(monkeypatch, capsys, tmp_path):
    def broken(_args):
        raise ZeroDivisionError("division by zero")

    module = type("Broken", (), {"run": staticmethod(broken), "add_arguments": lambda _: None})
    monkeypatch.setattr(cli, "import_module", lambda _: module)
    monkeypatch.setattr("platformdirs.user_log_path", lambda _: tmp_path)
    assert main(["speed"]) == 3
    err = capsys.readouterr().err
    assert "something unexpected went wrong (ZeroDivisionError: division by zero)" in err
    assert str(tmp_path / "evenpace.log") in err
    assert "Traceback" in (tmp_path / "evenpace.log").read_text()


def test_output_that_cannot_be_reconfigured_is_left_alone(monkeypatch):
    monkeypatch.setattr(sys, "stdout", io.StringIO())
    assert main(["speed", "nothere.csv"]) == 2


def test_a_store_in_an_unknown_home_is_refused(capsys):
    assert main(["verify", "--store", "~nobody-here/x.db"]) == 3
    assert "does not know" in capsys.readouterr().err


def test_a_length_that_cannot_be_is_refused_where_it_is_typed(capsys):
    with pytest.raises(SystemExit, match="2"):
        main(["gap", "readings.csv", "--blade-step", "1e308"])
    assert "longer than any target wheel" in capsys.readouterr().err
