"""What a person or a script meets at a command's door: names, pipes, full disks, accidents."""

from __future__ import annotations

import io
import json
import os
import re
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing

import pytest

from workbench.base.version import program_version
from workbench.cli import door, main
from workbench.records import database
from workbench.records.store import open_store

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


@pytest.fixture
def started(tmp_path):
    """A command that runs in a process of its own, its streams in pipes."""

    def start(*words):
        env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
        call = [sys.executable, "-m", "workbench.cli", *words]
        pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
        return subprocess.Popen(call, cwd=tmp_path, env=env, **pipes)

    return start


@pytest.mark.parametrize(
    ("words", "status"),
    [
        (("pass", "sim:bumped-valve", "--json"), 0),
        (("pass", "sim:bumped-valve"), 0),
        (("--help",), 0),
        (("pass", "--help"), 0),
        (("verify", "--bad", "--json"), 2),
        (("speed", "nothere.csv", "--json"), 2),
    ],
)
@pytest.mark.parametrize("gone", [("stdout",), ("stdout", "stderr")], ids="+".join)
def test_a_reader_that_goes_away_is_no_fail(started, words, status, gone):
    with started(*words) as process:
        for name in gone:
            getattr(process, name).close()
        said = b"" if "stderr" in gone else process.stderr.read()
        assert process.wait() == status
    assert b"Traceback" not in said
    assert b"Exception ignored" not in said


@pytest.mark.skipif(sys.platform == "win32", reason="a stream closed by the shell: not Windows'")
@pytest.mark.parametrize("closed", ["2>&-", ">&-", ">&- 2>&-"])
def test_a_closed_stream_stops_no_command(tmp_path, closed):
    (tmp_path / "run.csv").write_text(EDGES)
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    call = f"{sys.executable} -m workbench.cli speed run.csv {closed}"
    done = subprocess.run(call, shell=True, cwd=tmp_path, env=env, capture_output=True)
    assert done.returncode == 0, done.stderr
    assert (b"left" in done.stdout) == (closed == "2>&-")


@pytest.mark.skipif(sys.platform == "win32", reason="Windows sends no SIGINT to one process")
@pytest.mark.parametrize("after_s", [0.1, 0.25, 0.4, 0.6, 0.8])
def test_ctrl_c_is_quiet_from_the_first_moment(started, after_s):
    with started("pass", "sim:bumped-valve", "--for", "600s") as process:
        try:  # not a moment by which anything is judged: any may come
            process.wait(after_s)
        except subprocess.TimeoutExpired:
            process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=60)
    # A traceback into our own lines; while they are only being found and compiled, Python has not
    # come to any of them.
    assert not re.search(rb'File ".*workbench.*", line \d+, in (?!<module>)', said), said
    assert b"Exception ignored" not in said
    # 1: the answer was there before; the last is what Python's own start and end leave.
    assert process.returncode in (130, 1, -signal.SIGINT)


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
        (("speed", "1", "--store", "/proc/none/store.db"), 2),
        (("record", "sim:healthy", "--for", "1s", "--store", "/proc/none/store.db"), 3),
        (("import", "nothere.csv"), 2),
        (("inputs", "nothere.csv"), 2),
        (("record", "sim:nowhere"), 2),
        (("record", "counter:/dev/no-such-port"), 3),
        (("pass",), 2),
        (("verify", "1", "--all"), 2),
        (("verify", "--head", "nonsense"), 2),
        (("verify", "--paper", "nothere.html"), 2),
        (("report", "1", "-o", "x.txt"), 2),
        # What argparse refuses.
        (("speed",), 2),
        (("record",), 2),
        (("report", "x", "-o", "x.html"), 2),
        (("export", "1"), 2),
        (("calibrate", "x.csv", "--nonsense"), 2),
        (("gap", "x.csv", "--blade-step", "-3"), 2),
        (("nonsense",), 2),
        (("verify", "--lang", "xx"), 2),
    ],
)
def test_an_error_is_an_object_too_where_one_was_asked_for(capsys, words, status):
    assert status_of([*words, "--json"]) == status
    out, err = capsys.readouterr()
    told = json.loads(out)
    assert told["exit_status"] == status
    assert told["error"] in err


def status_of(words):
    try:
        return main(words)
    except SystemExit as refused:
        return refused.code


