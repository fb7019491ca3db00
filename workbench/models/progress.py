"""How far a long work is, and the wish to end it early; knows no screen."""

from __future__ import annotations

import math
import threading

from workbench.base.errors import Message
from workbench.words.words import Words


class Cancelled(Exception):
    """The person ended a work before it was done."""


class Progress:
    """Handed to a long work by whoever starts it, read by whoever shows it.

    The work calls it as a plain function, `progress(fraction, words)`, so that the layers
    below need only `workbench.base.steps.Told`. Any thread may call any part.
    """

    def __init__(self, words: Message | str) -> None:
        self._now = (math.nan, words)
        self._cancelled = threading.Event()

    def __call__(self, fraction: float = math.nan, words: Message | str = "") -> None:
        """Say how far the work is, 0 to 1 (NaN: not known), and perhaps in which step.

        Raises Cancelled where the person wants no more: let it pass through, and leave
        nothing half done behind.
        """
        if self._cancelled.is_set():
            raise Cancelled
        self._now = (fraction, words or self._now[1])

    @property
    def fraction(self) -> float:
        """0 to 1; NaN where the work has not said."""
        return self._now[0]

    @property
    def words(self) -> str:
        return Words().say(self._now[1])

    @property
    def cancelled(self) -> bool:
        return self._cancelled.is_set()

    def cancel(self) -> None:
        """Ask the work to end; it does so the next time it says how far it is."""
        self._cancelled.set()
