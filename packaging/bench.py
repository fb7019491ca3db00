"""Evenpace in its own environment: a command, the bench on a screen, or a demo without one."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

import debian
from environment import RUN_LOCK, House, SetUpFailed, ensure, hand_over, say

HOUSE = House(Path(__file__).resolve().parent.parent)


def main(arguments: Sequence[str]) -> int:
    """Set up and run evenpace with `arguments`; returns its exit status, 3 without set-up."""
    try:
        ensure(HOUSE, RUN_LOCK)
        if arguments:
            return hand_over([*EVENPACE, *arguments])
        if not _has_screen():
            return _demo_without_screen()
        debian.provide_qt_libraries(say)
        return hand_over([*EVENPACE])
    except SetUpFailed as error:
        say(str(error))
        return 3
    except KeyboardInterrupt:
        say("Interrupted; the next start finishes the set-up.")
        return 130


EVENPACE = (HOUSE.python, "-P", "-m", "workbench.cli")
"""-P: what lies in the caller's folder must not stand in for a module."""


def _has_screen() -> bool:
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def _demo_without_screen() -> int:
    """The technician's job on the simulated digger; says where the certificate lies."""
    folder = Path(tempfile.gettempdir()) / "evenpace-demo"
    folder.mkdir(exist_ok=True)
    certificate = folder / "certificate.pdf"
    say("There is no screen: a readout is calibrated on the simulated digger instead.")
    words = ["calibrate", "sim:calibration-shop", "--for", "300s", "--report", str(certificate)]
    store = str(folder / "demo.db")
    status = subprocess.call([*EVENPACE, *words, "--store", store])
    if status not in (0, 1):
        return status
    say(f"The certificate lies at {certificate}; every command: start.py --help.")
    return 0
