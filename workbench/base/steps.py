"""What a long work says of how far it is, to whoever started it.

So a report or a judgement can be cancelled midway though nothing on the way to its steps knows
of a screen or a terminal.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from workbench.base.errors import Message

Told = Callable[[float, Message | str], object]
"""Told how far long work is, 0 to 1 or NaN where that is not known, and in what step, '' for the
same as before; may raise to end the work."""

_TOLD: ContextVar[Told | None] = ContextVar("told", default=None)


@contextmanager
def telling(told: Told) -> Iterator[None]:
    """Within, `tell` on this thread tells `told`."""
    before = _TOLD.set(told)
    try:
        yield
    finally:
        _TOLD.reset(before)


def tell(share: float = math.nan, words: Message | str = "") -> None:
    """Say how far the work is; raises what whoever is told raises to end it."""
    told = _TOLD.get()
    if told is not None:
        told(share, words)
