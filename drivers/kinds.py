"""What kind of signal a channel carries, and what its name tells of that.

A driver that knows says so with every block. Of what it leaves unsaid, as an edge table
must, which holds a name and nothing more, the name tells: one rule, here.
"""

from __future__ import annotations

import re
from enum import StrEnum, auto
from functools import lru_cache
from typing import Protocol


class ChannelKind(StrEnum):
    """What a pulse channel, a speed or another value tells of."""

    BELT = auto()
    """The belt: its pickup at a target wheel, or its speed."""
    LAP_MARK = auto()
    """A mark on the belt: a pulse each lap."""
    INDEX_MARK = auto()
    """A mark on the target wheel: a pulse each turn, from which its teeth are counted."""
    WHEEL = auto()
    """The tractor's wheels."""
    RADAR = auto()
    SATELLITE = auto()
    """A satellite receiver's speed over the ground."""
    WATER = auto()
    """Speed through water."""
    SELECTED = auto()
    """The speed that the machine was set to, not one that was measured."""
    READOUT = auto()
    """What the readout in the cab shows."""
    OTHER = auto()
    """The driver says that it is none of these: taken for nothing unless a person names it."""
    UNKNOWN = auto()
    """Nobody says. Pulses are then told by their name, and those of a name that tells nothing
    are the belt's; a speed of such a name may be the belt's or the ground's."""


_PULSES = {
    ChannelKind.LAP_MARK: ("lap", "laps"),
    ChannelKind.INDEX_MARK: ("mark", "index"),
    ChannelKind.RADAR: ("radar",),
    ChannelKind.WHEEL: ("wheel", "wheels"),
}
"""Words of a pulse channel's name; any other is a pickup of the belt."""

_SPEEDS = {
    ChannelKind.BELT: ("belt", "conveyor"),
    ChannelKind.READOUT: ("readout", "display", "shown"),
    ChannelKind.WHEEL: ("wheel", "65096", "cruise", "65265"),
    ChannelKind.WATER: ("water",),
    ChannelKind.SELECTED: ("selected", "61474"),
    ChannelKind.SATELLITE: (
        *("gnss", "gps", "rmc", "vtg", "nav-pvt"),
        *("129026", "navigation", "65256", "128259-ground"),
    ),
    ChannelKind.RADAR: ("radar", "65097", "ground-based"),
}
"""Parts of a speed source's name: words, sentences of NMEA 0183, messages of UBX, PGNs of
ISO 11783-7, SAE J1939-71 and NMEA 2000."""

_OF_PULSES = ("pulse_rate_hz", "pulse_count")


@lru_cache(maxsize=1024)
def pulse_kind(name: str) -> ChannelKind:
    """What a pulse channel is, by its name: 'lap@2' is a lap mark, 'left' a belt pickup."""
    words = re.findall(r"[a-z]+", name.lower())
    if "target" in words:  # its wheel is the belt's
        return ChannelKind.BELT
    found = (kind for kind, known in _PULSES.items() if not set(known).isdisjoint(words))
    return next(found, ChannelKind.BELT)


@lru_cache(maxsize=1024)
def speed_kind(name: str) -> ChannelKind:
    """What a speed source is, by its name; UNKNOWN where that tells nothing."""
    lower = name.lower()
    found = (kind for kind, parts in _SPEEDS.items() if any(part in lower for part in parts))
    return next(found, ChannelKind.UNKNOWN)


def value_kind(name: str, quantity: str) -> ChannelKind:
    """What another value is, by its source and quantity; UNKNOWN where these tell nothing."""
    if quantity in _OF_PULSES:
        return pulse_kind(name)
    return ChannelKind.READOUT if quantity == "readout_shown" else ChannelKind.UNKNOWN


class Kinded(Protocol):
    """A block or track."""

    @property
    def kind(self) -> ChannelKind: ...


def tell_kind(channel: Kinded, named: ChannelKind) -> None:
    """Let the name tell what the driver left unsaid; for the making of a frozen block."""
    if channel.kind is ChannelKind.UNKNOWN:
        object.__setattr__(channel, "kind", named)
