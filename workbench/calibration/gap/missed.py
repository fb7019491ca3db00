"""Which teeth go missing: always the same one, a weak one now and then, or any."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.pulses.edges import CleanEdges

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

TOLERATED = 0.001
"""Share of its teeth a sound pickup may miss; chosen."""
ALWAYS = 0.9
"""Share of the turns from which a tooth that is not seen is called missing."""
MOST_TOGETHER = 2
"""Neighbours that may each be a bad tooth; where more are, and not all of them gone, that
side of the wheel is too far away."""


@dataclass(frozen=True, slots=True, eq=False)
class MissedTeeth:
    """(Z,) how often each tooth went by and how often it was not seen, by tooth from 0.

    `gone` teeth are (nearly) never seen, `weak` ones significantly less often than the
    others; `background` is the share missed of all the others, with the chance `p` of as
    many at a sound pickup. `around` (Z,) is the share missed.
    """

    passed: Ints
    missed: Ints
    gone: list[int] = field(default_factory=list)
    weak: list[int] = field(default_factory=list)
    background: float = 0.0
    p: float = 1.0

    @property
    def share(self) -> Floats:
        return np.asarray(self.missed / np.maximum(self.passed, 1))


def count_missed(edges: CleanEdges, teeth: int) -> tuple[Ints, Ints]:
    """(passed, missed) of each tooth (Z,), over all pieces in which the count is sure."""
    passed = np.zeros(teeth, dtype=np.int64)
    for first, last in edges.spans():
        low, count = int(edges.tooth[first]), int(edges.tooth[last - 1] - edges.tooth[first]) + 1
        passed += count // teeth
        passed[(low + np.arange(count % teeth)) % teeth] += 1
    step = np.diff(edges.tooth)
    step[edges.starts[1:] - 1] = 1
    holes = np.flatnonzero(step > 1)
    before = np.repeat(edges.tooth[holes], step[holes] - 1)
    first_of = np.repeat(np.cumsum(step[holes] - 1) - (step[holes] - 1), step[holes] - 1)
    gone = before + 1 + np.arange(before.size) - first_of
    return passed, np.bincount(gone % teeth, minlength=teeth)


def find_missed(edges: CleanEdges, teeth: int, alpha: float) -> MissedTeeth:
    """Judge the missed teeth; `alpha` is the chance that a sound pickup is said to miss any.

    Each tooth is held against the share that all others miss (binomial, Bonferroni).
    """
    from scipy.special import bdtrc

    passed, missed = count_missed(edges, teeth)
    if not missed.any():
        return MissedTeeth(passed, missed)
    others = (missed.sum() - missed) / np.maximum(passed.sum() - passed, 1)
    expected = np.maximum(others, TOLERATED)
    hit = missed > 0
    p = np.ones(teeth)
    p[hit] = teeth * bdtrc(missed[hit] - 1, passed[hit], np.minimum(expected[hit], 1.0))
    named = np.flatnonzero((p < alpha / 2) & (missed >= 2) & (teeth > 2))
    share = missed / np.maximum(passed, 1)
    gone, weak = named[share[named] >= ALWAYS], named[share[named] < ALWAYS]
    flags = np.zeros(teeth, dtype=np.bool_)
    flags[named] = True
    if weak.size and _longest_run(flags) > MOST_TOGETHER:
        gone = weak = named = named[:0]
    rest = np.delete(np.arange(teeth), named)
    left, went = int(missed[rest].sum()), int(passed[rest].sum())
    return MissedTeeth(
        passed,
        missed,
        gone=gone.tolist(),
        weak=weak.tolist(),
        background=left / max(went, 1),
        p=float(bdtrc(left - 1, went, TOLERATED)) if left > 2 else 1.0,
    )


def _longest_run(flags: NDArray[np.bool_]) -> int:
    """Most neighbours in a row round the wheel."""
    if flags.all():
        return int(flags.size)
    apart = np.flatnonzero(~np.concatenate([flags, flags]))
    return int(np.max(np.diff(apart), initial=1)) - 1
