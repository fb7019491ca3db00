"""The arguments that commands share: what to compute on, the store, units and language."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

from workbench.base.errors import WrongInput
from workbench.base.machine import Machine, load_machine
from workbench.base.units import UNIT_SYSTEMS, units_for
from workbench.cli.reading_line import reading_line
from workbench.jobs.particulars import NOTHING_SAID, Particulars
from workbench.jobs.source import Source, load_source
from workbench.jobs.xml_signature import DIGITAL, VARIABLE, XmlSigner, xml_signer
from workbench.words.language import _
from workbench.words.words import Words

PARTICULARS = {one.name: f"--{one.name}" for one in fields(Particulars)}
PARTICULARS["references"] = "--reference"
"""What is said of a result, and the option that says it."""


def add_source(parser: argparse.ArgumentParser, *, required: bool = True) -> None:
    """The arguments every command on a recording shares; `required`: it works on one alone."""
    parser.add_argument(
        "source",
        metavar="RECORDING",
        nargs=None if required else "?",
        help=_("a file, the number of a stored recording, or sim:SCENARIO"),
    )
    add_machine(parser)
    parser.add_argument("--seed", type=int, help=_("the simulator's random seed (default 0)"))
    parser.add_argument(
        "--for",
        dest="for_s",
        metavar="TIME",
        type=seconds,
        help=_("how long to simulate: 60s, 5min"),
    )
    add_store(parser)


def add_machine(parser: argparse.ArgumentParser) -> None:
    """The argument that names the machine."""
    parser.add_argument("--machine", metavar="FILE", help=_("the machine file (TOML)"))


def add_particulars(parser: argparse.ArgumentParser) -> None:
    """The arguments that say whom and what a result is for; None where one is not given."""
    said = parser.add_argument_group(_("kept with the result and printed on its reports"))
    said.add_argument("--customer", metavar="NAME", help=_("whom it is for"))
    said.add_argument("--field", metavar="NAME", help=_("the field, or another place"))
    said.add_argument("--job", metavar="TEXT", help=_("the job or order"))
    said.add_argument("--by", metavar="NAME", help=_("who did it"))
    said.add_argument(
        "--conditions", "--environment", metavar="TEXT", help=_("weather, oil, temperature")
    )
    said.add_argument("--remarks", metavar="TEXT", help=_("remarks"))
    said.add_argument(
        "--reference",
        dest="references",
        metavar="TEXT",
        action="append",
        help=_("a tape, watch or tachometer used and how it is traceable; may be repeated"),
    )


def particulars_of(args: argparse.Namespace, before: Particulars = NOTHING_SAID) -> Particulars:
    """What the arguments say, over what was said before."""
    given = {name: getattr(args, name) for name in PARTICULARS}
    given = {name: value for name, value in given.items() if value is not None}
    if "references" in given:
        given["references"] = tuple(given["references"])
    return replace(before, **given)


def add_report(parser: argparse.ArgumentParser) -> None:
    """The arguments of a report beside the answer, and of what stands on it."""
    parser.add_argument("--report", metavar="FILE", help=_("write a report: .pdf, .html or .json"))
    add_particulars(parser)


def check_report(args: argparse.Namespace, *, digital: bool = False) -> None:
    """Raises WrongInput where the report cannot be written: before the work, not after."""
    if args.report:
        from workbench.reports.document import check_report_path

        check_report_path(args.report, digital=digital)


def add_signing(parser: argparse.ArgumentParser) -> None:
    """The argument that names the key of a digital certificate."""
    parser.add_argument(
        "--sign",
        metavar="FILE",
        default=os.environ.get(VARIABLE),
        help=_(
            "sign the .xml with the key of this PKCS#12 file (default: ${variable}); its password "
            "is asked for"
        ).format(variable=VARIABLE),
    )


def signer_of(args: argparse.Namespace, path: str | None) -> XmlSigner | None:
    """What signs a report of that name; None where it is no digital certificate or no key is
    named. Raises WrongInput."""
    if not args.sign or not str(path or "").lower().endswith(DIGITAL):
        return None
    from getpass import getpass

    try:
        asked = _("Password of {path}: ").format(path=args.sign)
        return xml_signer(Path(args.sign), getpass(asked, sys.stderr))
    except EOFError:
        raise WrongInput("{path}: its password was not given.", path=args.sign) from None


def add_store(parser: argparse.ArgumentParser) -> None:
    """The argument that names the store of recordings and results."""
    parser.add_argument(
        "--store",
        metavar="ADDRESS",
        help=_(
            "where recordings and results are kept: a file or postgresql://USER@HOST/DATABASE "
            "(default: $EVENPACE_STORE, or a file in your data folder)"
        ),
    )


def stored_number(text: str) -> int:
    """The number of a recording or result. Raises argparse's error for anything else."""
    if not (text.isascii() and text.isdigit() and 0 < int(text) < 2**31):
        raise argparse.ArgumentTypeError(
            _("'{text}' is no number in the store; write it as 3").format(text=text)
        )
    return int(text)


def typed(parse: Callable[[str], Any]) -> Callable[[str], Any]:
    """What `parse` makes of an argument; argparse's error where it refuses it."""

    def made(text: str) -> Any:
        try:
            return parse(text)
        except WrongInput as error:
            raise argparse.ArgumentTypeError(Words().say(error)) from None

    return made


def seconds(text: str) -> float:
    """'60s', '90', '5min' or '1h' in seconds. Raises argparse's error for anything else."""
    for unit, factor in (("min", 60.0), ("h", 3600.0), ("s", 1.0), ("", 1.0)):
        number = text.strip().removesuffix(unit) if unit else text.strip()
        if unit and number == text.strip():
            continue
        try:
            value = float(number) * factor
        except ValueError:
            break
        if 0 < value <= 30 * 24 * 3600:
            return value
        break
    raise argparse.ArgumentTypeError(
        _(
            "'{text}' is no length of time; write for example 60s, 5min or 1h, at most 30 days"
        ).format(text=text)
    )


def machine_of(args: argparse.Namespace) -> Machine | None:
    """The machine of the file that was named. Raises WrongInput."""
    return load_machine(args.machine) if args.machine else None


def source_of(args: argparse.Namespace) -> Source:
    """What the command was pointed at. Raises WrongInput, InputError, StoreError."""
    machine = machine_of(args)
    with reading_line() as progress:
        return load_source(
            args.source, machine, args.store, seed=args.seed, for_s=args.for_s, progress=progress
        )


def words_of(args: argparse.Namespace, machine: Machine | None = None) -> Words:
    """The person's words: the units asked for, or those that go with the readout's."""
    if args.units:
        return Words(UNIT_SYSTEMS[args.units])
    return Words(units_for(machine.readout.unit if machine else None))
