"""`evenpace`: every job without a screen.

Each command is a module with `add_arguments(parser)` and `run(args) -> int`; it is
imported only when it is the one called, so `--help` stays fast. One JSON object or a
table for people goes to stdout, everything else to stderr.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from importlib import import_module

from workbench.base.errors import StoreError, WrongInput

DONE, FAILED, WRONG, BROKEN = 0, 1, 2, 3
"""Exit status: done; the answer is a fail; the input or the call was wrong; a device or the
store failed."""

INTERRUPTED = 130
"""What a shell reports of a program ended by Ctrl-C."""

COMMANDS: dict[str, tuple[str, str]] = {
    "inputs": ("workbench.cli.inputs", "show what is plugged in, or what a file holds"),
    "record": ("workbench.cli.record", "listen to inputs and keep all they say"),
    "import": ("workbench.cli.import_", "bring recorded files into the store"),
    "export": ("workbench.cli.export", "write a stored recording as a table or a CAN log"),
    "verify": ("workbench.cli.verify", "compute a stored result again and compare"),
    "speed": ("workbench.cli.speed", "belt speed from the pulses of a recording"),
    "gap": ("workbench.cli.gap", "is a pickup's gap right, and is its target wheel sound"),
    "calibrate": ("workbench.cli.calibrate", "does the readout show the true belt speed"),
    "pass": ("workbench.cli.passes", "did belt and ground keep pace on a test pass"),
    "report": ("workbench.cli.report", "a stored result as PDF, HTML or JSON"),
}
"""Command -> module and one line of help."""

BENCH = "workbench.gui.app"
"""The screens; by name, as they are loaded only when there is a screen."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    words = list(sys.argv[1:] if argv is None else argv)
    parser = _parser(words[0] if words and words[0] in COMMANDS else None)
    args = parser.parse_args(words)
    if args.command is None:
        return _open_bench(parser)
    return _run(args)


def _open_bench(parser: argparse.ArgumentParser) -> int:
    """The bench on the screen; where there is none, what can be done without."""
    if not _has_screen():
        print(
            "evenpace: there is no screen to open the bench on; every job is a command too:\n",
            file=sys.stderr,
        )
        parser.print_help(sys.stderr)
        return WRONG
    try:
        bench = import_module(BENCH)
    except ImportError as error:
        print(
            f"evenpace: the bench cannot be opened, part of it is missing ({error}); "
            "set it up with packaging/start.py.",
            file=sys.stderr,
        )
        return BROKEN
    status: int = bench.run()
    return status


def _has_screen() -> bool:
    if sys.platform in ("win32", "darwin"):
        return True
    return any(os.environ.get(n) for n in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"))


def _parser(called: str | None) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="evenpace",
        description="A bench for the conveyor speed readout of a peanut digger; without a "
        "command it opens on the screen.",
        epilog="Exit status: 0 done, 1 the answer is a fail, 2 the input or the call was "
        "wrong, 3 a device or the store failed.",
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    for name, (module, help_line) in COMMANDS.items():
        sub = commands.add_parser(name, help=help_line, description=help_line)
        if name == called:
            sub.add_argument("--json", action="store_true", help="print one JSON object, in SI")
            sub.add_argument(
                "--units",
                choices=("us", "metric"),
                help="units of what is said (default: those that go with the readout's)",
            )
            sub.add_argument("--lang", metavar="CODE", help="language of what is said: en")
            import_module(module).add_arguments(sub)
    return parser


def _run(args: argparse.Namespace) -> int:
    from drivers.contract import DeviceError, InputError

    try:
        status: int = import_module(COMMANDS[args.command][0]).run(args)
    except (WrongInput, InputError, StoreError) as error:
        print(f"evenpace {args.command}: {error}", file=sys.stderr)
        return BROKEN if isinstance(error, DeviceError | StoreError) else WRONG
    except BrokenPipeError:
        return DONE
    except KeyboardInterrupt:
        print(f"\nevenpace {args.command}: stopped.", file=sys.stderr)
        return INTERRUPTED
    return status
