"""The half of `evenpace inputs` that shows what is plugged in, and what can be simulated."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import asdict

from drivers.plugged import Found
from workbench.cli import DONE
from workbench.cli.output import print_json, print_table, print_warnings
from workbench.words.language import _
from workbench.words.words import Words


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
        _print([*ports, *channels], simulated)
    return DONE


def _simulated() -> list[dict[str, str]]:
    from drivers.catalogue import listing

    return [
        {"address": address, "title": title, "about": about}
        for address, title, about in listing("sim")
    ]


def _print(inputs: Sequence[Found], simulated: Sequence[dict[str, str]]) -> None:
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
