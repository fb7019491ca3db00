"""What a machine file says of the machine before its run: limits, chains, what wears and when.

All of it is optional. What is left out is common practice of the trade, or not judged; see
`workbench.calibration.prepare.measures`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from workbench.base.errors import MachineFileError, Message
from workbench.base.machine_keys import (
    SOME_TEXT,
    TEXT,
    Check,
    between,
    is_day,
    it_is,
    nearest,
    one_of,
)


@dataclass(frozen=True, slots=True)
class Preparation:
    """Section [prepare]; NaN, '' and 0 where nothing is said.

    The belt between two rolls: span, mass a metre and how far its middle may hang below the
    straight line, and differ across. `motor_volume_m3` is the oil a turn of the hydraulic motor
    takes, `motor_efficiency` the share of the oil that turns it, when warm. `rows`, 'single' or
    'twin', `row_count` in all, and `shank_offset_m` from a row's middle out to the inner edge of
    its shank. `level_width_m` lies between the two places at which the heights are taken.
    """

    belt_span_m: float = math.nan
    belt_kg_per_metre: float = math.nan
    belt_sag_low_m: float = math.nan
    belt_sag_high_m: float = math.nan
    belt_sag_spread_m: float = math.nan
    motor_volume_m3: float = math.nan
    motor_turns_per_shaft_turn: float = 1.0
    motor_efficiency: float = math.nan
    oil_flow_low_m3_per_s: float = math.nan
    tyre_pressure_pa: float = math.nan
    level_width_m: float = math.nan
    rows: str = ""
    row_count: int = 0
    row_spacing_m: float = math.nan
    twin_spacing_m: float = math.nan
    shank_offset_m: float = math.nan


@dataclass(frozen=True, slots=True)
class Chain:
    """One [[chain]]: a drive chain between two sprockets `span_m` apart; `runs` 'vertical' also
    for one that reverses. Limits as shares, NaN for common practice."""

    name: str
    span_m: float = math.nan
    pitch_m: float = math.nan
    runs: str = "level"
    slack_low: float = math.nan
    slack_high: float = math.nan
    elongation_high: float = math.nan


@dataclass(frozen=True, slots=True)
class Service:
    """One [[service]]: a part that wears or wants grease, where it is, how to tell that it is
    worn, and how often it is due; `last_on` is the day it was done last, '' where nobody knows."""

    part: str
    place: str = ""
    sign: str = ""
    every_days: float = math.nan
    every_hours: float = math.nan
    last_on: str = ""
    last_hours: float = math.nan


_SHARE = Message("a share from 0.001 to 0.2")
_LISTS: dict[str, tuple[type, dict[str, Check]]] = {
    "chain": (
        Chain,
        {
            "name": SOME_TEXT,
            "span_m": between(0.05, 10, Message("0.05 to 10 metres")),
            "pitch_m": between(0.004, 0.2, Message("0.004 to 0.2 metres")),
            "runs": one_of("level", "vertical"),
            "slack_low": between(0.001, 0.2, _SHARE),
            "slack_high": between(0.001, 0.2, _SHARE),
            "elongation_high": between(0.001, 0.2, _SHARE),
        },
    ),
    "service": (
        Service,
        {
            "part": SOME_TEXT,
            "place": TEXT,
            "sign": TEXT,
            "every_days": between(0.1, 10_000, Message("0.1 to 10 000 days")),
            "every_hours": between(0.1, 100_000, Message("0.1 to 100 000 hours")),
            "last_on": Check(str, Message("a day such as 2026-09-14"), is_day),
            "last_hours": between(0, 1e6, Message("0 to 1 000 000 hours")),
        },
    ),
}
LISTS = tuple(_LISTS)
"""The tables of which a machine file may hold several."""
_MOST = 200


@dataclass(frozen=True, slots=True)
class Lists:
    """The chains and the parts of one machine, in the file's order."""

    chains: tuple[Chain, ...] = ()
    services: tuple[Service, ...] = ()


def lists_in(table: Mapping[str, Any], path: Any) -> Lists:
    """The [[chain]] and [[service]] tables of a machine file. Raises MachineFileError."""
    found = {name: tuple(_each(table, name, path)) for name in _LISTS}
    return Lists(found["chain"], found["service"])


def _each(table: Mapping[str, Any], name: str, path: Any) -> list[Any]:
    kind, checks = _LISTS[name]
    entries = table.get(name, [])
    if not isinstance(entries, list) or len(entries) > _MOST:
        expected = Message("tables [[{name}]], at most {most}", name=name, most=_MOST)
        raise MachineFileError(path, name, Message("it is something else"), expected)
    made: list[Any] = []
    first = next(iter(checks))
    for number, entry in enumerate(entries, 1):
        values = _values(entry, checks, f"{name} {number}", path)
        if first not in values:
            key = f"{name} {number}.{first}"
            raise MachineFileError(path, key, Message("it is missing"), f'{first} = "…"')
        if any(getattr(one, first) == values[first] for one in made):
            key = f"{name} {number}.{first}"
            known = Message("a name of its own")
            raise MachineFileError(path, key, Message("it stands there twice"), known)
        made.append(kind(**values))
    return made


def _values(entry: Any, checks: dict[str, Check], where: str, path: Any) -> dict[str, Any]:
    if not isinstance(entry, dict):
        raise MachineFileError(path, where, Message("it is no table"), ", ".join(checks))
    values = {}
    for key, value in entry.items():
        if key not in checks:
            known = nearest(key, checks, ", ".join(checks))
            unknown = Message("no such key is known")
            raise MachineFileError(path, f"{where}.{key}", unknown, known)
        plain = value.isoformat() if isinstance(value, date) else value
        check = checks[key]
        if expected := check.wrong(plain):
            raise MachineFileError(path, f"{where}.{key}", it_is(plain), expected)
        values[key] = check.kind(plain)
    return values
