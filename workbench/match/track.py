"""Where the pass went: positions in a local frame of metres, each with its ratio.

The frame is an azimuthal equidistant projection about the middle of the pass on the WGS 84
ellipsoid (pyproj): distances from there are exact geodesics, and over a field all others
are good to a millionth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MOST_POINTS = 400
OF_ONE_MAP_M = 50_000.0
"""A pass does not go farther; positions beyond are errors."""


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """Points (n,) of the pass: metres north and east of its middle, and the ratio there.

    `ratio` is belt ÷ ground, NaN where the tractor was not at work. `length_m` is the way
    along the points.
    """

    time_s: Floats
    latitude_deg: Floats
    longitude_deg: Floats
    north_m: Floats
    east_m: Floats
    ratio: Floats
    length_m: float


def make_track(
    time_s: Floats,
    latitude_deg: Floats,
    longitude_deg: Floats,
    ratio_time_s: Floats,
    ratio: Floats,
) -> Track | None:
    """The track from positions (n,) and the ratio at other moments (m,); None without two."""
    good = np.isfinite(latitude_deg) & np.isfinite(longitude_deg) & np.isfinite(time_s)
    good &= (np.abs(latitude_deg) <= 90) & (np.abs(longitude_deg) <= 180)
    good &= (latitude_deg != 0) | (longitude_deg != 0)  # what a receiver says before its fix
    time_s, latitude_deg, longitude_deg = time_s[good], latitude_deg[good], longitude_deg[good]
    if time_s.size < 2:
        return None
    step = -(-time_s.size // MOST_POINTS)
    time_s, latitude_deg, longitude_deg = (
        time_s[::step],
        latitude_deg[::step],
        longitude_deg[::step],
    )
    centre = float(np.median(latitude_deg)), float(np.median(longitude_deg))
    east_m, north_m = _project(latitude_deg, longitude_deg, centre)
    near = np.hypot(east_m, north_m) < OF_ONE_MAP_M
    if near.sum() < 2:
        return None
    time_s, latitude_deg, longitude_deg = time_s[near], latitude_deg[near], longitude_deg[near]
    east_m, north_m = east_m[near], north_m[near]
    return Track(
        time_s,
        latitude_deg,
        longitude_deg,
        north_m,
        east_m,
        _nearest(time_s, ratio_time_s, ratio),
        float(np.sum(np.hypot(np.diff(east_m), np.diff(north_m)))),
    )


def _project(
    latitude_deg: Floats, longitude_deg: Floats, centre_deg: tuple[float, float]
) -> tuple[Floats, Floats]:
    """(east, north) of a point, metres."""
    from pyproj import Transformer

    plane = f"+proj=aeqd +lat_0={centre_deg[0]:.9f} +lon_0={centre_deg[1]:.9f} +datum=WGS84"
    to_plane = Transformer.from_crs("EPSG:4326", plane, always_xy=True)
    east, north = to_plane.transform(longitude_deg, latitude_deg)
    return np.asarray(east, dtype=np.float64), np.asarray(north, dtype=np.float64)


def _nearest(time_s: Floats, ratio_time_s: Floats, ratio: Floats) -> Floats:
    """The ratio nearest in time, NaN where none lies within two of its steps."""
    known = np.isfinite(ratio)
    at_s, ratio = ratio_time_s[known], ratio[known]
    if at_s.size == 0:
        return np.full(time_s.size, math.nan)
    right = np.clip(np.searchsorted(at_s, time_s), 1, max(at_s.size - 1, 1))
    left = right - 1
    right = np.minimum(right, at_s.size - 1)
    nearest = np.where(np.abs(at_s[right] - time_s) < np.abs(at_s[left] - time_s), right, left)
    step_s = float(np.median(np.diff(at_s))) if at_s.size > 1 else 1.0
    away = np.abs(at_s[nearest] - time_s) > 2 * max(step_s, 0.5)
    return np.where(away, math.nan, ratio[nearest])
