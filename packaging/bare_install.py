"""The Debian package in a bare Debian without Python: installed, used, driven, removed; as root.

Usage: python3 packaging/bare_install.py PACKAGE.deb [SUITE]     (bookworm, where none is named)

A calibration and its PDF by commands, then the real window on a virtual display, by the same
test that drives the checkout's. Exit status 1 where something did not hold, 77 where no bare
Debian can be made here: mounting is forbidden, or no mirror answers.
"""

from __future__ import annotations

import shlex
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from bare_debian import demand_root, inside, make_root

CHECK = Path(__file__).with_name("check.py")
NOT_HERE = 77
SLOWER_S = 0.5
"""What `--help` may take beyond a program that does nothing."""
IN_THE_WINDOW = """#!/bin/sh
exec unshare --mount sh -c 'mount -t proc proc {root}/proc
mount --rbind /dev {root}/dev
mount --rbind /tmp {root}/tmp
exec chroot {root} /usr/bin/evenpace'
"""
"""The installed program in the surroundings of whoever starts it; /tmp holds the X socket and the
test's folders."""
PIECES = (
    "/usr/bin/evenpace",
    "/usr/share/applications/evenpace.desktop",
    "/usr/share/icons/hicolor/scalable/apps/evenpace.svg",
    "/usr/lib/udev/rules.d/70-evenpace.rules",
    "/usr/share/bash-completion/completions/evenpace",
    "/usr/share/zsh/vendor-completions/_evenpace",
    "/usr/share/fish/vendor_completions.d/evenpace.fish",
    "/usr/share/doc/evenpace/licences/pyside6_essentials/LGPL-3.0.txt",
)


def main(words: list[str]) -> int:
    if not words:
        print(__doc__, file=sys.stderr)
        return 2
    demand_root()
    package, suite = Path(words[0]).resolve(), (words[1:] or ["bookworm"])[0]
    # Not below /tmp, which is to be mounted in it.
    with tempfile.TemporaryDirectory(prefix="bare-", dir="/var/tmp") as folder:
        root = Path(folder) / "root"
        try:
            make_root(suite, root)
            subprocess.run(inside(root, "true"), check=True)
        except subprocess.CalledProcessError as error:
            print(f"No bare Debian can be made here: {error}", file=sys.stderr)
            return NOT_HERE
        failed = [said for said in _steps(root, package) if said]
    print("\n".join(failed) or f"{suite}: all held.")
    return 1 if failed else 0


def _steps(root: Path, package: Path) -> list[str]:
    shutil.copy(package, root / "root" / "evenpace.deb")
    return [
        _run(root, "apt-get -qq update"),
        _run(root, "apt-get -qq install -y --no-install-recommends /root/evenpace.deb"),
        *(_run(root, f"test -e {piece}") for piece in PIECES),
        _run(root, "sh -c '! command -v python3'"),
        _run(root, "evenpace --version"),
        _run(root, "evenpace calibrate sim:calibration-shop --for 5min --report /root/c.pdf", 1),
        _run(root, "sh -c 'head -c 5 /root/c.pdf | grep -q %PDF'"),
        _run(root, "evenpace pass sim:healthy --report /root/p.html"),
        _quick(root),
        _window(root),
        _run(root, "apt-get -qq purge -y evenpace"),
        _run(root, 'sh -c \'! find / -xdev -name "*evenpace*" -not -path "/root/*" | grep .\''),
    ]


def _run(root: Path, command: str, status: int = 0) -> str:
    """What failed, '' where nothing did. The readout of the demonstration is not right, which is
    a `status` of 1."""
    words = ["DEBIAN_FRONTEND=noninteractive", *shlex.split(command)]
    done = subprocess.run(
        inside(root, *words), stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
    )
    print(f"== {command}: {done.returncode}", flush=True)
    if done.returncode == status:
        return ""
    return f"{command} ended {done.returncode}\n{done.stdout[-2000:]}{done.stderr[-2000:]}"


def _quick(root: Path) -> str:
    """The least of five, which another program's work disturbs least."""
    took = {
        program: min(_seconds(inside(root, *program.split())) for _ in range(5))
        for program in ("true", "evenpace --help")
    }
    more_s = took["evenpace --help"] - took["true"]
    print(f"== evenpace --help takes {more_s:.2f} s more than a program that does nothing")
    return f"--help takes {more_s:.2f} s; at most {SLOWER_S} s" if more_s > SLOWER_S else ""


def _seconds(command: list[str]) -> float:
    begun_s = time.monotonic()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.monotonic() - begun_s


def _window(root: Path) -> str:
    """The test of the real window, with the installed program."""
    program = root.parent / "evenpace"
    program.write_text(IN_THE_WINDOW.format(root=root), encoding="utf-8")
    program.chmod(0o755)
    test = ["tests/workbench/gui/test_real_window.py", "-q", "-p", "no:cacheprovider"]
    done = subprocess.run(
        ["env", f"EVENPACE_PROGRAM={program}", sys.executable, str(CHECK), *test], check=False
    )
    return "the window was not driven to its end" if done.returncode else ""


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
