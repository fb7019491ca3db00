"""Stored items to a `Recording`: every stream on one time line."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import partial

import numpy as np

from drivers.contract import (
    ChannelKind,
    Driver,
    EdgeTrack,
    Item,
    Lost,
    Note,
    Notes,
    Recording,
    SpeedTrack,
    ValueTrack,
)
from drivers.kinds import pulse_kind, speed_kind, value_kind
from drivers.recording import EdgeColumns, edge_track, put_together, read_for, speed_label
from workbench.calibration.pulses.time_base import ClockRuns
from workbench.records.clocks import Clocks, clocks_of, on_host_line
from workbench.records.codec import Array, StreamKey, channel_kind
from workbench.records.columns import Columns, StoredStream, StreamPart, streams_from

_WHERE_GIVEN = ("falls", "peaks")
EDGES = (
    *("sizes", "ticks", "tick_s", "host_s", *_WHERE_GIVEN),
    *(f"{name} sizes" for name in _WHERE_GIVEN),
)
"""The arrays of a stream of pulses that its track is made of."""

Named = tuple[str, str]
"""(channel or source, input address)"""

_U_HOST_CLOCK_REL = 30e-6
"""30 ppm for the computer's own crystal: common practice, no source."""


def rebuild(
    pairs: Iterable[tuple[str, Item]],
    notes: Notes,
    started_host_s: float,
    name: str,
    simulated: bool,
) -> Recording:
    """A recording from (input address, item) as they came from the wire or a file."""
    return recording_of(streams_from(pairs), notes, started_host_s, name, simulated)


def recording_of(
    streams: Sequence[StoredStream],
    notes: Notes,
    started_host_s: float,
    name: str,
    simulated: bool,
    clocks: Clocks | None = None,
) -> Recording:
    """A recording from its streams.

    The time line begins at `notes.origin_s`, or at `started_host_s`. A file carries its
    times already; of a live recording each clock, of a pulse counter or of a sender that
    stamps its values, is fitted to the host's, where `clocks` does not hold it. Where two inputs
    use one name for a channel or source, those of the second are called 'name@2', and so on.
    """
    origin_s = started_host_s if notes.origin_s is None else notes.origin_s
    if any(one.key.input.startswith("file:") for one in streams):
        clocks = {}
    elif clocks is None:
        clocks = clocks_of(one.columns() for one in streams)
    notes = replace(notes, origin_s=origin_s, warnings=[*notes.warnings, *odd_clocks(clocks)])
    lost = [one.columns() for one in streams if one.key.kind == "lost"]
    streams = [one for one in streams if one.key.kind in ("edges", "speeds", "values")]
    begins = {one.key: int(one.parts[0].columns(("sizes",)).blocks[0]) for one in streams}
    names = _names_apart(begins, lost)
    speeds: list[SpeedTrack] = []
    values: list[ValueTrack] = []
    pulses: list[Callable[[], EdgeTrack]] = []
    for one in sorted(streams, key=lambda one: begins[one.key]):
        called = names[one.key.name, one.key.input]
        if one.key.kind == "edges":
            pulses.append(partial(_edge_track, one, called, clocks.get((one.key.input, ""))))
        elif one.key.kind == "speeds":
            speeds.append(_speed_track(on_host_line(one.columns(), clocks), called, notes.timed))
        else:
            values.append(_value_track(on_host_line(one.columns(), clocks), called))
    with ThreadPoolExecutor() as pool:
        edges = list(pool.map(lambda track: track(), pulses))
    holes = _holes(lost, names)
    return put_together(edges, speeds, values, holes, notes, name=name, simulated=simulated)


def _edge_track(one: StoredStream, called: str, clock: ClockRuns | None) -> EdgeTrack:
    short = [part.columns(("sizes",)) for part in one.parts]
    count = sum(int(part.arrays["sizes"].sum()) for part in short)
    told = (called, _kind(short[0], pulse_kind), map(_edge_columns, one.parts), count)
    if clock is None:
        return edge_track(*told)
    track = edge_track(*told, clock.to_host)
    return replace(track, u_clock_rel=_u_clock_rel(clock)) if track.time_s.size else track


def _edge_columns(part: StreamPart) -> EdgeColumns:
    one = part.columns(EDGES)
    a, falls = one.arrays, _where_given(one, "falls", 0)
    return EdgeColumns(
        a["sizes"],
        a["tick_s"],
        a["host_s"],
        a["ticks"],
        None if falls is None else falls.astype(np.int64),
        _where_given(one, "peaks", np.nan),
    )


def _speed_track(one: Columns, called: str, timed: bool) -> SpeedTrack:
    a, u_mps = one.arrays, _where_given(one, "u_mps", np.nan)
    unknown = np.full(a["speed_mps"].size, np.nan)
    return SpeedTrack(
        called,
        speed_label(called),
        a["time_s"],
        a["speed_mps"],
        unknown if u_mps is None else u_mps,
        timed,
        _kind(one, speed_kind),
    )


def _value_track(one: Columns, called: str) -> ValueTrack:
    a, quantity = one.arrays, one.key.quantity
    kind = _kind(one, lambda name: value_kind(name, quantity))
    return ValueTrack(called, quantity, a["time_s"], a["value"], kind)


def _kind(one: Columns, tell: Callable[[str], ChannelKind]) -> ChannelKind:
    """What the driver said of the channel, or its own name tells."""
    said = channel_kind(one.head)
    return tell(one.key.name) if said is ChannelKind.UNKNOWN else said


def _where_given(one: Columns, name: str, absent: float) -> Array | None:
    """(N,) An array that some items may lack, `absent` for theirs; None where all do."""
    if name not in one.arrays:
        return None
    sizes, given = one.arrays["sizes"], one.arrays[f"{name} sizes"] >= 0
    if given.all():
        return one.arrays[name]
    whole = np.full(int(sizes.sum()), absent)
    whole[np.repeat(given, sizes)] = one.arrays[name]
    return whole


def _holes(lost: Sequence[Columns], names: Mapping[Named, str]) -> list[Lost]:
    found = [
        (block, replace(item, stream=names[item.stream, one.key.input]))
        for one in lost
        for block, item in one.items()
        if isinstance(item, Lost)
    ]
    return [item for _, item in sorted(found, key=lambda pair: pair[0])]


def _names_apart(begins: Mapping[StreamKey, int], lost: Sequence[Columns]) -> dict[Named, str]:
    """What each channel and source of each input is called, in the order they came."""
    came = [(block, key.name, key.input) for key, block in begins.items()]
    for one in lost:
        holes = zip(one.blocks.tolist(), one.head["lost"], strict=True)
        came += [(block, hole[0], one.key.input) for block, hole in holes]
    users: dict[str, list[str]] = {}
    for _, name, address in sorted(came):
        inputs = users.setdefault(name, [])
        if address not in inputs:
            inputs.append(address)
    return {
        (name, address): f"{name}@{at}" if name and at > 1 else name
        for name, inputs in users.items()
        for at, address in enumerate(inputs, 1)
    }


def collect(driver: Driver, for_s: float) -> Recording:
    """What an input brings within `for_s` seconds of its own clock, or to its end; it is opened
    and closed. Raises what the driver raises (InputError)."""
    started_s = driver.clock()
    pairs = [(driver.address, item) for item in read_for(driver, for_s)]
    return rebuild(pairs, driver.notes, started_s, driver.address, driver.simulated)


def _u_clock_rel(clock: ClockRuns) -> float:
    return math.hypot(_U_HOST_CLOCK_REL, max(base.u_rate for base in clock.bases))


def odd_clocks(clocks: Clocks) -> list[str]:
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
