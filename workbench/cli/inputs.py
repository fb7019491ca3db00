"""`evenpace inputs`: what recorded files hold, or, without a file, what is plugged in."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from drivers.contract import EdgeTrack, Floats, InputError, Recording, SpeedTrack, ValueTrack
from drivers.plugged import Found
from workbench.cli import DONE, WRONG
from workbench.cli.arguments import words_of
from workbench.cli.output import print_json, print_table, print_warnings
from workbench.cli.reading_line import reading_line
from workbench.words.language import _
from workbench.words.words import Words


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", metavar="FILE", nargs="*", help=_("recorded files to look into"))
    add_plugged_arguments(parser)


def run(args: argparse.Namespace) -> int:
    if not args.files:
        return show_plugged(args)
    answers, words = [_look_into(name) for name in args.files], words_of(args)
    problems = [answer["problem"] for answer in answers if "problem" in answer]
    if args.json:
        print_json({"files": answers}, problems, WRONG)
    else:
        for answer in answers:
            if "problem" not in answer:
                _print(answer, words)
    print_warnings(problems)
    return WRONG if problems else DONE


def _look_into(name: str) -> dict[str, Any]:
    """What a file holds, or why it cannot be read: the other files are shown all the same."""
    from drivers.files.reading import read_recording

    try:
        with reading_line() as progress:
            return describe(read_recording(name, progress))
    except InputError as refused:
        return {"name": name, "problem": Words().say(refused)}


def describe(recording: Recording) -> dict[str, Any]:
    """What a recording holds: its kind, its pulse channels, speeds and other quantities."""
    return {
        "name": recording.name,
        "kind": recording.kind,
        "simulated": recording.simulated,
        "sha256": recording.sha256,
        "pulses": [_pulses(track) for track in recording.edges.values()],
        "speeds": [_speed(track) for track in recording.speeds.values()],
        "values": [_value(track) for track in recording.values.values()],
        "messages": recording.messages,
        "rejects": recording.rejects,
        "lost": [asdict(lost) for lost in recording.lost],
        "warnings": recording.warnings,
    }


def _pulses(track: EdgeTrack) -> dict[str, Any]:
    span_s = float(np.ptp(track.time_s)) if track.time_s.size > 1 else math.nan
    return {
        "source": track.channel,
        "edges": int(track.time_s.size),
        **_span(track.time_s),
        "mean_hz": (track.time_s.size - 1) / span_s if span_s > 0 else math.nan,
    }


def _speed(track: SpeedTrack) -> dict[str, Any]:
    times = _span(track.time_s) if track.timed else {"first_s": math.nan, "last_s": math.nan}
    return {
        "source": track.source,
        "label": track.label,
        "timed": track.timed,
        **times,
        **_numbers(track.speed_mps, "_mps"),
        "mean_u_mps": _mean(track.u_mps),
    }


def _value(track: ValueTrack) -> dict[str, Any]:
    return {
        "source": track.source,
        "quantity": track.quantity,
        **_span(track.time_s),
        **_numbers(track.value, ""),
    }


def _span(time_s: Floats) -> dict[str, float]:
    if not time_s.size:
        return {"first_s": math.nan, "last_s": math.nan}
    return {"first_s": float(time_s[0]), "last_s": float(time_s[-1])}


def _numbers(values: Floats, unit: str) -> dict[str, Any]:
    known = values[~np.isnan(values)]
    return {
        "values": int(known.size),
        "no_value": int(values.size - known.size),
        f"least{unit}": float(known.min()) if known.size else math.nan,
        f"mean{unit}": _mean(known),
        f"most{unit}": float(known.max()) if known.size else math.nan,
    }


def _mean(values: Floats) -> float:
    known = values[~np.isnan(values)]
    return float(known.mean()) if known.size else math.nan


def _print(answer: dict[str, Any], words: Words) -> None:
    # Lines, not a table: the name of a source must never be cut off to fit a column.
    print(f"{words.say(answer['name'])}: {words.say(answer['kind'])}")
    if answer["pulses"] or answer["speeds"]:
        print("  " + _("sources, by the names that --channel, --belt and --ground take"))
    for pulses in answer["pulses"]:
        said = [_("pulses: {edges} edges").format(edges=pulses["edges"]), *_when(pulses)]
        if math.isfinite(pulses["mean_hz"]):
            said.append(_("{rate:.2f} Hz on average").format(rate=pulses["mean_hz"]))
        print(f"    {pulses['source']}  {', '.join(said)}")
    for speed in answer["speeds"]:
        label = words.say(speed["label"]).removeprefix(speed["source"])  # '': the name says it
        print(f"    {speed['source']}  {label}".rstrip())
        said = [*_amount(speed), *_reach(speed, "_mps", lambda v: words.number("speed", v))]
        print("        " + ", ".join([*said, *_when(speed)]))
    if answer["values"]:
        print("  " + _("other values"))
    for value in answer["values"]:
        said = [*_amount(value), *_reach(value, "", "{:.8g}".format)]
        print(f"    {value['source']}  {value['quantity']}: {', '.join(said)}")
    for heading, counts in ((_("counted"), answer["messages"]), (_("rejected"), answer["rejects"])):
        if counts:
            print(f"  {heading}")
        for name, count in counts.items():
            print(f"    {count:>9}  {name}")
    print_warnings(map(words.say, answer["warnings"]))


def _amount(track: dict[str, Any]) -> list[str]:
    if not track["values"]:
        return [_("{count} times 'no value' and nothing else").format(count=track["no_value"])]
    said = [_("{count} values").format(count=track["values"])]
    if track["no_value"]:
        said.append(_("{count} times 'no value'").format(count=track["no_value"]))
    return said


def _reach(track: dict[str, Any], suffix: str, shown: Callable[[float], str]) -> list[str]:
    if not track["values"]:
        return []
    least, mean, most = (shown(track[word + suffix]) for word in ("least", "mean", "most"))
    if least == most:
        return [_("all {value}").format(value=most)]
    return [
        _("{least} to {most}").format(least=least, most=most),
        _("mean {mean}").format(mean=mean),
    ]


def _when(track: dict[str, Any]) -> list[str]:
    first_s, last_s = track["first_s"], track["last_s"]
    if not math.isfinite(first_s):
        return []
    return [_("from {first_s:z.3f} s to {last_s:z.3f} s").format(first_s=first_s, last_s=last_s)]


def add_plugged_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of this half."""
    parser.add_argument(
        "--no-listen",
        action="store_true",
        help=_("only name the ports; do not listen to them for a second"),
    )


