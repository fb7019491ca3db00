"""The target wheel's teeth as the belt's own pulses tell them, beside what was typed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.pulses.edges import clean
from workbench.calibration.pulses.target_wheel import SURE, TeethSeen, teeth_seen
from workbench.models.bench import Bench
from workbench.models.pace import PaceModel
from workbench.words.language import _

MOST_EDGES = 4000
"""Edges looked at: 130 turns of a wheel with 30 teeth, a minute at working speed."""

FEWEST_EDGES = 100
"""Fewer are not looked at: too few turns of any wheel of this trade."""

AGAIN_S = 4.0
"""Seconds after which new pulses are looked at again."""

LIKELY = 0.9


class ToothCount:
    """Looks at the belt's newest edges; `seen` is what the last look at them found."""

    def __init__(self, bench: Bench) -> None:
        self._bench, self._pace = bench, PaceModel(bench)
        self._channel = ""
        self._looked_at, self._looked_s = 0, -np.inf
        self._held = 0
        self.seen: TeethSeen | None = None

    def due(self) -> NDArray[np.float64] | None:
        """Edge times (n,) to be looked at now, s; None while there is nothing new to see.

        A hole or another channel begins anew.
        """
        belt, now_s = self._pace.belt(), self._bench.clock()
        if belt is None or not belt.is_pulses or belt.name != self._channel:
            self._channel = belt.name if belt is not None and belt.is_pulses else ""
            self._held, self._looked_at, self.seen = 0, 0, None
        if belt is None or not belt.is_pulses:
            return None
        _, edges_s = belt.pulses.newest(MOST_EDGES).stretches[-1]
        self._held = edges_s.size
        if self._held < FEWEST_EDGES or belt.edges == self._looked_at:
            return None
        if now_s - self._looked_s < AGAIN_S:
            return None
        self._looked_s, self._looked_at = now_s, belt.edges
        return edges_s

    def found(self, seen: TeethSeen) -> None:
        """What the look at the edges found."""
        self.seen = seen

    def sentence(self, typed: int | None) -> str:
        """What the signal says of the teeth, and how that goes with what was typed."""
        seen = self.seen
        if self._held == 0 and seen is None:
            return _("As the signal says: no pulses yet. Let the belt run, and they are counted.")
        if seen is None:
            return _("As the signal says: counting, {held} pulses so far.").format(held=self._held)
        if seen.teeth is None:
            return _(
                "The signal cannot tell: the teeth pass too evenly, or too few turns have "
                "passed. Count them by hand."
            )
        return _("As the signal says: {teeth} ({sure}){beside}.").format(
            teeth=_repeats(seen), sure=_sure(seen), beside=_beside(seen, typed)
        )

    def to_use(self, typed: int | None) -> int | None:
        """The number to offer in place of the one typed, None where there is no reason to."""
        seen = self.seen
        if seen is None or seen.teeth is None or seen.confidence < SURE or not seen.exact:
            return None
        return seen.teeth if typed is None or seen.contradicts(typed) else None


def count_teeth(time_s: NDArray[np.float64]) -> TeethSeen:
    """What these edges say; slow, for the background."""
    try:
        return teeth_seen(clean(time_s))
    except ValueError:  # a device that began to count anew: its times run backwards
        return TeethSeen(None, 0.0)


def _repeats(seen: TeethSeen) -> str:
    return (
        f"{seen.teeth} teeth"
        if seen.exact
        else _("{teeth} teeth or a multiple of it").format(teeth=seen.teeth)
    )


def _sure(seen: TeethSeen) -> str:
    if seen.confidence >= SURE:
        return _("as good as certain")
    return "likely" if seen.confidence >= LIKELY else _("no more than a guess so far")


def _beside(seen: TeethSeen, typed: int | None) -> str:
    if typed is None or seen.teeth is None:
        return ""
    if seen.teeth == typed:
        return _(", as typed")
    if not seen.exact and typed % seen.teeth == 0:
        return _(", which goes with the {typed} typed").format(typed=typed)
    return _("; typed are {typed}").format(typed=typed)
