"""Whether a pickup's pulses are the wheel's at all: what keeps a speed from being told."""

from __future__ import annotations

from drivers.contract import EdgeTrack
from workbench.base.statements import Statement
from workbench.calibration.gap.faults import of_false_edges
from workbench.calibration.gap.seen import beyond_use
from workbench.calibration.pulses.edges import CleanEdges


def spoilt_by(track: EdgeTrack, edges: CleanEdges) -> Statement | None:
    """The fault that keeps `edges` of the track from being a speed, and what to mend; None
    where there is none."""
    false = beyond_use(track.time_s, edges)
    return of_false_edges(false)[0].sentence if false is not None else None