def show_plugged(args: argparse.Namespace) -> int:
    """Print what is plugged in; nothing is written to any device."""
    from drivers.plugged import can_channels, hear_can, hear_ports, serial_ports

    ports, channels = serial_ports(), can_channels()
    if not args.no_listen:
        ports, channels = hear_ports(ports), hear_can(channels)
    simulated = _simulated()
    if args.json:
        inputs = [asdict(found) for found in (*ports, *channels)]
        print_json({"inputs": inputs, "simulated": simulated})
    else:
        _print_plugged([*ports, *channels], simulated)
    return DONE


def _simulated() -> list[dict[str, str]]:
    from drivers.catalogue import listing

    return [
        {"address": one.address, "title": one.title, "about": one.about} for one in listing("sim")
    ]


def _print_plugged(inputs: Sequence[Found], simulated: Sequence[dict[str, str]]) -> None:
    words = Words()
    # Not a table: an address must never be cut off to fit a column.
    for found in inputs:
        print(f"{found.name}  {words.say(found.what)}")
        if found.looks_like:
            print(f"    {words.say(found.looks_like)}")
        if found.address:
            print("    " + _("address: {address}").format(address=found.address))
    if not inputs:
        print(_("Nothing is plugged in: no serial port and no CAN channel was found."))
    print()
    print_table(_("Simulated"), [(one["address"], _(one["title"])) for one in simulated])
    print_warnings(f"{found.name}: {words.say(found.problem)}" for found in inputs if found.problem)
