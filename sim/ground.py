"""The tractor on the field: speed along a pass, wheel slip, and the ground sensors.

Arrays in, arrays out; times in seconds since the run began.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from drivers.contract import Floats
from sim.spec import Ground, Move

CIRCLE_M_PER_DEG = 6371008.8 * np.pi / 180
"""Metres a degree of latitude on the mean sphere (IUGG mean radius)."""


def moved(time_s: Floats, moves: Sequence[Move]) -> Floats:
    """The factor that a list of moves makes of 1 at `time_s`: ramps from hold to hold."""
    at: list[float] = []
    to: list[float] = []
    value = 1.0
    for move in moves:
        at += [move.at_s, move.at_s + max(move.over_s, 1e-6)]
        to += [value, move.to]
        value = move.to
    return np.interp(time_s, at, to) if at else np.ones_like(time_s)


def pass_phase(time_s: Floats, ground: Ground) -> tuple[Floats, Floats, Floats]:
    """Where in the pass: (share of working speed, crop 0 to 1, seconds into the steady run).

    Stand, approach, then steady run and headland by turns. The last is NaN outside the run.
    """
    round_s = ground.run_s + ground.headland_s
    run_from_s = ground.stand_s + ground.approach_s
    since = np.asarray(time_s, dtype=np.float64) - run_from_s
    into = np.where(since < 0, since, np.mod(since, round_s))
    turn_s = min(3.0, ground.headland_s / 4)  # slowing down or speeding up, chosen
    slow = ground.headland_speed
    at = [-ground.approach_s, 0, ground.run_s, ground.run_s + turn_s, round_s - turn_s, round_s]
    speed = np.interp(into, at, [0, 1, 1, slow, slow, 1])
    running = (into >= 0) & (into < ground.run_s)
    return speed, running.astype(np.float64), np.where(running, into, np.nan)


def in_soft_spot(into_run_s: Floats, ground: Ground) -> Floats:
    """0 to 1: how far the tractor is in the soft spot, with soft shoulders of 2 s."""
    inside = np.abs(into_run_s - (ground.soft_at_s + ground.soft_s / 2))
    share = np.clip((ground.soft_s / 2 - inside) / 2.0 + 0.5, 0.0, 1.0)
    return np.where(np.isnan(share) | (ground.soft_s == 0), 0.0, share)


def ground_speed_mps(wheel_mps: Floats, slip: Floats) -> Floats:
    """True speed from the wheels' own: v·(1 − slip), the usual definition of wheel slip."""
    return wheel_mps * (1 - slip)


def lane(time_s: Floats, ground: Ground) -> Floats:
    """How many rows lie behind: 0 on the first, changing evenly across each headland."""
    round_s = ground.run_s + ground.headland_s
    since_s = np.maximum(time_s - ground.stand_s - ground.approach_s, 0.0)
    rows, into_s = np.divmod(since_s, round_s)
    return rows + np.clip((into_s - ground.run_s) / ground.headland_s, 0.0, 1.0)


def positions_deg(
    ground_m: Floats, lane: Floats, ground: Ground, off_north_m: Floats, off_east_m: Floats
) -> tuple[Floats, Floats]:
    """(latitude, longitude) after `ground_m` of travel, up and down parallel rows.

    `lane` counts the rows done, 0 for the first; `off_…` is the receiver's error. A local
    plane on the mean sphere is enough here: the field is small, and the truth of a run is
    its distance, not its place.
    """
    heading = np.radians(ground.heading_deg)
    row_m = max(ground.speed_mps * (ground.run_s + ground.headland_s / 2), 1.0)
    along = row_m - np.abs(np.mod(ground_m, 2 * row_m) - row_m)
    across = 1.8 * lane  # two rows of 0.9 m, chosen
    north = along * np.cos(heading) - across * np.sin(heading) + off_north_m
    east = along * np.sin(heading) + across * np.cos(heading) + off_east_m
    latitude = ground.latitude_deg + north / CIRCLE_M_PER_DEG
    scale = CIRCLE_M_PER_DEG * np.cos(np.radians(ground.latitude_deg))
    return latitude, ground.longitude_deg + east / scale
