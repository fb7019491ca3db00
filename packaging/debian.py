"""System packages on Debian and what derives from it; standard library only."""

from __future__ import annotations

import ctypes
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Sequence

QT_LIBRARIES = {
    "libEGL.so.1": "libegl1",
    "libGL.so.1": "libgl1",
    "libX11.so.6": "libx11-6",
    "libX11-xcb.so.1": "libx11-xcb1",
    "libdbus-1.so.3": "libdbus-1-3",
    "libfontconfig.so.1": "libfontconfig1",
    "libfreetype.so.6": "libfreetype6",
    "libglib-2.0.so.0": "libglib2.0-0",
    "libwayland-client.so.0": "libwayland-client0",
    "libwayland-cursor.so.0": "libwayland-cursor0",
    "libwayland-egl.so.1": "libwayland-egl1",
    "libxcb.so.1": "libxcb1",
    "libxcb-cursor.so.0": "libxcb-cursor0",
    "libxcb-glx.so.0": "libxcb-glx0",
    "libxcb-icccm.so.4": "libxcb-icccm4",
    "libxcb-image.so.0": "libxcb-image0",
    "libxcb-keysyms.so.1": "libxcb-keysyms1",
    "libxcb-randr.so.0": "libxcb-randr0",
    "libxcb-render.so.0": "libxcb-render0",
    "libxcb-render-util.so.0": "libxcb-render-util0",
    "libxcb-shape.so.0": "libxcb-shape0",
    "libxcb-shm.so.0": "libxcb-shm0",
    "libxcb-sync.so.1": "libxcb-sync1",
    "libxcb-util.so.1": "libxcb-util1",
    "libxcb-xfixes.so.0": "libxcb-xfixes0",
    "libxcb-xkb.so.1": "libxcb-xkb1",
    "libxkbcommon.so.0": "libxkbcommon0",
    "libxkbcommon-x11.so.0": "libxkbcommon-x11-0",
}
"""What Qt's wheels leave to the system, read off with ldd on a bare Debian 12 -> its package."""

Say = Callable[[str], None]


def is_debian() -> bool:
    return sys.platform == "linux" and shutil.which("apt-get") is not None


def command(packages: Sequence[str]) -> str:
    """What a person types to install the packages."""
    return f"sudo apt-get install -y {' '.join(packages)}"


def install(packages: Sequence[str], say: Say) -> bool:
    """Install the packages where this user may; tells whether they are there now."""
    if not is_debian() or os.geteuid() != 0:
        return False
    say(f"Installing with apt-get: {' '.join(packages)} ...")
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for words in (["update"], ["install", "-y", "--no-install-recommends", *packages]):
        done = subprocess.run(
            ["apt-get", "-qq", *words],
            env=quiet,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            errors="replace",
            check=False,
        )
    if done.returncode:
        say("\n".join(done.stderr.strip().splitlines()[-5:]))
    return done.returncode == 0


def provide_qt_libraries(say: Say) -> bool:
    """See that the screens' system libraries are there; tells whether they are.

    Only Linux leaves any to the system. As root on Debian they are installed; otherwise
    the command that installs them is said.
    """
    missing = [soname for soname in QT_LIBRARIES if not _loads(soname)]
    if sys.platform != "linux" or not missing:
        return True
    packages = [QT_LIBRARIES[soname] for soname in missing]
    if install(packages, say):
        return True
    if is_debian():
        say(f"The screens need system libraries. Install them with:\n  {command(packages)}")
    else:
        say(f"The screens need system libraries; install what provides {', '.join(missing)}.")
    return False


def _loads(soname: str) -> bool:
    try:
        ctypes.CDLL(soname)
    except OSError:
        return False
    return True
