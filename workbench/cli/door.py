"""What every command has in common: its call understood, its errors told, its exit status."""

from __future__ import annotations

import argparse
import errno
import os
import sys
from collections.abc import Collection, Sequence
from contextlib import suppress
from importlib import import_module
from itertools import pairwise
from typing import NoReturn

from workbench.base.errors import StoreError, WrongInput
from workbench.base.units import UNIT_SYSTEMS
from workbench.base.version import program_version
from workbench.cli import BROKEN, DONE, INTERRUPTED, WRONG
from workbench.cli.speech import close_quietly, print_error_object, use_nearest_signs
from workbench.words.language import ENGLISH, N_, _, languages, use
from workbench.words.words import Words

COMMANDS: dict[str, tuple[str, str]] = {
    "inputs": ("workbench.cli.inputs", N_("show what is plugged in, or what a file holds")),
    "record": ("workbench.cli.record", N_("listen to inputs and keep all they say")),
    "import": ("workbench.cli.import_", N_("bring recorded files into the store")),
    "export": ("workbench.cli.export", N_("write a stored recording as a table or a CAN log")),
    "verify": ("workbench.cli.verify", N_("compute a stored result again and compare")),
    "speed": ("workbench.cli.speed", N_("belt speed from the pulses of a recording")),
    "prepare": (
        "workbench.cli.prepare",
        N_("is the machine as it should be before its run"),
    ),
    "gap": ("workbench.cli.gap", N_("is a pickup's gap right, and is its target wheel sound")),
    "calibrate": ("workbench.cli.calibrate", N_("does the readout show the true belt speed")),
    "pass": ("workbench.cli.passes", N_("did belt and ground keep pace on a test pass")),
    "backup": ("workbench.cli.backup", N_("copy the store to a file of its own, and check it")),
    "restore": ("workbench.cli.restore", N_("put a copy of a store in its place")),
    "report": ("workbench.cli.report", N_("a stored result as PDF, HTML or JSON")),
}
"""Command -> module and one line of help."""

MAKE_A_STORE = ("record", "import", "restore")
"""The commands for which an address without a store is not mistyped."""

BENCH = "workbench.gui.app"
"""The screens; by name, as they are loaded only when there is a screen."""


class Parser(argparse.ArgumentParser):
    """One whose refusal is a JSON object too where that was asked for."""

    as_json = False

    def error(self, message: str) -> NoReturn:
        if self.as_json:
            print_error_object(message, WRONG)
        super().error(message)


def understand(argv: Sequence[str] | None = None) -> argparse.Namespace | None:
    """What a call asks for, in the language it asks for; None, all being said, where there is no
    such language. Raises SystemExit as argparse does, for help and what it refuses."""
    use_nearest_signs()
    words = list(sys.argv[1:] if argv is None else argv)
    Parser.as_json = any(len(word) > 2 and "--json".startswith(word) for word in words)
    unknown = _use_language(words)
    parser = _parser(words[:1])
    if unknown:
        print(f"evenpace: {unknown}", file=sys.stderr)
        if parser.as_json:
            print_error_object(unknown, WRONG)
        return None
    return parser.parse_args(words)


def _use_language(words: Sequence[str]) -> str:
    """Speak as --lang or $EVENPACE_LANG says, help included; what is wrong where that is no
    language."""
    asked = [word.removeprefix("--lang=") for word in words if word.startswith("--lang=")]
    asked += [after for word, after in pairwise(words) if word == "--lang"]
    code = asked[-1] if asked else os.environ.get("EVENPACE_LANG") or ENGLISH
    try:
        use(code)
    except KeyError:
        use(ENGLISH)
        known = ", ".join(languages())
        return _("there is no language '{code}'; there is {known}.").format(code=code, known=known)
    return ""


def _open_bench() -> int:
    """The bench on the screen; where there is none, what can be done without."""
    if not _has_screen():
        print(
            _("evenpace: there is no screen to open the bench on; every job is a command too:"),
            end="\n\n",
            file=sys.stderr,
        )
        _parser(()).print_help(sys.stderr)
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


def whole_parser() -> argparse.ArgumentParser:
    """The parser of every command, for manuals and for shells that complete."""
    return _parser(COMMANDS)


def _parser(called: Collection[str]) -> Parser:
    """The parser; the arguments of a command are known only where it is `called`, as each
    takes its time to load."""
    parser = Parser(
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
    parser.add_argument("--version", action="version", version=f"evenpace {program_version()}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    for name, (module, help_line) in COMMANDS.items():
        sub = commands.add_parser(name, help=_(help_line), description=_(help_line))
        if name in called:
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


def run(args: argparse.Namespace | None) -> int:
    """The exit status of what was asked for; whatever goes wrong is one sentence, never a
    traceback."""
    if args is None:
        return WRONG
    if args.command is None:
        return _open_bench()
    try:
        if getattr(args, "store", None) and args.command not in MAKE_A_STORE:
            _demand_store(args.store)
        status: int = import_module(COMMANDS[args.command][0]).run(args)
        _tell_what_was_brought_up()
        sys.stdout.flush()
    except BrokenPipeError:
        close_quietly()
        return DONE
    except KeyboardInterrupt:
        return _tell_error(args, _("stopped."), INTERRUPTED)
    except Exception as error:
        if isinstance(error.__cause__ or error.__context__, KeyboardInterrupt):
            return _tell_error(args, _("stopped."), INTERRUPTED)  # a library's loading made it so
        return _tell(error, args)
    return status


def _demand_store(address: str) -> None:
    """Raises NoStore where a typed address holds none; other troubles are the command's own."""
    from workbench.records.store import open_store

    with suppress(StoreError):
        open_store(address, make=False).close()


def _tell_what_was_brought_up() -> None:
    """Of stores of an earlier format."""
    from workbench.cli.output import print_warnings
    from workbench.records.brought_up import brought_up

    while brought_up:
        print_warnings([Words().say(brought_up.popleft())])


def _tell(error: Exception, args: argparse.Namespace) -> int:
    """Say what went wrong; the exit status."""
    from drivers.contract import AddressError, DeviceError, DeviceMissing, InputError

    _tell_what_was_brought_up()
    words = Words(UNIT_SYSTEMS[args.units]) if args.units else Words()
    if isinstance(error, WrongInput | InputError | StoreError):
        broken = isinstance(error, DeviceError | StoreError)
        status = _tell_error(args, words.say(error), BROKEN if broken else WRONG)
    else:
        status = _tell_error(args, _unexpected(error), BROKEN)
    if isinstance(error, AddressError | DeviceMissing):
        print(_("'evenpace inputs' lists the inputs there are."), file=sys.stderr)
    return status


def _tell_error(args: argparse.Namespace, said: str, status: int) -> int:
    """One sentence on stderr, and as an object where one was asked for; the exit status."""
    print(f"evenpace {args.command}: {said}", file=sys.stderr)
    if args.json:
        print_error_object(said, status)
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
