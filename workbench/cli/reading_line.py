"""The one line that a long reading shows on a terminal: how much of the file has been read."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TextIO

from workbench.words.language import _

PATIENCE_S = 1.0
"""What is over sooner says nothing."""


@contextmanager
def reading_line(
    stream: TextIO | None = None, clock: Callable[[], float] = time.monotonic
) -> Iterator[Callable[[float], None] | None]:
    """What a reader tells its share to; None where `stream`, stderr, is no terminal."""
    stream = stream or sys.stderr
    if not stream.isatty():
        yield None
        return
    begun_s, shown = clock(), False

    def show(share: float) -> None:
        nonlocal shown
        if clock() - begun_s >= PATIENCE_S:
            shown = True
            words = _("{percent:.0f} % of the file is read").format(percent=100 * share)
            stream.write(f"\r{words}\x1b[K")
            stream.flush()

    yield show
    if shown:
        stream.write("\r\x1b[K")
        stream.flush()
