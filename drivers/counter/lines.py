"""Simple boards that print a line for each number: what a declared pattern makes of them.

A pattern is the text of a line with each number's place in braces, `{QUANTITY}` or
`{CHANNEL:QUANTITY}`: `L={left:hz} R={right:hz}`. The quantity's name alone is a pattern of
one number a line. Blanks may stand anywhere around the numbers. What comes of them:

========================  ==================================================================
`count`                   pulses since the board started: `ValueBlock` `pulse_count`
`hz`                      pulses a second: `ValueBlock` `pulse_rate_hz`
`period_s _ms _us`        the latest period: `ValueBlock` `pulse_rate_hz`, its inverse
`each_period_s _ms _us`   every period, none left out: `EdgeBlock`, the periods summed
========================  ==================================================================

A count or a rate tells nothing of when the single teeth passed, so no edges are made of
them. Summed periods are edges only if the board prints every one; where the sum leaves the
host's time by more than `_MOST_DRIFT_S`, a `Lost` says so and the sum starts anew.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from drivers.contract import (
    AddressError,
    ChannelKind,
    EdgeBlock,
    Item,
    Lost,
    Note,
    Notes,
    ValueBlock,
)
from drivers.framing import TextLines

_UNITS_S = {"s": 1.0, "ms": 1e-3, "us": 1e-6}
_PERIODS_S = {f"period_{unit}": size for unit, size in _UNITS_S.items()}
_EACH_S = {f"each_{name}": size for name, size in _PERIODS_S.items()}
QUANTITIES = ("count", "hz", *_PERIODS_S, *_EACH_S)

_TICK_S = 1e-9
_MOST_DRIFT_S = 1.0
_UNREAD = "a line could not be read"
_PLACE = re.compile(r"\{(?:([^{}:]*):)?([^{}:]*)\}")
_NUMBER = r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)"


@dataclass(slots=True)
class _Sum:
    """Edges of one channel made of periods: the newest one's tick, counted from `anchor_s`.

    `broken` says why the next period does not follow on the last; '' where it does.
    """

    anchor_s: float
    host_s: float
    tick: int = 0
    sequence: int = 0
    count: int = 0
    broken: str = "start"


class LineStream:
    """Bytes of printed lines to items. Knows nothing of ports; the host time is handed in."""

    channels: Mapping[str, ChannelKind] = MappingProxyType({})
    """A board that only prints numbers does not say beforehand of what."""

    def __init__(self, address: str, pattern: str, channel: str, notes: Notes) -> None:
        """Raises AddressError where the pattern names no quantity that is known."""
        self._places, self._pattern = _compile(address, pattern, channel)
        self._notes = notes
        notes.kind = Note("simple counter, lines of '{pattern}'", pattern=pattern)
        self._lines = TextLines()
        self._lines.rejects = notes.rejects
        self._sums: dict[str, _Sum] = {}
        self._counts: dict[str, float] = {}
        self._heard_s: float | None = None

    def connected(self) -> None:
        """The bytes begin, or begin again."""
        self._lines.reset()
        self._break_sums("the board was not connected")

    def feed(self, data: bytes, host_s: float) -> list[Item]:
        """Items that `data`, which arrived at `host_s`, completes."""
        before = sum(self._notes.rejects.values())
        lines = self._lines.feed(data)
        if sum(self._notes.rejects.values()) != before:
            self._break_sums(_UNREAD)
        items: list[Item] = []
        for line in lines:
            items += self._line(line, host_s)
        return items

    def _line(self, line: str, host_s: float) -> list[Item]:
        found = self._pattern.fullmatch(line.strip())
        if found is None:
            self._reject("line that does not fit the pattern")
            # A period that could not be read makes the sum of them wrong from here on.
            self._break_sums(_UNREAD)
            return []
        self._notes.messages["line"] = self._notes.messages.get("line", 0) + 1
        items: list[Item] = []
        for (channel, quantity), text in zip(self._places, found.groups(), strict=True):
            items += self._number(channel, quantity, float(text), host_s)
        self._heard_s = host_s
        return items

    def _number(self, channel: str, quantity: str, value: float, host_s: float) -> list[Item]:
        if quantity in _EACH_S:
            return self._edge(channel, value * _EACH_S[quantity], host_s)
        if quantity == "count":
            return self._pulses(channel, value, host_s)
        if quantity in _PERIODS_S:
            value = 1.0 / (value * _PERIODS_S[quantity]) if value > 0 else math.nan
        return [_value(channel, "pulse_rate_hz", value, host_s)]

    def _pulses(self, channel: str, count: float, host_s: float) -> list[Item]:
        items: list[Item] = []
        before = self._counts.get(channel)
        if before is not None and count < before and self._heard_s is not None:
            reason = "its count went back: the board restarted, or the count overflowed"
            items.append(Lost(channel, None, self._heard_s, host_s, reason))
        self._counts[channel] = count
        return [*items, _value(channel, "pulse_count", count, host_s)]

    def _edge(self, channel: str, period_s: float, host_s: float) -> list[Item]:
        if not 0 < period_s < 3600:
            self._reject("period that is none")
            self._break_sums(_UNREAD)
            return []
        state = self._sums.setdefault(channel, _Sum(host_s - period_s, host_s))
        drift_s = host_s - state.anchor_s - state.tick * _TICK_S - period_s
        if not state.broken and abs(drift_s) > _MOST_DRIFT_S:
            state.broken = "the periods do not add up to the time that passed: not each one came"
        items: list[Item] = []
        if state.broken and state.count:
            items.append(Lost(channel, None, state.host_s, host_s, state.broken))
        ticks = []
        if state.broken:
            began = round((host_s - period_s - state.anchor_s) / _TICK_S)
            state.tick = max(state.tick + (state.count > 0), began)
            ticks.append(state.tick)
        state.tick += round(period_s / _TICK_S)
        ticks.append(state.tick)
        state.count += len(ticks)
        state.sequence += 1
        state.host_s, state.broken = host_s, ""
        edges = np.array(ticks, dtype=np.int64)
        block = EdgeBlock(channel, state.sequence, edges, _TICK_S, host_s, state.count)
        return [*items, block]

    def _reject(self, name: str) -> None:
        self._notes.rejects[name] = self._notes.rejects.get(name, 0) + 1

    def _break_sums(self, reason: str) -> None:
        for state in self._sums.values():
            state.broken = reason


def _value(channel: str, quantity: str, value: float, host_s: float) -> ValueBlock:
    host = np.array([host_s])
    return ValueBlock(channel, quantity, np.array([value]), host, host)


def _compile(
    address: str, pattern: str, channel: str
) -> tuple[list[tuple[str, str]], re.Pattern[str]]:
    """The numbers' (channel, quantity) in order, and the expression that finds them."""
    if "{" not in pattern:
        pattern = f"{{{pattern}}}"
    places: list[tuple[str, str]] = []
    expression, end = "", 0
    for place in _PLACE.finditer(pattern):
        expression += _literal(pattern[end : place.start()]) + r"\s*" + _NUMBER + r"\s*"
        name, quantity, end = place[1] or channel, place[2], place.end()
        if quantity not in QUANTITIES:
            raise AddressError(
                "'{address}': lines has '{quantity}' in it; known are {quantities}, "
                "as in lines=hz or lines=L={{left:hz}} R={{right:hz}}.",
                address=address,
                quantity=quantity,
                quantities=", ".join(QUANTITIES),
            )
        places.append((name, quantity))
    if len(set(places)) != len(places):
        raise AddressError(
            "'{address}': lines names one channel's quantity twice.", address=address
        )
    rest = pattern[end:]
    if not places or "{" in rest:
        raise AddressError(
            "'{address}': lines has no number's place, expected {{QUANTITY}}.", address=address
        )
    return places, re.compile(expression + _literal(rest))


def _literal(text: str) -> str:
    """Literal text as an expression in which blanks fit any number of blanks."""
    return r"\s*".join(re.escape(word) for word in text.split())
