"""Set-up: when it is done again, what it says when it cannot, and that two never mix."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from types import SimpleNamespace

import pytest

SCRIPTS = ("start.py", "check.py", "python_version.py")


@pytest.fixture
def environment():
    import environment

    return environment


@pytest.fixture
def house(environment, tmp_path):
    """A checkout that was never set up."""
    (tmp_path / "packaging").mkdir()
    for lock in (environment.RUN_LOCK, environment.CHECK_LOCK, environment.FREEZE_LOCK):
        (tmp_path / "packaging" / lock).write_text(f"# {lock}\n")
    (tmp_path / "pyproject.toml").write_text('[project]\nname = "evenpace"\n')
    return environment.House(tmp_path)


@pytest.fixture
def commands(environment, house, monkeypatch):
    """Stands for venv and pip: keeps what they were told, and leaves what they would leave."""
    told = []

    def run(command, shown=None):
        told.append(command)
        house.packages.mkdir(parents=True, exist_ok=True)
        house.scripts.mkdir(exist_ok=True)
        house.python.touch()
        if "--require-hashes" in command:
            (house.packages / "numpy").mkdir(exist_ok=True)
        return 0, []

    monkeypatch.setattr(environment, "run", run)
    monkeypatch.setattr(environment, "_has_pip", lambda house: house.python.exists())
    return told


def steps(commands):
    """The commands, each by what tells it from the others."""
    names = {"venv": "make", "--require-hashes": "fill", "--editable": "add evenpace"}
    return [next(names[word] for word in command if word in names) for command in commands]


def test_first_set_up_makes_fills_and_adds_evenpace(environment, house, commands):
    environment.ensure(house, "lock.txt")
    assert steps(commands) == ["make", "fill", "add evenpace"]
    assert environment.is_ready(house, "lock.txt")
    assert not environment.is_ready(house, "lock-check.txt")
    fill = commands[1]
    assert fill[fill.index("--only-binary") + 1] == ":all:"
    assert str(house.lock("lock.txt")) in fill
    assert "--no-index" in commands[2]  # nothing that no lock holds is fetched


@pytest.mark.parametrize("lock", ["lock-check.txt", "lock-freeze.txt"])
def test_second_time_does_nothing(environment, house, commands, lock):
    environment.ensure(house, lock)
    commands.clear()
    environment.ensure(house, lock)
    environment.ensure(house, "lock.txt")  # either lock holds all of it
    assert commands == []


@pytest.mark.parametrize("changed", ["packaging/lock.txt", "pyproject.toml"])
def test_a_change_fills_again_without_making_anew(environment, house, commands, changed):
    environment.ensure(house, "lock.txt")
    commands.clear()
    with (house.root / changed).open("a") as file:
        file.write("# changed\n")
    environment.ensure(house, "lock.txt")
    assert steps(commands) == ["fill", "add evenpace"]


def lose_a_package(house):
    (house.packages / "numpy").rmdir()


def stop_half_way(house):
    house.unfinished.touch()


def spoil_the_stamp(house):
    house.stamp.write_text("{")
    house.unfinished.touch()


def lose_python(house):
    house.python.unlink()


def move(house):
    stamp = json.loads(house.stamp.read_text())
    house.stamp.write_text(json.dumps(stamp | {"root": "/elsewhere"}))


@pytest.mark.parametrize(
    "harm", [lose_a_package, stop_half_way, spoil_the_stamp, lose_python, move]
)
def test_a_damaged_environment_is_made_anew(environment, house, commands, harm):
    environment.ensure(house, "lock.txt")
    commands.clear()
    (house.venv / "left over").touch()
    harm(house)
    environment.ensure(house, "lock.txt")
    assert steps(commands) == ["make", "fill", "add evenpace"]
    assert not (house.venv / "left over").exists()
    assert not house.unfinished.exists()
    assert environment.is_ready(house, "lock.txt")


def test_a_set_up_that_fails_leaves_its_mark(environment, house, monkeypatch):
    monkeypatch.setattr(environment, "run", lambda command, shown=None: (1, ["ERROR: no"]))
    with pytest.raises(environment.SetUpFailed):
        environment.ensure(house, "lock.txt")
    assert house.unfinished.exists()


# Lines printed by pip 23.0 to 23.2 on the occasion that each names.
OFFLINE = "ConnectionError: HTTPSConnectionPool: Max retries exceeded (Caused by NewConnectionError"
SAID = {
    OFFLINE: "internet",
    "ERROR: Could not install packages due to an OSError: [Errno 28] No space left on device":
        "disk is full",
    "ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE.": "altered",
    "SSLError: certificate verify failed: [SSL: CERTIFICATE_VERIFY_FAILED]": "PIP_CERT",
    "ERROR: [Errno 30] Read-only file system: '/mnt/.venv'": "folder of your own",
    "ERROR: No matching distribution found for lz4==4.4.5": "lz4==4.4.5",
    "ERROR: something never seen": "something never seen",
}  # fmt: skip


@pytest.mark.parametrize("line", SAID)
def test_pip_failing_is_told_in_a_sentence(environment, house, monkeypatch, line):
    monkeypatch.setattr(environment, "run", lambda *_, **__: (1, [line]))
    with pytest.raises(environment.SetUpFailed, match=SAID[line]):
        environment.ensure(house, "lock.txt")


def test_offline_is_told_before_what_follows_from_it(environment, house, monkeypatch):
    lines = [OFFLINE, "ERROR: No matching distribution found for alembic==1"]
    monkeypatch.setattr(environment, "run", lambda *_, **__: (1, lines))
    with pytest.raises(environment.SetUpFailed, match="internet") as said:
        environment.ensure(house, "lock.txt")
    assert "alembic" not in str(said.value)


def test_too_little_room_is_told_before_anything_is_fetched(
    environment, house, commands, monkeypatch
):
    monkeypatch.setattr(environment.shutil, "disk_usage", lambda _: SimpleNamespace(free=5e6))
    with pytest.raises(environment.SetUpFailed, match="5 MB are free"):
        environment.ensure(house, "lock.txt")
    assert commands == []


def test_a_python_that_makes_no_environments(environment, house, monkeypatch):
    monkeypatch.setattr(environment, "_has_venv", lambda: False)
    monkeypatch.setattr(environment.sys, "executable", "/usr/bin/python3")
    monkeypatch.setattr(environment.debian, "is_debian", lambda: True)
    monkeypatch.setattr(environment.debian, "install", lambda packages, say: False)
    package = f"python3.{sys.version_info[1]}-venv"
    with pytest.raises(environment.SetUpFailed, match=f"sudo apt-get install -y {package}"):
        environment.ensure(house, "lock.txt")


@pytest.mark.skipif(sys.platform == "win32", reason="not on Linux: the turn is held otherwise")
def test_two_starts_take_turns(environment, house, commands, monkeypatch):
    """The second waits while another process holds the turn, and then has nothing to do."""
    environment.ensure(house, "lock.txt")
    stamp = house.stamp.read_text()
    house.stamp.unlink()
    commands.clear()
    script = "import fcntl, sys; f = open(sys.argv[1], 'ab'); fcntl.flock(f, fcntl.LOCK_EX); "
    script += "print('held', flush=True); sys.stdin.read()"
    other = subprocess.Popen(
        [sys.executable, "-c", script, str(house.venv / "set-up.turn")],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert other.stdout.readline() == "held\n"

    said = []
    monkeypatch.setattr(environment, "say", said.append)

    def other_sets_up_and_ends(seconds):
        assert commands == []
        assert "waiting" in said[0]
        house.stamp.write_text(stamp)
        other.communicate("")

    monkeypatch.setattr(environment.time, "sleep", other_sets_up_and_ends)
    environment.ensure(house, "lock.txt")
    assert commands == []
    assert other.returncode == 0


def test_what_a_helper_prints_is_kept_and_part_of_it_shown(environment, capfd):
    script = "print('Downloading x'); print('noise'); raise SystemExit(3)"
    shown = environment.re.compile("(Downloading .*)")
    assert environment.run([sys.executable, "-c", script], shown) == (
        3,
        ["Downloading x", "noise"],
    )
    out, err = capfd.readouterr()
    assert out == ""
    assert err == "  Downloading x\n"


@pytest.mark.parametrize("script", SCRIPTS)
def test_an_old_python_can_read_the_scripts(root, script):
    """Read as Python 3.4; what 2.7 cannot read either (f-strings, annotations) is not used."""
    ast.parse((root / "packaging" / script).read_text(encoding="utf-8"), feature_version=(3, 4))


@pytest.mark.parametrize("script", ["start.py", "check.py"])
def test_an_old_python_is_told_what_is_needed(root, script):
    program = "import runpy, sys; sys.version_info = (3, 9, 2); sys.argv = sys.argv[1:]; "
    program += "runpy.run_path(sys.argv[0], run_name='__main__')"
    done = subprocess.run(
        [sys.executable, "-c", program, str(root / "packaging" / script)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stdout == ""
    assert "needs Python 3.11 or newer; this is Python 3.9" in done.stderr


def test_packaging_hides_no_library(root):
    """An `__init__.py` there would stand in for the library named packaging."""
    assert not (root / "packaging" / "__init__.py").exists()
