"""Evenpace in its own environment: a command, the bench on a screen, or a demo without one."""

from __future__ import annotations

import ctypes
import os
import sys
from collections.abc import Sequence
from pathlib import Path

import debian
from environment import RUN_LOCK, House, SetUpFailed, ensure, hand_over, say

HOUSE = House(Path(__file__).resolve().parent.parent)


def main(arguments: Sequence[str]) -> int:
    """Set up and run evenpace with `arguments`; returns its exit status, 3 without set-up."""
    try:
        ensure(HOUSE, RUN_LOCK)
        return hand_over([*EVENPACE, *arguments] if arguments else _bench())
    except SetUpFailed as error:
        say(str(error))
        return 3
    except KeyboardInterrupt:
        say("Interrupted; the next start finishes the set-up.")
        return 130


EVENPACE = (HOUSE.python, "-P", "-m", "workbench.cli")
"""-P: what lies in the caller's folder must not stand in for a module."""


def _bench() -> list[str | Path]:
    return [*EVENPACE]
