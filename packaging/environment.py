"""Makes an environment such as `.venv` and keeps it as the lock files say; standard library only.

`ensure` is quick once all is there: a stamp in the environment tells which lock it was
filled from. A set-up that did not reach its end leaves a mark, and the next one starts
anew. Two at once wait for each other.
"""

from __future__ import annotations

import hashlib
import importlib.util
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import sysconfig
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import IO, Any, NoReturn

import debian

RUN_LOCK, CHECK_LOCK, FREEZE_LOCK = "lock.txt", "lock-check.txt", "lock-freeze.txt"
"""What Evenpace runs on; what it runs on and is checked with, and what it runs on and is built
with: both hold the first."""

FREE_BYTES = {RUN_LOCK: 1_100_000_000, CHECK_LOCK: 1_900_000_000, FREEZE_LOCK: 1_300_000_000}
"""Room that a first set-up takes, unpacked and downloaded together, with a margin."""


class SetUpFailed(Exception):
    """The environment could not be made; `str()` of it says why and what to do."""


@dataclass(frozen=True)
class House:
    """Where a checkout of Evenpace keeps an environment."""

    root: Path
    folder: str = ".venv"

    @property
    def venv(self) -> Path:
        return self.root / self.folder

    @property
    def scripts(self) -> Path:
        return self.venv / ("Scripts" if os.name == "nt" else "bin")

    @property
    def python(self) -> Path:
        return self.scripts / ("python.exe" if os.name == "nt" else "python")

    @property
    def packages(self) -> Path:
        names = {"base": str(self.venv), "platbase": str(self.venv)}
        return Path(sysconfig.get_path("purelib", "venv", names))

    @property
    def stamp(self) -> Path:
        return self.packages / "evenpace-set-up.json"

    @property
    def unfinished(self) -> Path:
        return self.venv / "unfinished"

    def lock(self, name: str) -> Path:
        return self.root / "packaging" / name


def say(text: str) -> None:
    """A line of set-up talk: on stderr, so that stdout stays the program's own."""
    print(text, file=sys.stderr, flush=True)


def ensure(house: House, lock: str) -> None:
    """See that `.venv` holds what the lock file lists, and Evenpace itself.

    Raises SetUpFailed with a sentence for the person.
    """
    if is_ready(house, lock):
        return
    try:
        with _alone(house), _stopped_by_sigterm():
            if not is_ready(house, lock):
                _set_up(house, lock)
    except OSError as error:
        raise SetUpFailed(_why([f"ERROR: {error}"], house)) from error


def is_ready(house: House, lock: str) -> bool:
    """Whether the last set-up was from this lock and all that it installed is still there."""
    stamp = _stamp(house)
    return (
        stamp is not None
        and stamp["locks"].get(lock) == fingerprint(house, lock)
        and _is_whole(house, stamp)
        and house.python.exists()
        and not house.unfinished.exists()
    )


