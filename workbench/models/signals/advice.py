"""The one sentence above the signals: what is the matter, and what to look at next."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from workbench.calibration.pulses.edges import LOST_SHARE
from workbench.live.health import DoubtSays
from workbench.live.session import InputState
from workbench.live.streams import Stream
from workbench.models.bench import Bench
from workbench.models.pace import PaceModel
from workbench.models.signals.rows import (
    ATTENTION,
    BAD,
    GOOD,
    NO_DATA,
    kinds_of_damage,
    wheel_channels,
)
from workbench.words.language import _, ngettext
from workbench.words.moments import duration_text
from workbench.words.words import Words

MOVES_MPS = 0.3
"""Above this speed a standing belt is not what anyone wants. Chosen: a slow walk is 1 m/s."""

PATIENCE_S = 3.0
"""An input just opened may need so long for its first pulse, see drivers.serial_port."""


TURNS = 8
"""Turns looked at for a tooth that is always missed."""

MOST_NAMED = 3


class Look(StrEnum):
    """Where the next look goes."""

    NOWHERE = ""
    INPUTS = "inputs"
    EDGES = "edges"
    WIRING = "wiring"


@dataclass(frozen=True, slots=True)
class SignalAdvice:
    """A sentence, how it is meant (a colour's name), and where to look."""

    text: str
    tone: str = GOOD
    look: Look = Look.NOWHERE
    channel: str = ""


def advice(bench: Bench, opened_s: float) -> SignalAdvice:
    """The most pressing matter first. `opened_s`: when the inputs were opened."""
    for judge in (_inputs, _silence, _pulses, _damage):
        found = judge(bench, opened_s)
        if found is not None:
            return found
    return _all_well(bench)


def _inputs(bench: Bench, opened_s: float) -> SignalAdvice | None:
    live = bench.live
    if live.problems:
        return SignalAdvice(" ".join(live.problems), BAD, Look.INPUTS)
    if not live.drivers:
        return SignalAdvice(
            _("No input is in use. Plug in the counter or the receiver, find it here, and use it."),
            NO_DATA,
            Look.INPUTS,
        )
    for status in live.statuses():
        if status.state is InputState.RECONNECTING:
            return SignalAdvice(
                _("{reason} Plug it in again, and it goes on by itself.").format(
                    reason=_sentence(status.reason)
                ),
                BAD,
                Look.WIRING,
            )
        if status.state is InputState.ENDED and status.reason:
            text = _("{address} has ended: {reason}").format(
                address=status.address, reason=status.reason
            )
            return SignalAdvice(
                _sentence(status.reason if status.error else text), BAD, Look.INPUTS
            )
    return None


def _silence(bench: Bench, opened_s: float) -> SignalAdvice | None:
    live, now_s = bench.live, bench.clock()
    if now_s - opened_s < PATIENCE_S:
        return None
    if not live.streams:
        return SignalAdvice(
            _(
                "Nothing has come for {opened_s}, though the input is open. See what to check."
            ).format(opened_s=_time(now_s - opened_s)),
            ATTENTION,
            Look.WIRING,
        )
    wheels = wheel_channels(list(live.streams.values()))
    silent = [stream for stream in wheels if stream.silent(now_s)]
    if silent and len(silent) == len(wheels):
        return _all_silent(bench, silent, now_s, opened_s)
    # A channel that never gave a pulse may have no pickup at all: see `_all_well`.
    silent = [stream for stream in silent if stream.edges]
    if not silent:
        return _silent_ground(bench, now_s)
    names = " and ".join(stream.name for stream in silent)
    one = len(silent) == 1
    return SignalAdvice(
        ngettext(
            "The {names} pickup gives no pulses, and {other} does: look at the gap, the plug and "
            "the supply of {names}.",
            "The {names} pickups give no pulses, and {other} does: look at the gap, the plug and "
            "the supply of {names}.",
            1 if one else 2,
        ).format(
            names=names,
            other=next(stream.name for stream in wheels if not stream.silent(now_s)),
        ),
        ATTENTION,
        Look.WIRING,
        silent[0].name,
    )


def _all_silent(bench: Bench, silent: list[Stream], now_s: float, opened_s: float) -> SignalAdvice:
    heard_s = max(max(stream.last_host_s for stream in silent), opened_s)
    text = _("No pulses for {heard_s}: ").format(heard_s=_time(now_s - heard_s))
    ground = PaceModel(bench).ground()
    if ground is not None and not ground.silent(now_s) and ground.speed_mps > MOVES_MPS:
        speed = Words(bench.settings.units).number("speed", ground.speed_mps)
        text += _(
            "yet the tractor moves at {speed}. Does the belt run? If it does, see the wiring."
        ).format(speed=speed)
        return SignalAdvice(text, ATTENTION, Look.WIRING, silent[0].name)
    text += _("the belt stands, or the pickups are not heard. If it runs, see what to check.")
    return SignalAdvice(text, NO_DATA, Look.WIRING, silent[0].name)


def _silent_ground(bench: Bench, now_s: float) -> SignalAdvice | None:
    for stream in bench.live.streams.values():
        if not stream.is_pulses and stream.silent(now_s):
            age = _time(stream.age_s(now_s))
            return SignalAdvice(
                _(
                    "{name} has given no speed for {age}: a receiver needs a free view of "
                    "the sky, a radar its supply and a clean face."
                ).format(name=stream.name, age=age),
                ATTENTION,
            )
    return None


def _pulses(bench: Bench, _opened_s: float) -> SignalAdvice | None:
    for stream in wheel_channels(list(bench.live.streams.values())):
        if stream.health is None or stream.doubt is None:
            continue
        recent, gone = stream.health.recent(), _gone(bench, stream)
        if gone:
            text = _(
                "The {name} pickup sees no tooth {gone} in any turn, counted from the "
                "first one seen: it is broken off, bent or worn down."
            ).format(name=stream.name, gone=gone)
        elif stream.doubt is DoubtSays.MISSES_TEETH:
            text = _(
                "The {name} pickup misses {missed_share:.1f} % of the teeth. "
                "The gap may be too wide, a plug loose, or the wheel damaged."
            ).format(name=stream.name, missed_share=100 * recent.missed_share)
        else:
            text = _(
                "{extra_share:.1f} % of what comes from the {name} pickup is "
                "noise, no tooth: look at its plug and shield, and at what its cable runs beside."
            ).format(extra_share=100 * recent.extra_share, name=stream.name)
        return SignalAdvice(text, ATTENTION, Look.EDGES, stream.name)
    return None


def _gone(bench: Bench, stream: Stream) -> str:
    """'7 and 8', the teeth that are missed in every turn; '' where there are none."""
    if bench.machine is None or stream.health is None:
        return ""
    teeth = bench.machine.drive.target_teeth
    places = stream.health.look(TURNS * teeth).gone(teeth)
    return " and ".join(str(place + 1) for place in places[:MOST_NAMED])


def _damage(bench: Bench, _opened_s: float) -> SignalAdvice | None:
    for driver in bench.live.drivers:
        refused, good = (
            sum(dict(driver.rejects).values()),
            sum(dict(driver.notes.messages).values()),
        )
        if refused > LOST_SHARE * (refused + good) and refused > 1:
            return SignalAdvice(
                _(
                    "Of what {address} sends, {refused} frames came damaged "
                    "({rejects}): look at its cable."
                ).format(
                    address=driver.address, refused=refused, rejects=kinds_of_damage(driver.rejects)
                ),
                ATTENTION,
                Look.WIRING,
            )
        if driver.notes.warnings:
            return SignalAdvice(_sentence(driver.notes.warnings[-1]), ATTENTION)
    return None


def _all_well(bench: Bench) -> SignalAdvice:
    pace, words = PaceModel(bench).now(), Words(bench.settings.units)
    if bench.machine is None and wheel_channels(list(bench.live.streams.values())):
        return SignalAdvice(
            _("Pulses come. Describe the machine on the Machine page, and they become a speed."),
            ATTENTION,
        )
    belt = f"belt {words.number('speed', pace.belt_mps)}" if math.isfinite(pace.belt_mps) else ""
    ground = ""
    if math.isfinite(pace.ground_mps):
        ground = f"ground {words.number('speed', pace.ground_mps)}"
    speeds = ", ".join(part for part in (belt, ground) if part)
    never = [one.name for one in wheel_channels(list(bench.live.streams.values())) if not one.edges]
    if speeds and never:
        names = " and ".join(never)
        text = _(
            "{speeds}. No pulse yet from {names}: if a pickup is wired there, see what to check."
        ).format(speeds=f"{speeds[0].upper()}{speeds[1:]}", names=names)
        return SignalAdvice(text, NO_DATA, Look.WIRING, never[0])
    return SignalAdvice(
        _("All signals come: {speeds}.").format(speeds=speeds)
        if speeds
        else _("Waiting for the first signals …")
    )


def _sentence(text: str) -> str:
    text = text.strip()
    return text if text.endswith((".", "!", "?", "…")) else f"{text}."


def _time(age_s: float) -> str:
    return f"{age_s:.0f} s" if age_s < 60 else f"{duration_text(age_s)} min"
