"""`evenpace(1)`, the manual page, made from the parser of its commands."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator

from workbench.base.version import program_version

END = r"""
.SH ENVIRONMENT
.TP
.B EVENPACE_STORE
Where recordings and results are kept.
.TP
.B EVENPACE_LANG
The language of what is said.
.TP
.B EVENPACE_KEY
The file of the key that signs reports.
.SH CAUTION
A moving belt, hydraulics and a tractor in motion can hurt. The machine's manual, local codes and
qualified persons have the last word.
"""


def manual(parser: argparse.ArgumentParser) -> str:
    """The page as roff (man(7))."""
    lines = [
        f'.TH EVENPACE 1 "" "evenpace {program_version()}" "User commands"',
        ".SH NAME",
        r"evenpace \- a bench for the conveyor speed readout of a peanut digger",
        ".SH SYNOPSIS",
        r".B evenpace\fR [\fICOMMAND\fR [\fIARGUMENTS\fR]]",
        ".SH DESCRIPTION",
        _plain(parser.description or ""),
        ".SH COMMANDS",
    ]
    for name, command in _commands(parser):
        lines += [f".SS {name}", _plain(_sentence(command.description or ""))]
        lines += [line for action in command._actions for line in _argument(command, action)]
        lines += [".PP", _plain(command.epilog)] if command.epilog else []
    told = re.sub(r"^[^:]*: ", "", parser.epilog or "")
    lines += [".SH EXIT STATUS", _plain(_sentence(told))]
    return "\n".join(lines) + END


def _commands(parser: argparse.ArgumentParser) -> Iterator[tuple[str, argparse.ArgumentParser]]:
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            yield from action.choices.items()


def _argument(parser: argparse.ArgumentParser, action: argparse.Action) -> list[str]:
    if isinstance(action, argparse._HelpAction) or action.help is argparse.SUPPRESS:
        return []
    what = parser._get_formatter()._format_args(action, str(action.metavar or action.dest).upper())
    name = ", ".join(action.option_strings)
    head = " ".join(filter(None, [rf"\fB{_plain(name)}\fR" if name else "", _plain(what)]))
    told = (action.help or "") % {**vars(action), "prog": "evenpace"}
    return [".TP", head, _plain(_sentence(told))]


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:].rstrip('.')}." if text else ""


def _plain(text: str) -> str:
    """Text that roff takes for nothing else."""
    escaped = text.replace("\\", r"\e").replace("-", r"\-")
    return re.sub(r"^([.'])", r"\\&\1", " ".join(escaped.split()))
