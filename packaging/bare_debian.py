"""The README's two commands from nothing: in a bare Debian made by debootstrap, as root.

Usage: python3 packaging/bare_debian.py [SUITE …] [-- ARGUMENTS OF CHECK]

SUITE is bookworm (Debian 12, Python 3.11) or trixie (13, Python 3.13), both if none is named.
Each gets a root of its own with Python and nothing else, a clone of this checkout's last
commit, and runs there what a newcomer types. Words after `--` go to `packaging/check.py`;
`-- none` leaves that out, as it takes as long as all the tests. `$PIP_CERT`, where a proxy signs
with its own certificate, is taken along. Exit status 1 where a command failed.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parent.parent
SUITES = ("bookworm", "trixie")
NEEDED = ("debootstrap", "chroot", "unshare", "git")
CERTIFICATES = "/etc/proxy-certificates.pem"
IN_THE_ROOT = """
set -e
mount -t proc proc "$0/proc"
mount --rbind /dev "$0/dev"
exec chroot "$0" /usr/bin/env -i HOME=/root PATH=/usr/sbin:/usr/bin:/sbin:/bin "$@"
"""
"""Mounts that only this command and its children see, and that go with them."""


def demand_root() -> None:
    """Raises SystemExit where this cannot be done here."""
    missing = [name for name in NEEDED if shutil.which(name) is None]
    if missing or os.geteuid() != 0:
        print(f"This runs as root and needs {', '.join(missing or NEEDED)}.", file=sys.stderr)
        raise SystemExit(2)


def make_root(suite: str, root: Path, *include: str) -> None:
    """A bare Debian in a folder, with those packages and nothing else."""
    said(["debootstrap", "--variant=minbase", *include, suite, str(root)])


def inside(root: Path, *command: str) -> list[str]:
    """What runs a command in a root, with nothing of this system's environment."""
    return ["unshare", "--mount", "sh", "-c", IN_THE_ROOT, str(root), *command]


def main(words: list[str]) -> int:
    at = words.index("--") if "--" in words else len(words)
    suites, rest = words[:at], words[at + 1 :]
    demand_root()
    failed = []
    for suite in suites or SUITES:
        with tempfile.TemporaryDirectory(prefix=f"{suite}-") as folder:
            failed += [f"{suite}: {told}" for told in _try(suite, Path(folder), rest)]
    print("\n".join(failed) or "All held.")
    return 1 if failed else 0


def _try(suite: str, folder: Path, rest: list[str]) -> list[str]:
    """Both commands in a new root; what failed of them."""
    root = folder / "root"
    make_root(suite, root, "--include=python3")
    home = root / "root" / "evenpace"
    said(["git", "clone", "--quiet", f"file://{CHECKOUT}", str(home)])
    settings = ["PIP_DISABLE_PIP_VERSION_CHECK=1"]
    if certificates := os.environ.get("PIP_CERT"):
        shutil.copyfile(certificates, str(root) + CERTIFICATES)
        settings.append(f"PIP_CERT={CERTIFICATES}")
    commands = [["packaging/start.py"], ["packaging/start.py", "--version"]]
    if rest != ["none"]:
        commands.append(["packaging/check.py", *rest])
    failed = []
    for command in commands:
        begun_s = time.monotonic()
        there = ["sh", "-c", 'cd /root/evenpace && exec python3 "$@"', "sh", *command]
        done = subprocess.run(
            inside(root, *settings, *there), stdin=subprocess.DEVNULL, check=False
        )
        took = f"{' '.join(command)} ended {done.returncode} in {time.monotonic() - begun_s:.0f} s"
        print(f"== {suite}: {took}", flush=True)
        if done.returncode:
            failed.append(took)
    return failed


def said(command: list[str]) -> None:
    print(f"== {' '.join(command)}", flush=True)
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
