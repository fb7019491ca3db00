"""Which channel tells the belt's speed, which the ground's, which a mark: one choice for all.

Pure functions of what the channels say of themselves, on the tracks of a recording as on
the channels that come in, so that command and screen take the same ones.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import replace
from enum import StrEnum, auto
from typing import Protocol, TypeVar

from drivers.contract import ChannelKind, EdgeTrack, Recording, SpeedTrack
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
from workbench.base.numbers import NO_VALUE
from workbench.base.statements import Statement, statement
from workbench.calibration.readout.true_speed import UNSAID_CLOCK_U_REL
from workbench.match import sources
from workbench.match.sources import UNNAMED, SourceKind, trust

Track = EdgeTrack | SpeedTrack


class ClockSays(StrEnum):
    """A doubt about the clock behind a recording's pulses."""

    CLOCK_UNSAID = auto()


def u_clock_rel(machine: Machine | None) -> float:
    """Of a counter's clock that was not held against the computer's: what the machine file tells
    of it, rectangular either way; else wide."""
    ppm = machine.pickup.clock_ppm if machine else math.nan
    return ppm * 1e-6 / math.sqrt(3) if math.isfinite(ppm) else UNSAID_CLOCK_U_REL


def on_its_clock(
    recording: Recording, machine: Machine | None
) -> tuple[Recording, tuple[Statement, ...]]:
    """The recording with the clock of its pulses, and a word where nobody tells of that: of a
    table of times. What came in live was held against the computer's clock."""
    u_rel = u_clock_rel(machine)
    edges = {
        name: replace(track, u_clock_rel=u_rel) if math.isnan(track.u_clock_rel) else track
        for name, track in recording.edges.items()
    }
    unsaid = any(track.u_clock_rel == UNSAID_CLOCK_U_REL for track in edges.values())
    told = (statement(ClockSays.CLOCK_UNSAID, U_rel=2 * u_rel),) if unsaid else ()
    return replace(recording, edges=edges), told


class Channel(Protocol):
    """A track of a recording, or a channel that comes in."""

    @property
    def name(self) -> str: ...
    @property
    def kind(self) -> ChannelKind: ...
    @property
    def is_pulses(self) -> bool: ...


One = TypeVar("One", bound=Channel)

GROUNDS = {
    ChannelKind.SATELLITE: sources.GNSS,
    ChannelKind.RADAR: sources.RADAR,
    ChannelKind.UNKNOWN: UNNAMED,
    ChannelKind.WHEEL: sources.WHEEL,
    ChannelKind.SELECTED: sources.SELECTED,
    ChannelKind.WATER: sources.WATER,
}
"""What may tell the ground's speed, and how well its scale is known."""

MARKS = (ChannelKind.INDEX_MARK, ChannelKind.LAP_MARK)
"""What the teeth of a wheel are counted from, the first there is."""


def ground_kind(channel: Channel) -> SourceKind:
    """What kind of ground speed a channel is; one that a person named is taken as it is."""
    return GROUNDS.get(channel.kind, UNNAMED)


def belts(channels: Iterable[One], heard: Callable[[One], bool]) -> list[One]:
    """Those that may tell the belt's speed, the first to be taken first: its pickups, its
    speeds, and speeds of which nobody knows. One that was never `heard` comes after its like.
    """
    kinds = (ChannelKind.BELT, ChannelKind.UNKNOWN)
    able = [one for one in channels if one.kind in kinds]
    return sorted(able, key=lambda one: (kinds.index(one.kind), not heard(one), not one.is_pulses))


def belt(channels: Iterable[One], heard: Callable[[One], bool]) -> One | None:
    """The one to take for the belt where none is named: one that is known to be the belt's."""
    return next((one for one in belts(channels, heard) if one.kind is ChannelKind.BELT), None)


def grounds(
    channels: Iterable[One], belt: Channel | None, usable: Callable[[One], bool]
) -> list[One]:
    """Those that may tell the ground's speed, the most trusted first; never the belt's own."""
    able = [
        one for one in channels if not one.is_pulses and one.kind in GROUNDS and one is not belt
    ]
    return sorted(able, key=lambda one: trust(ground_kind(one), usable=usable(one)))


