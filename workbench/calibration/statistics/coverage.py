"""From a standard uncertainty and its degrees of freedom to an expanded one."""

from __future__ import annotations

import math

COVERAGE = 0.9545
"""Coverage probability of every expanded uncertainty: k = 2 for a normal distribution."""


ROUNDING = 0.005
"""What ν may fall short of a whole number by its own rounding: 18.999 is 19. Chosen."""


def coverage_factor(dof: float, coverage: float = COVERAGE) -> float:
    """Student's t factor for `coverage`, ν truncated to a whole number (GUM G.4.1, table G.2)."""
    if not math.isfinite(dof) or dof > 1e6:
        return 2.0 if coverage == COVERAGE else _normal_factor(coverage)
    from scipy.special import stdtrit

    return float(stdtrit(max(1, math.floor(dof + ROUNDING)), 0.5 + coverage / 2))


def _normal_factor(coverage: float) -> float:
    from scipy.special import ndtri

    return float(ndtri(0.5 + coverage / 2))