def _stamp(house: House) -> dict[str, Any] | None:
    try:
        stamp = json.loads(house.stamp.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    keys = {"root", "locks", "holds"}
    return stamp if isinstance(stamp, dict) and stamp.keys() == keys else None


def _is_whole(house: House, stamp: dict[str, Any]) -> bool:
    """Whether nothing is gone, and the folder not moved: scripts name their Python in full."""
    return stamp["root"] == str(house.root) and {
        path.name for path in house.packages.iterdir()
    }.issuperset(stamp["holds"])


def fingerprint(house: House, lock: str) -> str:
    """Changes with the lock, the project's own metadata and the kind of Python."""
    digest = hashlib.sha256()
    for path in (house.lock(lock), house.root / "pyproject.toml"):
        digest.update(path.read_bytes())
    digest.update(f"{sys.implementation.cache_tag} {sysconfig.get_platform()}".encode())
    return digest.hexdigest()


def hand_over(command: Sequence[str | Path]) -> int:
    """Become `command`; where the system cannot, run it and give its exit status."""
    words = [str(word) for word in command]
    if os.name == "posix":
        os.execv(words[0], words)
    return subprocess.call(words)


def _set_up(house: House, lock: str) -> None:
    say(f"Setting Evenpace up in {house.venv} (once, a minute or two) ...")
    if house.unfinished.exists() or not _usable(house):
        _demand_room(house, FREE_BYTES[lock])
        _make_venv(house)
    house.unfinished.touch()
    _pip(house, "--require-hashes", "--only-binary", ":all:", "--no-deps", "-r", house.lock(lock))
    # The build backend stands in the lock, so that this step fetches nothing.
    _pip(house, "--no-deps", "--no-index", "--no-build-isolation", "--editable", house.root)
    _write_stamp(house, lock)
    house.unfinished.unlink()
    say("Set up.")


def _write_stamp(house: House, lock: str) -> None:
    stamp = {
        "root": str(house.root),
        "locks": {name: fingerprint(house, name) for name in (RUN_LOCK, lock)},
        "holds": sorted(path.name for path in house.packages.iterdir()),
    }
    house.stamp.write_text(json.dumps(stamp), encoding="utf-8")


def _usable(house: House) -> bool:
    """Whether `.venv` is an undamaged environment of this version of Python, with pip."""
    stamp = _stamp(house)
    return (stamp is None or _is_whole(house, stamp)) and _has_pip(house)


def _has_pip(house: House) -> bool:
    question = "import sys, pip; print(sys.implementation.cache_tag)"
    try:
        answer = subprocess.run(
            [house.python, "-I", "-c", question], capture_output=True, text=True, check=True
        )
    except (OSError, subprocess.CalledProcessError):
        return False
    return answer.stdout.strip() == sys.implementation.cache_tag


def _make_venv(house: House) -> None:
    _demand_ensurepip()
    house.unfinished.touch()
    for path in house.venv.iterdir():
        if path not in (house.unfinished, _turn(house)):
            shutil.rmtree(path) if path.is_dir() and not path.is_symlink() else path.unlink()
    base = getattr(sys, "_base_executable", None) or sys.executable
    status, lines = run([base, "-I", "-m", "venv", str(house.venv)])
    if status:
        raise SetUpFailed(_why(lines, house))


def _demand_ensurepip() -> None:
    if _has_venv():
        return
    package = f"python{sys.version_info[0]}.{sys.version_info[1]}-venv"
    own = sys.executable.startswith("/usr/bin/")
    if own and debian.install([package], say):
        importlib.invalidate_caches()
        if _has_venv():
            return
    remedy = (
        f"install it with '{debian.command([package])}'"
        if own and debian.is_debian()
        else "use a Python that has the modules 'venv' and 'ensurepip'"
    )
    raise SetUpFailed(
        f"This Python ({sys.executable}) cannot make virtual environments; {remedy} "
        "and start again."
    )


def _has_venv() -> bool:
    return all(importlib.util.find_spec(name) is not None for name in ("venv", "ensurepip"))


def _demand_room(house: House, needed: int) -> None:
    for folder, share in ((house.venv, 1.0), (Path(tempfile.gettempdir()), 0.25)):
        free = shutil.disk_usage(folder).free
        if free < share * needed:
            raise SetUpFailed(
                f"Too little room in {folder}: {free / 1e6:.0f} MB are free, and set-up needs "
                f"about {share * needed / 1e6:.0f} MB there. Make room and start again."
            )


def _pip(house: House, *arguments: str | Path) -> None:
    command = [house.python, "-I", "-m", "pip", "--disable-pip-version-check", "--no-input"]
    status, lines = run(
        [*map(str, command), "install", "--progress-bar", "off", *map(str, arguments)],
        shown=re.compile(r"\s*(Downloading .*|Installing collected packages)"),
    )
    if status:
        raise SetUpFailed(_why(lines, house))


def run(command: list[str], shown: re.Pattern[str] | None = None) -> tuple[int, list[str]]:
    """Exit status and output of a command; the lines that begin as `shown` are passed on."""
    lines = []
    # An offline machine is told so in seconds; a set PIP_USER would miss the environment.
    env = {"PIP_RETRIES": "2", **os.environ, "PIP_USER": "0"}
    with subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        errors="replace",
        env=env,
        close_fds=False,  # keeps the turn (see _alone) even if only this parent is killed
    ) as process:
        assert process.stdout is not None
        try:
            for line in process.stdout:
                lines.append(line.rstrip())
                if shown and (found := shown.match(line)):
                    say("  " + found[1])
        except BaseException:
            process.terminate()
            raise
    return process.returncode, lines


WHY = (
    (r"No space left on device|Errno 28|not enough space", "The disk is full. Make room in {venv} "
     "and in the folder for temporary files, and start again."),
    (r"DO NOT MATCH THE HASHES", "A downloaded package is not the one that was locked: it was "
     "damaged or altered on its way. Start again; if it stays so, use another network."),
    (r"CERTIFICATE_VERIFY_FAILED", "The package index's certificate is not trusted here. On a "
     "network with its own certificate, set PIP_CERT to that certificate's file."),
    (r"NewConnectionError|NameResolutionError|ConnectTimeout|ReadTimeout|getaddrinfo failed|"
     r"name resolution|Network is unreachable|ProxyError|Connection refused|Connection aborted",
     "The package index cannot be reached. Connect this computer to the internet and start "
     "again; once set up, Evenpace needs no network."),
    (r"Permission denied|Read-only file system|Errno 13|Errno 30", "{venv} cannot be written: "
     "{error}. Copy Evenpace into a folder of your own and start it there."),
    (r"No matching distribution found", "{error}. There is no ready-made build of that package "
     "for this Python and this machine. Use Python 3.11 to 3.13 on 64-bit Linux (glibc 2.35 or "
     "newer), Windows or macOS."),
)  # fmt: skip
"""What the output of pip or venv shows -> what to tell the person; the first that fits."""


def _why(lines: Sequence[str], house: House) -> str:
    text = "\n".join(lines)
    for pattern, sentence in WHY:
        if re.search(pattern, text):
            error = next((line for line in reversed(lines) if line.startswith("ERROR")), "")
            return sentence.format(venv=house.venv, error=error.removeprefix("ERROR: "))
    return "\n".join([*lines[-15:], "Set-up failed; the lines above say why. Then start again."])


def _turn(house: House) -> Path:
    return house.venv / "set-up.turn"


@contextmanager
def _alone(house: House) -> Iterator[None]:
    """Hold the turn to set up; waits while another start holds it."""
    house.venv.mkdir(exist_ok=True)
    with _turn(house).open("a+b") as file:
        os.set_inheritable(file.fileno(), True)
        waiting = False
        while not _take(file):
            if not waiting:
                say("Another start is setting Evenpace up; waiting for it ...")
                waiting = True
            time.sleep(0.2)
        yield


def _take(file: IO[bytes]) -> bool:
    try:
        if sys.platform == "win32":
            import msvcrt

            file.seek(0)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True


@contextmanager
def _stopped_by_sigterm() -> Iterator[None]:
    """SIGTERM ends the set-up as Ctrl-C does: with its helpers, and the mark left standing."""

    def stop(number: int, frame: FrameType | None) -> NoReturn:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
