"""Stored items to a `Recording`: every stream on one time line."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from drivers.contract import (
    Driver,
    EdgeBlock,
    Floats,
    Item,
    Lost,
    Note,
    Notes,
    Recording,
    SpeedBlock,
    ValueBlock,
)
from drivers.recording import assemble, read_for
from workbench.calibration.pulses.time_base import ClockRuns
from workbench.records.clocks import Pair, Sender, clocks_of, on_host_line

_U_HOST_CLOCK_REL = 30e-6
"""30 ppm for the computer's own crystal: common practice, no source."""


def rebuild(
    pairs: Sequence[Pair], notes: Notes, started_host_s: float, name: str, simulated: bool
) -> Recording:
    """A recording from items as they came from the wire or a file.

    The time line begins at `notes.origin_s`, or at `started_host_s`. A file carries its
    times already; of a live recording each clock, of a pulse counter or of a sender that
    stamps its values, is fitted to the host's. Where two inputs use one name for a channel
    or source, those of the second are called 'name@2', and so on.
    """
    origin_s = started_host_s if notes.origin_s is None else notes.origin_s
    notes = replace(notes, origin_s=origin_s)
    if any(address.startswith("file:") for address, _ in pairs):
        return assemble(_named_apart(pairs), notes, name=name, simulated=simulated)
    clocks = clocks_of(pairs)
    items = _named_apart([(a, on_host_line(a, item, clocks)) for a, item in pairs])
    address_of = {
        item.channel: address
        for (address, _), item in zip(pairs, items, strict=True)
        if isinstance(item, EdgeBlock)
    }

    def place(channel: str, own_s: Floats, arrived_s: Floats) -> Floats:
        return clocks[address_of[channel], ""].to_host(own_s, arrived_s)

    notes = replace(notes, warnings=[*notes.warnings, *odd_clocks(clocks)])
    whole = assemble(items, notes, name=name, simulated=simulated, place=place)
    edges = {
        channel: replace(track, u_clock_rel=_u_clock_rel(clocks[address_of[channel], ""]))
        if track.time_s.size
        else track
        for channel, track in whole.edges.items()
    }
    return replace(whole, edges=edges)


def collect(driver: Driver, for_s: float) -> Recording:
    """What an input brings within `for_s` seconds of its own clock, or to its end; it is opened
    and closed. Raises what the driver raises (InputError)."""
    started_s = driver.clock()
    pairs = [(driver.address, item) for item in read_for(driver, for_s)]
    return rebuild(pairs, driver.notes, started_s, driver.address, driver.simulated)


def _u_clock_rel(clock: ClockRuns) -> float:
    return math.hypot(_U_HOST_CLOCK_REL, max(base.u_rate for base in clock.bases))


def odd_clocks(clocks: Mapping[Sender, ClockRuns]) -> list[str]:
    """A sentence for each counter whose clock is off by more than a crystal can be."""
    return [
        Note(_FAST if base.drift_ppm > 0 else _SLOW, address=address, off_ppm=abs(base.drift_ppm))
        for (address, whose), clock in clocks.items()
        for base in clock.bases
        if base.odd and not whose
    ]


_FAST = Note(
    "The clock of {address} runs {off_ppm:.0f} ppm fast against the computer's, more than a "
    "crystal can: check the clock rate its board reports. Times here follow the computer's clock."
)
_SLOW = Note(
    "The clock of {address} runs {off_ppm:.0f} ppm slow against the computer's, more than a "
    "crystal can: check the clock rate its board reports. Times here follow the computer's clock."
)


def _named_apart(pairs: Sequence[Pair]) -> list[Item]:
    if len({address for address, _ in pairs}) == 1:
        return [item for _, item in pairs]
    users: dict[str, list[str]] = {}
    items: list[Item] = []
    for address, item in pairs:
        name = _name(item)
        if name:
            inputs = users.setdefault(name, [])
            if address not in inputs:
                inputs.append(address)
            if address != inputs[0]:
                item = _renamed(item, f"{name}@{inputs.index(address) + 1}")
        items.append(item)
    return items


def _name(item: Item) -> str:
    match item:
        case EdgeBlock():
            return item.channel
        case SpeedBlock() | ValueBlock():
            return item.source
        case Lost():
            return item.stream
    return ""


def _renamed(item: Item, name: str) -> Item:
    match item:
        case EdgeBlock():
            return replace(item, channel=name)
        case SpeedBlock() | ValueBlock():
            return replace(item, source=name)
        case Lost():
            return replace(item, stream=name)
    return item
