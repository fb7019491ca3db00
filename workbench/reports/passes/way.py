"""The way of a pass over the field as GeoJSON."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

from workbench.base.errors import WrongInput
from workbench.base.files import write_file
from workbench.jobs.passes.answer import PassAnswer
from workbench.match.track import Track
from workbench.words.language import _


def write_way(answer: PassAnswer, path: Path | str) -> None:
    """The way of a pass with its ratio. Raises WrongInput where there is none to write."""
    if answer.track is None:
        raise WrongInput(
            "{source} holds no positions, so there is no track to write.", source=answer.source
        )
    write_file(Path(path), json.dumps(to_geojson(answer.track), allow_nan=False), WrongInput)


def to_geojson(track: Track) -> dict[str, Any]:
    """A GeoJSON feature collection (RFC 7946: longitude first, WGS 84): the way as one line,
    and a point each with its time and ratio belt ÷ ground."""
    places = list(zip(track.longitude_deg.tolist(), track.latitude_deg.tolist(), strict=True))
    moments = zip(places, track.time_s.tolist(), track.ratio.tolist(), strict=True)
    line = {
        "type": "Feature",
        "geometry": {"type": "LineString", "coordinates": places},
        "properties": {"what": _("way of the pass")},
    }
    dots = [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": place},
            "properties": {
                "time_s": at_s,
                "ratio_belt_to_ground": ratio if math.isfinite(ratio) else None,
            },
        }
        for place, at_s, ratio in moments
    ]
    return {"type": "FeatureCollection", "features": [line, *dots]}
