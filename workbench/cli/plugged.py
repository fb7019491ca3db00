"""The half of `evenpace inputs` that shows what is plugged in, and what can be simulated."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from workbench.cli import DONE
from workbench.cli.output import print_json, print_table, print_warnings


def add_plugged_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of this half."""
    parser.add_argument(
        "--no-listen",
        action="store_true",
        help="only name the ports; do not listen to them for a second",
    )


def show_plugged(args: argparse.Namespace) -> int:
    """Print what is plugged in; nothing is written to any device."""
    from drivers.plugged import can_channels, hear_can, hear_ports, serial_ports

    ports, channels = serial_ports(), can_channels()
    if not args.no_listen:
        ports, channels = hear_ports(ports), hear_can(channels)
    answer = {"inputs": [asdict(found) for found in (*ports, *channels)], "simulated": _simulated()}
    if args.json:
        print_json(answer)
    else:
        _print(answer["inputs"], answer["simulated"])
    return DONE


def _simulated() -> list[dict[str, str]]:
    from drivers.catalogue import listing

    return [
        {"address": address, "title": title, "about": about}
        for address, title, about in listing("sim")
    ]


def _print(inputs: Sequence[dict[str, Any]], simulated: Sequence[dict[str, str]]) -> None:
    # Not a table: an address must never be cut off to fit a column.
    for found in inputs:
        print(f"{found['name']}  {found['what']}")
        if found["looks_like"]:
            print(f"    {found['looks_like']}")
        if found["address"]:
            print(f"    address: {found['address']}")
    if not inputs:
        print("Nothing is plugged in: no serial port and no CAN channel was found.")
    print()
    print_table("Simulated", [(i["address"], i["title"]) for i in simulated])
    print_warnings(f"{i['name']}: {i['problem']}" for i in inputs if i["problem"])
