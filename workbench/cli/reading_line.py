"""The one line that a long reading shows on a terminal: how much of it is done."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TextIO

from workbench.words.language import N_, _

PATIENCE_S = 1.0
"""What is over sooner says nothing."""
OF_A_FILE = N_("{percent:.0f} % of the file is read")


@contextmanager
def reading_line(
    stream: TextIO | None = None,
    clock: Callable[[], float] = time.monotonic,
    said: str = OF_A_FILE,
) -> Iterator[Callable[[float], None] | None]:
    """What a reader tells its share to; None where `stream`, stderr, is no terminal.

    `said` is the line's template.
    """
    stream = stream or sys.stderr
    if not stream.isatty():
        yield None
        return
    begun_s, shown = clock(), ""

    def show(share: float) -> None:
        nonlocal shown
        words = _(said).format(percent=100 * share)
        if words != shown and clock() - begun_s >= PATIENCE_S:
            shown = words
            stream.write(f"\r{words}\x1b[K")
            stream.flush()

    yield show
    if shown:
        stream.write("\r\x1b[K")
        stream.flush()
