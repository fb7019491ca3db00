"""`evenpace`: every job without a screen.

Each command is a module with `add_arguments(parser)` and `run(args) -> int`; it is
imported only when it is the one called, so `--help` stays fast. One JSON object or a
table for people goes to stdout, everything else to stderr.
"""

from __future__ import annotations

import argparse
import errno
import json
import os
import sys
from collections.abc import Sequence
from contextlib import suppress
from importlib import import_module
from itertools import pairwise

from workbench.base.errors import StoreError, WrongInput
from workbench.base.units import UNIT_SYSTEMS
from workbench.cli.speech import close_quietly, use_nearest_signs
from workbench.words.language import ENGLISH, N_, _, languages, use
from workbench.words.words import Words

DONE, FAILED, WRONG, BROKEN = 0, 1, 2, 3
"""Exit status: done; the answer is a fail; the input or the call was wrong; a device or the
store failed."""

INTERRUPTED = 130
"""What a shell reports of a program ended by Ctrl-C."""

COMMANDS: dict[str, tuple[str, str]] = {
    "inputs": ("workbench.cli.inputs", N_("show what is plugged in, or what a file holds")),
    "record": ("workbench.cli.record", N_("listen to inputs and keep all they say")),
    "import": ("workbench.cli.import_", N_("bring recorded files into the store")),
    "export": ("workbench.cli.export", N_("write a stored recording as a table or a CAN log")),
    "verify": ("workbench.cli.verify", N_("compute a stored result again and compare")),
    "speed": ("workbench.cli.speed", N_("belt speed from the pulses of a recording")),
    "gap": ("workbench.cli.gap", N_("is a pickup's gap right, and is its target wheel sound")),
    "calibrate": ("workbench.cli.calibrate", N_("does the readout show the true belt speed")),
    "pass": ("workbench.cli.passes", N_("did belt and ground keep pace on a test pass")),
    "report": ("workbench.cli.report", N_("a stored result as PDF, HTML or JSON")),
}
"""Command -> module and one line of help."""

BENCH = "workbench.gui.app"
"""The screens; by name, as they are loaded only when there is a screen."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    use_nearest_signs()
    words = list(sys.argv[1:] if argv is None else argv)
    if not _use_language(words):
        return WRONG
    parser = _parser(words[0] if words and words[0] in COMMANDS else None)
    args = parser.parse_args(words)
    if args.command is None:
        return _open_bench(parser)
    return _run(args)


def _use_language(words: Sequence[str]) -> bool:
    """Speak as --lang or $EVENPACE_LANG says, help included; False where that is no language."""
    asked = [word.removeprefix("--lang=") for word in words if word.startswith("--lang=")]
    asked += [after for word, after in pairwise(words) if word == "--lang"]
    code = asked[-1] if asked else os.environ.get("EVENPACE_LANG") or ENGLISH
    try:
        use(code)
    except KeyError:
        use(ENGLISH)
        known = ", ".join(languages())
        print(
            _("evenpace: there is no language '{code}'; there is {known}.").format(
                code=code, known=known
            ),
            file=sys.stderr,
        )
        return False
    return True


def _open_bench(parser: argparse.ArgumentParser) -> int:
    """The bench on the screen; where there is none, what can be done without."""
    if not _has_screen():
        print(
            _("evenpace: there is no screen to open the bench on; every job is a command too:"),
            end="\n\n",
            file=sys.stderr,
        )
        parser.print_help(sys.stderr)
        return WRONG
    try:
        bench = import_module(BENCH)
    except ImportError as error:
        print(
            _(
                "evenpace: the bench cannot be opened, part of it is missing ({error}); set it up "
                "with packaging/start.py."
            ).format(error=error),
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
        description=_(
            "A bench for the conveyor speed readout of a peanut digger; without a command it "
            "opens on the screen."
        ),
        epilog=_(
            "Exit status: 0 done, 1 the answer is a fail, 2 the input or the call was wrong, 3 a "
            "device or the store failed."
        ),
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    for name, (module, help_line) in COMMANDS.items():
        sub = commands.add_parser(name, help=_(help_line), description=_(help_line))
        if name == called:
            sub.add_argument("--json", action="store_true", help=_("print one JSON object, in SI"))
            sub.add_argument(
                "--units",
                choices=("us", "metric"),
                help=_("units of what is said (default: those that go with the readout's)"),
            )
            sub.add_argument(
                "--lang",
                metavar="CODE",
                help=_("language of what is said: {codes} (default: $EVENPACE_LANG, or en)").format(
                    codes=", ".join(languages())
                ),
            )
            import_module(module).add_arguments(sub)
    return parser


def _run(args: argparse.Namespace) -> int:
    """The command's exit status; whatever goes wrong is one sentence, never a traceback."""
    try:
        status: int = import_module(COMMANDS[args.command][0]).run(args)
        sys.stdout.flush()
    except BrokenPipeError:
        close_quietly()
        return DONE
    except KeyboardInterrupt:
        print(f"\nevenpace {args.command}: " + _("stopped."), file=sys.stderr)
        return INTERRUPTED
    except Exception as error:
        return _tell(error, args)
    return status


def _tell(error: Exception, args: argparse.Namespace) -> int:
    """Say what went wrong, as an object too where one was asked for; the exit status."""
    from drivers.contract import AddressError, DeviceError, DeviceMissing, InputError
    from workbench.cli.output import print_error

    words = Words(UNIT_SYSTEMS[args.units]) if args.units else Words()
    if isinstance(error, WrongInput | InputError | StoreError):
        said = words.say(error)
        status = BROKEN if isinstance(error, DeviceError | StoreError) else WRONG
    else:
        said, status = _unexpected(error), BROKEN
    print_error(args.command, said)
    if isinstance(error, AddressError | DeviceMissing):
        print(_("'evenpace inputs' lists the inputs there are."), file=sys.stderr)
    if args.json:
        answer = {"error": said, "exit_status": status}
        with suppress(OSError):
            print(json.dumps(answer, ensure_ascii=False), flush=True)
    return status


def _unexpected(error: Exception) -> str:
    """The sentence for what nobody foresaw; the log takes it whole."""
    import platformdirs

    from workbench.base.log import LOG, start_log

    if isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EIO, errno.EBADF):
        close_quietly()
        return _("the answer cannot be written ({reason}).").format(reason=error.strerror)
    path = start_log(platformdirs.user_log_path("evenpace"))
    LOG.error("unexpected error", exc_info=error)
    where = _(" The log {path} tells more.").format(path=path) if path else ""
    return _("something unexpected went wrong ({kind}: {error}).{where}").format(
        kind=type(error).__name__, error=error, where=where
    )
