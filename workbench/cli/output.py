"""How a command speaks: one JSON object, or a table for a person."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Protocol

from drivers.contract import DeviceError, InputError
from workbench.base.errors import BenchError, Message, StoreError
from workbench.base.statements import Statement
from workbench.base.steps import telling
from workbench.cli import BROKEN, DONE, WRONG
from workbench.cli.reading_line import reading_line
from workbench.cli.speech import error_object
from workbench.jobs.keep import Kept
from workbench.jobs.xml_signature import XmlSigner
from workbench.records.jsonable import to_text
from workbench.words.language import _
from workbench.words.view import json_view
from workbench.words.words import Words, printable

if TYPE_CHECKING:
    from workbench.reports.document import Document
    from workbench.reports.made import Made


def print_json(answer: Mapping[str, Any], errors: Sequence[str] = (), status: int = DONE) -> None:
    """One JSON object on stdout: an answer and, where not all went well, what `errors` say."""
    print(to_text({**answer, **(error_object(errors, status) if errors else {})}))


def exit_status(errors: Sequence[BenchError | InputError], otherwise: int = DONE) -> int:
    """What a command with these troubles exits with."""
    if not errors:
        return otherwise
    return BROKEN if any(isinstance(one, StoreError | DeviceError) for one in errors) else WRONG


def tried(write: Callable[[], object], command: str, words: Words) -> list[BenchError]:
    """Write what goes beside an answer; what went wrong is told, and does not hide the answer."""
    try:
        with reading_line() as show, telling(show):
            write()
    except BenchError as error:
        print_error(command, words.say(error))
        return [error]
    return []


def write_report(
    args: argparse.Namespace,
    kept: Kept,
    words: Words,
    document: Callable[[Made], Document],
    signer: XmlSigner | None = None,
) -> list[BenchError]:
    """Write the report that was asked for; what went wrong, as `tried`."""

    def write() -> None:
        from workbench.reports.document import render
        from workbench.reports.made import made_now
        from workbench.reports.testified import testified

        paper = testified(document(made_now(kept)), args.store, kept.number)
        render(paper, args.report, signer)

    return tried(write, args.command, words)


class Heeded(Protocol):
    """An answer with what must be heeded."""

    @property
    def warnings(self) -> Iterable[Statement]: ...


def show_answer(
    args: argparse.Namespace,
    answer: Heeded,
    kept: Kept,
    words: Words,
    show: Callable[[], None],
    troubles: Sequence[BenchError] = (),
) -> None:
    """An answer as JSON where that is asked for, else as `show` tells it to a person, with what
    must be heeded and whether it is kept."""
    if args.json:
        print_answer(answer, kept, words, troubles)
        return
    show()
    print_warnings(words.say_all(answer.warnings))
    _print_kept(kept, words)


def print_answer(
    answer: object, kept: Kept, words: Words, troubles: Sequence[BenchError] = ()
) -> None:
    """An answer as one JSON object on stdout, its number in the store first; `troubles` are what
    `tried` brought."""
    number = {} if kept.number is None else {"result": kept.number}
    view = json_view(answer, words) | kept.said.view
    if kept.trouble is not None:
        view["warnings"] = [*view["warnings"], words.say(_not_kept(kept.trouble))]
    if kept.new_store:
        print_new_store(kept.new_store)
    wrong = error_object(words.say_all(troubles), exit_status(troubles)) if troubles else {}
    print(json.dumps({**number, **view, **wrong}, ensure_ascii=False, allow_nan=False))


def _print_kept(kept: Kept, words: Words) -> None:
    """What is to be known of an answer's storing, on stderr."""
    if kept.new_store:
        print_new_store(kept.new_store)
    if kept.trouble is not None:
        print_warnings([words.say(_not_kept(kept.trouble))])


def print_new_store(address: str) -> None:
    """That a store was made; on stderr."""
    print_warnings([_("There was no store yet; one was made: {address}").format(address=address)])


def _not_kept(trouble: StoreError) -> Message:
    return Message("The answer was not stored: {trouble}", trouble=trouble)


def print_table(
    title: str, rows: Iterable[Sequence[str]], header: Sequence[str] | None = None
) -> None:
    """A table of text for a person on stdout."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(
        title=Text(printable(title)), title_justify="left", show_header=header is not None, box=None
    )
    rows = [list(row) for row in rows]
    for column in header or [""] * max((len(row) for row in rows), default=1):
        table.add_column(Text(printable(column)), overflow="fold")
    for row in rows:
        table.add_row(*(Text(printable(cell)) for cell in row))
    console = Console(file=sys.stdout, highlight=False, soft_wrap=True)
    with console.capture() as drawn:  # its own printing ends the program where a reader goes
        console.print(table)
    print(drawn.get(), end="")


def print_simulated(simulated: bool) -> None:
    """That an answer says nothing of any real machine, on stderr."""
    if simulated:
        print(_("Simulated data."), file=sys.stderr)


def print_caution(caution: str) -> None:
    """What must be read before anything is done, on stderr."""
    print(_("CAUTION. {caution}").format(caution=caution), file=sys.stderr)


def print_error(command: str, sentence: str) -> None:
    """What went wrong with a command, on stderr."""
    print(f"evenpace {command}: {sentence}", file=sys.stderr)


def print_warnings(warnings: Iterable[str]) -> None:
    """Each warning as a line on stderr."""
    for warning in warnings:
        print(f"note: {warning}", file=sys.stderr)
