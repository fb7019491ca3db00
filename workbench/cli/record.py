"""`evenpace record`: listen to inputs and keep everything they say."""

from __future__ import annotations

import argparse
import math
import signal
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from typing import Any

from drivers.catalogue import open_input
from drivers.contract import Driver
from workbench.base.ends import EndSays, ends_of, stored_ends
from workbench.base.errors import Message, StoreError, WrongInput
from workbench.base.machine import Machine, parse_machine
from workbench.base.numbers import with_uncertainty
from workbench.cli import BROKEN, DONE
from workbench.cli.arguments import add_machine, add_store, machine_of, seconds, words_of
from workbench.cli.live_line import LiveLine
from workbench.cli.output import (
    print_error,
    print_json,
    print_new_store,
    print_simulated,
    print_table,
    print_warnings,
)
from workbench.cli.reading_line import reading_line
from workbench.live.session import InputStatus, Session
from workbench.records.notes import merged_notes
from workbench.records.recorder import KeptOfInput, Recorder
from workbench.records.store import Store, open_store
from workbench.words.language import N_, _, ngettext
from workbench.words.words import Words, recording_goes_on

_LOOK_S = 0.25
_CLOCKS = N_("{percent:.0f} % of the recording is looked through for its clocks")
_PACKED = N_("{percent:.0f} % of the recording is packed; it is kept also if you stop now")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "inputs",
        metavar="INPUT",
        nargs="+",
        help=_("an input address, as `evenpace inputs` shows them, or sim:SCENARIO"),
    )
    add_machine(parser)
    parser.add_argument(
        "--for", dest="for_s", metavar="TIME", type=seconds, help=_("how long: 60s, 5min, 1h")
    )
    parser.add_argument("--name", metavar="TEXT", default="", help=_("what to call the recording"))
    add_store(parser)


def run(args: argparse.Namespace) -> int:
    drivers = [open_input(address) for address in args.inputs]
    _check(drivers, args.for_s)
    machine = machine_of(args) or _brought_along(drivers)
    # What is not there or not allowed is told now, before anything is made or kept.
    with _opened(drivers) as inputs, open_store(args.store) as store:
        if store.is_new:
            print_new_store(store.address)
        with _asked_to_stop() as asked:
            answer, faults = _record(store, drivers, machine, args, asked)
        inputs.close()
        for fault in faults:
            print_error("record", fault)
        if args.json:
            print_json(answer, faults, BROKEN)
        else:
            _print(answer, words_of(args, machine))
        print_warnings(answer["warnings"])
        sys.stdout.flush()
        if not answer["fault"]:
            _pack(store, answer["recording"])
    return BROKEN if faults else DONE


def _check(drivers: Sequence[Driver], for_s: float | None) -> None:
    addresses = [driver.address for driver in drivers]
    for address in addresses:
        if address.startswith("file:"):
            raise WrongInput(
                "'{address}' is a recorded file; bring it in with `evenpace import`.",
                address=address,
            )
        if addresses.count(address) > 1:
            raise WrongInput("The input '{address}' is named twice.", address=address)
    ahead = [driver.address for driver in drivers if driver.clock is not time.monotonic]
    if ahead and for_s is None:
        raise WrongInput(
            "'{address}' runs ahead of time; say how long with --for, as --for 60s.",
            address=ahead[0],
        )


def _brought_along(drivers: Sequence[Driver]) -> Machine | None:
    """The machine file that a simulated scenario brings, where one is read."""
    for driver in drivers:
        if text := getattr(driver, "machine_text", ""):
            name = Message("machine file of {address}", address=driver.address)
            return parse_machine(text, name)
    return None


@contextmanager
def _opened(drivers: Sequence[Driver]) -> Iterator[ExitStack]:
    """Every input open; what closes them is closed at the end, or where anything goes wrong."""
    with ExitStack() as close:
        for driver in drivers:
            driver.open()
            close.callback(driver.close)
        yield close


def _record(
    store: Store,
    drivers: Sequence[Driver],
    machine: Machine | None,
    args: argparse.Namespace,
    asked: threading.Event,
) -> tuple[dict[str, Any], list[str]]:
    """What the store holds after it, and a sentence for each thing that went wrong."""
    session = Session(drivers, for_s=args.for_s or math.inf)
    name = args.name or ", ".join(driver.address for driver in drivers)
    simulated = any(driver.simulated for driver in drivers)
    started_s = drivers[0].clock()
    writer = store.begin_recording(
        name, started_host_s=started_s, simulated=simulated, machine=machine
    )
    recorder = Recorder(writer, lambda: merged_notes(drivers))
    recorder.start()
    session.start(recorder.put)
    reason = _until_the_end(session, recorder, drivers[0], asked)
    left_behind = session.stop()
    ended_s = drivers[0].clock()
    fault = sha256 = ""
    try:
        sha256 = recorder.close(reason)
    except StoreError as error:
        fault = Words().say(error)
        ended_s = max([started_s, *(one.last_host_s for one in recorder.kept.values())])
    kept = [_input(one, recorder.kept.get(one.address, KeptOfInput())) for one in session.statuses]
    answer = {
        "recording": recorder.number,
        "name": name,
        "simulated": simulated,
        "machine": machine.name if machine else "",
        "duration_s": ended_s - started_s,
        "end_reason": "; ".join(map(Words().say, ends_of(reason))),
        "fault": fault,
        "sha256": sha256,
        "store": store.address,
        "inputs": kept,
        "clocks": [] if fault else _clocks(store, recorder.number),
    }
    faults = [fault, *map(_fault_of, session.statuses, drivers)]
    return {**answer, "warnings": _warnings(kept, left_behind)}, [one for one in faults if one]


