"""A clock that goes on while the computer sleeps."""

from __future__ import annotations

import time


def clock_of_the_computer() -> float:
    """Monotonic seconds that go on while the computer sleeps, where it has such a clock."""
    # time.monotonic stands still in sleep on Linux and macOS; on Windows it goes on.
    for name in ("CLOCK_BOOTTIME", "CLOCK_MONOTONIC"):
        if hasattr(time, name):
            return time.clock_gettime(getattr(time, name))
    return time.monotonic()
