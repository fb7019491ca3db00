"""The one line that a long work shows on a terminal: how much of it is done."""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TextIO

from workbench.base.errors import Message
from workbench.words.language import N_, _
from workbench.words.words import Words

PATIENCE_S = 1.0
"""What is over sooner says nothing."""
OF_A_FILE = N_("{percent:.0f} % of the file is read")


@contextmanager
def reading_line(
    stream: TextIO | None = None,
    clock: Callable[[], float] = time.monotonic,
    said: str = OF_A_FILE,
) -> Iterator[Callable[..., None]]:
    """What a long work tells its share to, and as it likes its step; nothing is shown where
    `stream`, stderr, is no terminal.

    `said` is the line's template.
    """
    stream = stream or sys.stderr
    begun_s, shown, seen = clock(), "", not stream.closed and stream.isatty()

    def show(share: float, step: Message | str = "") -> None:
        nonlocal shown
        words = _(said).format(percent=100 * share) if math.isfinite(share) else Words().say(step)
        if seen and words != shown and clock() - begun_s >= PATIENCE_S:
            shown = words
            stream.write(f"\r{words}\x1b[K")
            stream.flush()

    try:
        yield show
    finally:
        if shown:
            stream.write("\r\x1b[K")
            stream.flush()