def _pack(store: Store, number: int) -> None:
    """Pack it after all is said; broken off or in vain, it stays the journal that it is."""
    with suppress(StoreError, KeyboardInterrupt), reading_line(said=_PACKED) as show:
        store.pack(number, show)


def _input(status: InputStatus, kept: KeptOfInput) -> dict[str, Any]:
    """What is stored of an input, and how it ended."""
    return {
        "address": status.address,
        "edges": kept.edges,
        "items": kept.items,
        "holes": kept.holes,
        "lost": kept.lost,
        "reconnects": status.reconnects,
        "reason": status.reason,
        "error": status.error is not None,
    }


def _fault_of(status: InputStatus, driver: Driver) -> str:
    """What went wrong with an input; '' where nothing did."""
    if isinstance(status.error, StoreError):
        return ""  # told already
    if status.error is not None:
        return f"{status.address}: {Words().say(status.error)}"
    if status.items:
        return ""
    if driver.notes.rejects:
        rejects = ", ".join(f"{count} {name}" for name, count in driver.notes.rejects.items())
        return _("{address} brought nothing that is understood ({rejects}).").format(
            address=status.address, rejects=rejects
        )
    return _("{address} brought nothing.").format(address=status.address)


def _until_the_end(
    session: Session, recorder: Recorder, first: Driver, asked: threading.Event
) -> str:
    """Wait for the inputs to end or the person to stop; returns why it ended, as
    a store holds it."""
    line, waits = LiveLine(sys.stderr, first.clock), False
    while not session.wait(_LOOK_S) and not asked.is_set():
        line.show(session.statuses)
        delayed = recorder.delayed
        if waits != (delayed is not None):
            waits = delayed is not None
            line.say(recording_goes_on(delayed))
    line.show(session.statuses)
    line.end()
    if asked.is_set():
        return EndSays.STOPPED_BY_PERSON
    return stored_ends([status.reason for status in session.statuses])


@contextmanager
def _asked_to_stop() -> Iterator[threading.Event]:
    """An event that Ctrl-C, a polite `kill` or a terminal that goes away sets, instead of
    tearing through the closing."""
    asked = threading.Event()
    names = ("SIGINT", "SIGTERM", "SIGHUP")
    kinds = [getattr(signal, name) for name in names if hasattr(signal, name)]
    before = [signal.signal(kind, lambda *_: asked.set()) for kind in kinds]
    try:
        yield asked
    finally:
        for kind, handler in zip(kinds, before, strict=True):
            signal.signal(kind, handler)


def _warnings(inputs: Sequence[dict[str, Any]], left_behind: Sequence[str]) -> list[str]:
    left = _("{address} did not let go and was left behind.")
    said = [left.format(address=address) for address in left_behind]
    for one in inputs:
        if one["holes"]:
            holes = ngettext(
                "{address}: {holes} hole in the data is on record, {lost} pulses or frames known "
                "to be missing.",
                "{address}: {holes} holes in the data are on record, {lost} pulses or frames known "
                "to be missing.",
                one["holes"],
            )
            said.append(holes.format_map(one))
    return said


def _clocks(store: Store, number: int) -> list[dict[str, Any]]:
    with reading_line(said=_CLOCKS) as show:
        clocks = store.clocks(number, show)
    return [
        {
            "address": address,
            "drift_ppm": base.drift_ppm,
            "u_drift_ppm": base.u_drift_ppm,
            "mean_delay_s": base.delay_s,
            "points": base.points,
        }
        for address, clock in clocks.items()
        for base in clock.bases
    ]


def _print(answer: dict[str, Any], words: Words) -> None:
    rows = [
        (_("Recording"), str(answer["recording"])),
        (_("Name"), answer["name"]),
        (_("Duration"), words.number("time", answer["duration_s"])),
        (_("Ended"), answer["end_reason"]),
    ]
    if answer["machine"]:
        rows.insert(2, (_("Machine"), answer["machine"]))
    for status in answer["inputs"]:
        counts = _("{edges} pulses, {items} blocks, {holes} holes")
        rows.append((status["address"], counts.format_map(status)))
    for clock in answer["clocks"]:
        drift = with_uncertainty(clock["drift_ppm"], 2 * clock["u_drift_ppm"], 1, signed=True)
        against = _("{drift} ppm (k = 2) against the computer's").format(drift=drift)
        rows.append((_("Clock of {address}").format(address=clock["address"]), against))
    print_table(_("Kept until the store failed") if answer["fault"] else _("Recorded"), rows)
    print_simulated(answer["simulated"])
