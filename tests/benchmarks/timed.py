"""How long a piece of work takes, as the benchmarks count it."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TypeVar

Made = TypeVar("Made")


def seconds(work: Callable[[], Made]) -> tuple[float, Made]:
    """Processor time, so that a busy machine does not decide; and what was made."""
    begin_s = time.process_time()
    result = work()
    return time.process_time() - begin_s, result


def best_s(work: Callable[[], object], repeats: int = 3) -> float:
    """Shortest processor time of a few runs."""
    return min(seconds(work)[0] for _ in range(repeats))