def mark(
    channels: Iterable[One], heard: Callable[[One], bool], kinds: Iterable[ChannelKind]
) -> One | None:
    """The first that holds marks of the first of these kinds that has been `heard` at all."""
    passed = [one for one in channels if heard(one)]
    return next((one for kind in kinds for one in passed if one.kind is kind), None)


def pickups(recording: Recording) -> list[EdgeTrack]:
    """The recording's pulses of the belt, those with pulses first."""
    return belts(recording.edges.values(), has_values)


def pick_pickup(recording: Recording, named: str | None) -> EdgeTrack:
    """The pulse channel asked for, or the belt's. Raises WrongInput naming those there are."""
    if named is not None and named in recording.edges:
        return recording.edges[named]
    if named is None and (found := pickups(recording)):
        return found[0]
    if not recording.edges:
        raise WrongInput(
            "{name} holds no pulses of a pickup; it holds {known}.",
            name=recording.name,
            known=_names(recording),
        )
    if named is not None:
        raise WrongInput(
            "{name} has no pulse channel '{channel}'; its pulse channels: {known}.",
            name=recording.name,
            channel=named,
            known=list(recording.edges),
        )
    raise WrongInput(
        "{name} holds no pulses that are known to be a belt pickup's; its pulse channels: "
        "{known}. If one of them is a pickup, name it with --channel.",
        name=recording.name,
        known=list(recording.edges),
    )


def pick_belt(recording: Recording, named: str | None) -> Track | None:
    """The belt's pulses or speed; None where nothing is known to be. Raises WrongInput."""
    if named:
        return pick(recording, named)
    return belt(_tracks(recording), has_values)


def pick_ground(recording: Recording, named: str, belt: Track | None) -> Track:
    """The ground's source as named. Raises WrongInput where it can be none, or is the belt's."""
    ground = pick(recording, named)
    if ground is belt:
        raise WrongInput(
            "'{source}' of {name} cannot be both belt and ground: it would be compared with "
            "itself. Name another with --belt or --ground; there are {known}.",
            source=ground.name,
            name=recording.name,
            known=_names(recording),
        )
    if ground.is_pulses and ground.kind is not ChannelKind.BELT:
        raise WrongInput(
            "--ground: '{source}' of {name} holds pulses, and nothing says how far the tractor "
            "moves in one; name a speed. There are {known}.",
            source=ground.name,
            name=recording.name,
            known=_names(recording),
        )
    return ground


def pick_mark(
    recording: Recording, named: str | None, kinds: Iterable[ChannelKind]
) -> EdgeTrack | None:
    """The channel of a mark as named, or the first of these kinds that has passed.

    None where there is none. Raises WrongInput naming those there are.
    """
    if named is not None and named not in recording.edges:
        raise WrongInput(
            "{name} has no channel '{channel}'; its pulse channels: {known}.",
            name=recording.name,
            channel=named,
            known=list(recording.edges) or NO_VALUE,
        )
    if named is not None:
        return recording.edges[named]
    return mark(recording.edges.values(), has_values, kinds)


def pick(recording: Recording, name: str) -> Track:
    """The speed source or pulse channel called `name`, or the only one that begins so.

    Raises WrongInput naming those there are.
    """
    tracks = {track.name: track for track in _tracks(recording)}
    if name in tracks:
        return tracks[name]
    near = [known for known in tracks if known.startswith((f"{name}/", f"{name}-"))]
    if len(near) > 1:
        near = [known for known in near if has_values(tracks[known])] or near
    if len(near) == 1:
        return tracks[near[0]]
    told = {"name": recording.name, "source": name, "known": _names(recording)}
    if near:
        raise WrongInput("{name} has several sources '{source}'; it holds {known}.", **told)
    if not tracks:
        raise WrongInput("{name} holds nothing: nothing came in while it was recorded.", **told)
    raise WrongInput("{name} has no source '{source}'; it holds {known}.", **told)


def has_values(track: Track) -> bool:
    """Whether a pulse or a speed has come at all."""
    if isinstance(track, EdgeTrack):
        return track.time_s.size > 0
    return bool((track.speed_mps == track.speed_mps).any())


def _tracks(recording: Recording) -> list[Track]:
    """A pulse channel goes before a speed of its name."""
    return [*recording.speeds.values(), *recording.edges.values()]


def _names(recording: Recording) -> list[str]:
    return [*recording.edges, *recording.speeds] or [NO_VALUE]