@pytest.mark.skipif(sys.platform != "linux", reason="/dev/full: not on Linux")
@pytest.mark.parametrize("words", [["gap"], ["pass"], ["calibrate"]], ids="".join)
def test_a_report_that_cannot_be_written_does_not_hide_the_answer(tmp_path, capsys, words):
    report = tmp_path / "report.html"
    report.symlink_to("/dev/full")
    source = "sim:calibration-shop" if words == ["calibrate"] else "sim:healthy"
    call = [*words, source, "--report", str(report)]
    assert main([*call, "--json"]) in (2, 3)
    out, err = capsys.readouterr()
    told = json.loads(out)
    assert "verdict" in told
    assert "cannot be written" in told["error"]
    assert told["error"] in err
    assert main(call) == told["exit_status"]
    assert capsys.readouterr().out


def test_a_store_that_takes_no_more_does_not_hide_the_answer(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(database, "_BUSY_MS", 5)
    (tmp_path / "run.csv").write_text(EDGES)
    assert main(["import", str(tmp_path / "run.csv")]) == 0
    with closing(sqlite3.connect(tmp_path / "store.db", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        capsys.readouterr()
        assert main(["speed", "1", "--json"]) == 0
        told = json.loads(capsys.readouterr().out)
        assert told["edges"] == 400
        assert "result" not in told
        assert "The answer was not stored: " in told["warnings"][-1]
        assert main(["speed", "1"]) == 0
        assert "The answer was not stored: " in capsys.readouterr().err
        other.rollback()


def test_an_import_is_whole_or_not_at_all(tmp_path, child):
    (tmp_path / "run.csv").write_text(EDGES)
    killed = (
        "import os, sys; from workbench.records.writer import Writer\n"
        "def die(*_): os._exit(9)\n"
        "Writer.{at} = die\n"
        "from workbench.cli import main; main(['import', 'run.csv'])"
    )
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    for at in ("write", "end"):
        call = [sys.executable, "-c", killed.format(at=at)]
        assert subprocess.run(call, cwd=tmp_path, env=env, capture_output=True).returncode == 9
        with open_store() as store:
            assert store.recordings(deleted=True) == []
            assert not store.check().problems
    assert child("import", "run.csv", stdout=subprocess.PIPE)[0] == 0
    with open_store() as store:
        assert [one.state for one in store.recordings()] == ["ended"]


def test_a_name_longer_than_any_file_is_no_scenario(capsys):
    for command in (["record", "--for", "1s"], ["speed"]):
        assert main([*command, "sim:" + "x" * 5000]) == 2
        assert "no scenario has this name" in capsys.readouterr().err


def test_a_can_interface_without_its_makers_library_says_so(tmp_path, child):
    status, _, err = child("record", "can:kvaser:0", "--for", "1s", stdout=subprocess.PIPE)
    assert status == 3
    assert err.startswith(b"evenpace record: The interface kvaser needs its maker's driver")
    assert len(err.splitlines()) == 1
    assert not (tmp_path / "store.db").exists()


def test_a_part_of_an_answer_tells_its_error_too(tmp_path, capsys):
    (tmp_path / "run.csv").write_text(EDGES)
    (tmp_path / "bad.csv").write_text("name,price\n1,2\n")
    for command, key in (("import", "imported"), ("inputs", "files")):
        words = [command, str(tmp_path / "run.csv"), str(tmp_path / "bad.csv"), "--json"]
        assert main(words) == 2
        told = json.loads(capsys.readouterr().out)
        assert told[key][0]["name"].endswith("run.csv")
        assert "bad.csv" in told["error"]
        assert told["exit_status"] == 2


def test_a_damaged_store_is_an_error_of_verify_and_export(tmp_path, capsys):
    (tmp_path / "run.csv").write_text(EDGES)
    assert main(["import", str(tmp_path / "run.csv")]) == 0
    with closing(sqlite3.connect(tmp_path / "store.db")) as raw:
        raw.execute("DROP TRIGGER piece_no_update")
        raw.execute("UPDATE piece SET data = x'00' WHERE sequence = 0")
        raw.commit()
    capsys.readouterr()
    for words in (["verify"], ["export", "1", "-o", str(tmp_path / "x.csv")]):
        assert main([*words, "--json"]) == 3
        out, err = capsys.readouterr()
        told = json.loads(out)
        assert told["exit_status"] == 3
        assert told["error"].split(".")[0] in err


def test_the_version_is_told(capsys):
    assert status_of(["--version"]) == 0
    assert capsys.readouterr().out == f"evenpace {program_version()}\n"


def test_what_nobody_foresaw_is_a_sentence_and_its_log(monkeypatch, capsys, tmp_path):
    def broken(_args):
        raise ZeroDivisionError("division by zero")

    module = type("Broken", (), {"run": staticmethod(broken), "add_arguments": lambda _: None})
    monkeypatch.setattr(door, "import_module", lambda _: module)
    monkeypatch.setattr("platformdirs.user_log_path", lambda _: tmp_path)
    assert main(["speed"]) == 3
    err = capsys.readouterr().err
    assert "something unexpected went wrong (ZeroDivisionError: division by zero)" in err
    assert str(tmp_path / "evenpace.log") in err
    assert "Traceback" in (tmp_path / "evenpace.log").read_text()


def test_output_that_cannot_be_reconfigured_is_left_alone(monkeypatch):
    monkeypatch.setattr(sys, "stdout", io.StringIO())
    assert main(["speed", "nothere.csv"]) == 2


WORDS_ON_A_STORE = [
    ("verify",),
    ("verify", "1"),
    ("verify", "--all"),
    ("export", "1", "-o", "x.csv"),
    ("report", "1", "-o", "x.html"),
    ("speed", "1"),
    ("gap", "1"),
    ("calibrate", "1"),
    ("pass", "1"),
    ("pass", "--all"),
]


@pytest.mark.parametrize("words", WORDS_ON_A_STORE, ids=" ".join)
def test_no_command_makes_a_store_of_a_mistyped_address(tmp_path, capsys, monkeypatch, words):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "empty.db").touch()
    before = sorted(tmp_path.rglob("*"))
    for named in (["--store", "folder/typo.db"], ["--store", "empty.db"], []):
        assert status_of([*words, *named]) == 2
        said = capsys.readouterr().err
        assert "There is no store at " in said
        assert "`evenpace record` and `evenpace import` make one" in said
    assert sorted(tmp_path.rglob("*")) == before
    assert (tmp_path / "empty.db").stat().st_size == 0


@pytest.mark.parametrize("command", ["speed", "gap", "calibrate", "pass", "calibrate runs"])
def test_no_typed_address_becomes_a_store_by_a_file_or_table(tmp_path, capsys, command):
    command, _, table = command.partition(" ")
    path = tmp_path / "source.csv"
    path.write_text("run,shown,laps,laps_time_s,pulses,pulses_time_s\n" if table else EDGES)
    typo = tmp_path / "typo.db"
    assert main([command, str(path), "--store", str(typo)]) == 2
    assert f"There is no store at {typo}" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == [path]


def test_no_command_makes_a_store_of_an_empty_database(new_database, capsys):
    import psycopg

    for words in WORDS_ON_A_STORE:
        assert main([*words, "--store", new_database]) == 2
        assert "There is no store at " in capsys.readouterr().err
    with psycopg.connect(new_database) as raw:
        assert raw.execute(
            "SELECT count(*) FROM pg_tables WHERE schemaname='public'"
        ).fetchone() == (0,)


def test_a_store_that_is_made_is_told_once(tmp_path, capsys):
    (tmp_path / "run.csv").write_text(EDGES)
    new = tmp_path / "shop" / "new.db"
    calls = (
        ["import", str(tmp_path / "run.csv")],
        ["record", "sim:healthy?pace=fast", "--for", "2s"],
    )
    for first, second in (calls, calls[::-1]):
        assert main([*first, "--store", str(new)]) == 0
        assert f"There was no store yet; one was made: {new}" in capsys.readouterr().err
        assert main([*second, "--store", str(new)]) == 0
        assert "one was made" not in capsys.readouterr().err
        new = tmp_path / "other.db"


def test_a_store_in_an_unknown_home_is_refused(capsys):
    assert main(["verify", "--store", "~nobody-here/x.db"]) == 3
    assert "does not know" in capsys.readouterr().err


def test_a_length_that_cannot_be_is_refused_where_it_is_typed(capsys):
    with pytest.raises(SystemExit, match="2"):
        main(["gap", "readings.csv", "--blade-step", "1e308"])
    assert "longer than any target wheel" in capsys.readouterr().err
