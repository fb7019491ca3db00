"""The three NMEA sentences that a log is full of, where nothing in them is out of the ordinary.

Their fields are read by one pattern each, ten times as fast as pynmeagps takes a sentence apart,
and mean what they mean there; every other sentence is left to it.
"""

from __future__ import annotations

import re
from datetime import date, time
from types import SimpleNamespace

_TIME = r"(?P<time>(?:[01]\d|2[0-3])[0-5]\d[0-5]\d(?:\.\d{1,6})?)"
_PLACE = r"(?P<lat>\d{4}\.\d+|),(?P<NS>[NS]?),(?P<lon>\d{5}\.\d+|),(?P<EW>[EW]?)"
_DECIMAL, _WHOLE = r"-?\d+(?:\.\d*)?|", r"\d+|"

PLAIN = {
    kind: re.compile(fields, re.ASCII)
    for kind, fields in {
        "RMC": rf"{_TIME},(?P<status>[AV]),{_PLACE},(?P<spd>{_DECIMAL}),(?P<cog>{_DECIMAL}),"
        rf"(?P<date>\d{{6}}),(?:{_DECIMAL}),[EW]?(?:,(?P<posMode>[A-Z]?))?(?:,[A-Z]?)?",
        "VTG": rf"(?P<cogt>{_DECIMAL}),T?,(?:{_DECIMAL}),M?,(?P<sogn>{_DECIMAL}),N?,"
        rf"(?P<sogk>{_DECIMAL}),K?(?:,(?P<posMode>[A-Z]?))?",
        "GGA": rf"{_TIME},{_PLACE},(?P<quality>{_WHOLE}),(?:{_WHOLE}),(?:{_DECIMAL}),"
        rf"(?:{_DECIMAL}),M?,(?:{_DECIMAL}),M?,(?:{_DECIMAL}),(?:{_WHOLE})",
    }.items()
}
"""What stands after the sentence's name, by the kind of sentence."""


def plain_sentence(kind: str, fields: str) -> SimpleNamespace | None:
    """The fields of a sentence by pynmeagps's names and in its types; None where it is to be
    asked."""
    found = PLAIN[kind].fullmatch(fields)
    if found is None:
        return None
    said = found.groupdict(default="")
    read: dict[str, object] = {
        name: float(text) if text and name in ("spd", "cog", "cogt", "sogn", "sogk") else text
        for name, text in said.items()
    }
    if "time" in said:
        read["time"] = _time(said["time"])
        read["lat"] = _degrees(said["lat"], minus=said["NS"] == "S")
        read["lon"] = _degrees(said["lon"], minus=said["EW"] == "W")
    if said.get("quality"):
        read["quality"] = int(said["quality"])
    if "date" in said:
        day, month, year = (int(said["date"][at : at + 2]) for at in (0, 2, 4))
        try:
            read["date"] = date(year + (2000 if year < 69 else 1900), month, day)
        except ValueError:
            return None
    return SimpleNamespace(**read)


def _time(text: str) -> time:
    return time(int(text[:2]), int(text[2:4]), int(text[4:6]), int(text[7:].ljust(6, "0")))


def _degrees(text: str, *, minus: bool) -> float | str:
    """From degrees and minutes as one number, ddmm.mm; '' where there is none."""
    if not text:
        return ""
    point = text.index(".")
    degrees = round(float(text[: point - 2]) + float(text[point - 2 :]) / 60, 10)
    return -degrees if minus else degrees
