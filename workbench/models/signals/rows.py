"""The table of signals: a line an input, and below it a line for each of its streams."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from drivers.contract import ChannelKind, Driver
from drivers.recording import speed_label
from workbench.base.numbers import NO_VALUE
from workbench.base.units import UnitSystem
from workbench.live.session import InputState, InputStatus
from workbench.live.streams import Stream
from workbench.models.bench import Bench
from workbench.models.pace import doubt_words
from workbench.words.language import N_, _, ngettext
from workbench.words.words import Words

HEADS = ("Signal", "Speed", "Pulses/s", "Missed", "Extra", "Lost", N_("Last heard"), "State")

GOOD, ATTENTION, BAD, NO_DATA = "in_band", "attention", "bad", "no_data"
"""How a state is meant: names of the theme's colours, which never stand alone."""


@dataclass(frozen=True, slots=True)
class InputLine:
    """One input: what it is, its state, and what arrived damaged."""

    address: str
    title: str
    state: str
    tone: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class SignalLine:
    """One stream: its cells in the order of `HEADS`, and how its state is meant."""

    name: str
    cells: tuple[str, ...]
    tone: str
    pulses: bool


TableLine = InputLine | SignalLine


def table(bench: Bench) -> list[TableLine]:
    """Every input in use and its streams as they are now."""
    live, units, now_s = bench.live, bench.settings.units, bench.clock()
    statuses = {status.address: status for status in live.statuses()}
    lines: list[TableLine] = []
    for driver in live.drivers:
        lines.append(_input_line(driver, statuses.get(driver.address)))
        mine = [one for one in live.streams.values() if one.address == driver.address]
        lines += [_signal_line(stream, units, now_s) for stream in sorted(mine, key=_order)]
    return lines


def _order(stream: Stream) -> tuple[bool, bool]:
    """Pulse channels first, the lap mark after the wheels'."""
    return not stream.is_pulses, stream.kind is not ChannelKind.BELT


def _input_line(driver: Driver, status: InputStatus | None) -> InputLine:
    title, place = driver.notes.kind, driver.address.partition(":")[2].partition("?")[0]
    if not title:
        title = driver.address
    elif not driver.simulated:
        title = f"{title} on {place}"
    state, tone = _input_state(status)
    read = status is not None and status.state in (InputState.RUNNING, InputState.RECONNECTING)
    note = _damage(driver.rejects, status) if read else ""
    return InputLine(driver.address, title, state, tone, note)


def _input_state(status: InputStatus | None) -> tuple[str, str]:
    if status is None or status.state in (InputState.IDLE, InputState.OPENING):
        return "◌ opening", NO_DATA
    if status.state is InputState.RUNNING:
        return "● open", GOOD
    if status.state is InputState.RECONNECTING:
        return _("▲ trying again"), ATTENTION
    return ("✕ stopped", BAD) if status.error else ("■ ended", NO_DATA)


def _damage(rejects: dict[str, int], status: InputStatus | None) -> str:
    """What was lost and refused on the way, in words."""
    damaged = sum(dict(rejects).values())
    parts = (
        [ngettext("{count} damaged frame", "{count} damaged frames", damaged).format(count=damaged)]
        if damaged
        else []
    )
    if status is not None and status.reconnects:
        parts.append(
            ngettext(
                "plugged in again {count} time",
                "plugged in again {count} times",
                status.reconnects,
            ).format(count=status.reconnects)
        )
    return ", ".join(parts) or _("nothing damaged")


def kinds_of_damage(rejects: dict[str, int]) -> str:
    """'3 wrong checksum, 1 too long'; '' where nothing was refused."""
    return ", ".join(f"{count} {kind}" for kind, count in sorted(dict(rejects).items()))


def _signal_line(stream: Stream, units: UnitSystem, now_s: float) -> SignalLine:
    silent = stream.silent(now_s)
    state, tone = stream_state(stream, now_s)
    counts = stream.health.counts if stream.health else None
    has_speed = not stream.is_pulses or stream.kind is ChannelKind.BELT
    # What was last heard of a silent signal is no longer so.
    speed_mps = math.nan if silent else stream.speed_mps
    rate_hz = math.nan if silent else stream.rate_hz
    per_second = (
        stream.is_pulses and stream.kind is not ChannelKind.LAP_MARK and math.isfinite(rate_hz)
    )
    return SignalLine(
        stream.name,
        (
            signal_name(stream),
            Words(units).number("speed", speed_mps) if has_speed else NO_VALUE,
            f"{rate_hz:.1f}" if per_second else NO_VALUE,
            _of(counts.missed, counts.missed_share) if counts else NO_VALUE,
            _of(counts.extra, counts.extra_share) if counts else NO_VALUE,
            str(stream.lost),
            age_text(stream.age_s(now_s)),
            state,
        ),
        tone,
        stream.is_pulses and stream.health is not None,
    )


def signal_name(stream: Stream) -> str:
    """'left pickup'; a source known by its number is named in words."""
    if stream.is_pulses:
        known = {ChannelKind.LAP_MARK: _("lap mark"), ChannelKind.INDEX_MARK: _("index mark")}
        return known.get(stream.kind, f"{stream.name} pickup")
    label = speed_label(stream.name)
    if label != stream.name:
        return label
    return {"gnss": _("satellite speed")}.get(stream.name, f"{stream.name} speed")


def _of(count: int, share: float) -> str:
    """'0', '12 (0.5 %)' or '782 (22 %)'."""
    if not count:
        return "0"
    percent = 100 * share
    if percent < 0.05:
        return f"{count} (< 0.1 %)"
    return f"{count} ({percent:.{1 if percent < 9.95 else 0}f} %)"


def age_text(age_s: float) -> str:
    """'0.1 s ago', '42 s ago', '12 min ago', '3 h ago', 'not yet'."""
    if not math.isfinite(age_s):
        return _("not yet")
    age_s = max(age_s, 0.0)
    if age_s < 9.95:
        return f"{age_s:.1f} s ago"
    if age_s < 59.5:
        return f"{age_s:.0f} s ago"
    return (
        _("{minutes:.0f} min ago").format(minutes=age_s / 60)
        if age_s < 3570
        else f"{age_s / 3600:.0f} h ago"
    )


def stream_state(stream: Stream, now_s: float) -> tuple[str, str]:
    """A word with a shape before it, and how it is meant."""
    if not math.isfinite(stream.last_host_s):
        words = {ChannelKind.LAP_MARK: _("○ no mark yet")}.get(stream.kind, _("○ no pulses yet"))
        return (words if stream.is_pulses else _("○ nothing yet")), NO_DATA
    if stream.kind is ChannelKind.LAP_MARK:
        return "● live", GOOD  # a mark comes once a lap; its age says the rest
    if stream.silent(now_s):
        return "○ silent", NO_DATA
    if not stream.is_pulses and not math.isfinite(stream.speed_mps):
        return _("△ no value"), ATTENTION
    return ("● live", GOOD) if stream.doubt is None else (doubt_words(stream.doubt), ATTENTION)


def wheel_channels(streams: Sequence[Stream]) -> list[Stream]:
    """The streams whose single edges can be looked at."""
    return [stream for stream in streams if stream.health is not None]
