"""`evenpace record`: listen to inputs and keep everything they say."""

from __future__ import annotations

import argparse
import math
import signal
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import Any

from drivers.catalogue import open_input
from drivers.contract import Driver
from workbench.base.errors import Message, StoreError, WrongInput
from workbench.base.machine import Machine, load_machine, parse_machine
from workbench.base.numbers import with_uncertainty
from workbench.cli import BROKEN, DONE
from workbench.cli.arguments import add_machine, add_store, seconds, words_of
from workbench.cli.live_line import LiveLine
from workbench.cli.output import (
    print_error,
    print_json,
    print_new_store,
    print_table,
    print_warnings,
)
from workbench.live.session import InputStatus, Session
from workbench.records.notes import merged_notes
from workbench.records.recorder import Recorder
from workbench.records.store import Store, open_store
from workbench.words.language import N_, _, ngettext
from workbench.words.words import Words, recording_goes_on

_LOOK_S = 0.25
STOPPED = N_("stopped by the person")
_COUNTED = ("address", "edges", "items", "holes", "lost", "reconnects", "reason")


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
    machine = load_machine(args.machine) if args.machine else _brought_along(drivers)
    with open_store(args.store) as store:
        if store.is_new:
            print_new_store(store.address)
        answer = _record(store, drivers, machine, args)
    if args.json:
        print_json(answer)
    else:
        _print(answer, words_of(args, machine))
    print_warnings(answer["warnings"])
    return BROKEN if answer["fault"] or any(i["error"] for i in answer["inputs"]) else DONE


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


def _record(
    store: Store, drivers: Sequence[Driver], machine: Machine | None, args: argparse.Namespace
) -> dict[str, Any]:
    session = Session(drivers, for_s=args.for_s or math.inf)
    # What is not there or not allowed is told now, before anything is kept.
    opened: list[Driver] = []
    try:
        for driver in drivers:
            driver.open()
            opened.append(driver)
        writer = store.begin_recording(
            args.name or ", ".join(driver.address for driver in drivers),
            started_host_s=drivers[0].clock(),
            simulated=any(driver.simulated for driver in drivers),
            machine=machine,
        )
    except BaseException:
        for driver in opened:
            driver.close()
        raise
    started_s = drivers[0].clock()
    recorder = Recorder(writer, lambda: merged_notes(drivers))
    with _asked_to_stop() as asked:
        recorder.start()
        session.start(recorder.put)
        reason = _until_the_end(session, recorder, drivers[0], asked)
        left_behind = session.stop()
        duration_s = drivers[0].clock() - started_s
        fault = ""
        try:
            recorder.close(reason)
        except StoreError as error:
            fault = Words().say(error)
    if fault:
        print_error("record", fault)
    with suppress(StoreError):  # it stays the journal that it is
        store.pack(recorder.number)
    return _answer(store, recorder.number, session, duration_s, fault, left_behind, reason)


def _until_the_end(
    session: Session, recorder: Recorder, first: Driver, asked: threading.Event
) -> str:
    """Wait for the inputs to end or the person to stop; returns why it ended."""
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
        return STOPPED
    reasons = dict.fromkeys(status.reason for status in session.statuses)
    return "; ".join(reason for reason in reasons if reason)


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


def _answer(
    store: Store,
    number: int,
    session: Session,
    duration_s: float,
    fault: str,
    left_behind: Sequence[str],
    reason: str,
) -> dict[str, Any]:
    entry = store.recording(number)
    statuses = session.statuses
    return {
        "recording": number,
        "name": entry.name,
        "simulated": entry.simulated,
        "machine": entry.machine_name,
        "duration_s": duration_s,
        "end_reason": reason,
        "fault": fault,
        "sha256": entry.sha256,
        "store": store.address,
        "inputs": [
            {name: getattr(status, name) for name in _COUNTED} | {"error": status.error is not None}
            for status in statuses
        ],
        "clocks": _clocks(store, number),
        "warnings": _warnings(statuses, left_behind),
    }


def _warnings(statuses: Sequence[InputStatus], left_behind: Sequence[str]) -> list[str]:
    left = _("{address} did not let go and was left behind.")
    said = [left.format(address=address) for address in left_behind]
    said += [f"{one.address}: {Words().say(one.error)}" for one in statuses if one.error]
    for one in statuses:
        if one.holes:
            holes = ngettext(
                "{address}: {count} hole in the data is on record, {lost} pulses or frames known "
                "to be missing.",
                "{address}: {count} holes in the data are on record, {lost} pulses or frames known "
                "to be missing.",
                one.holes,
            )
            said.append(holes.format(address=one.address, count=one.holes, lost=one.lost))
    nothing = _("{address} brought nothing.")
    said += [
        nothing.format(address=one.address) for one in statuses if not one.items and not one.error
    ]
    return said


def _clocks(store: Store, number: int) -> list[dict[str, Any]]:
    return [
        {
            "address": address,
            "drift_ppm": base.drift_ppm,
            "u_drift_ppm": base.u_drift_ppm,
            "mean_delay_s": base.delay_s,
            "points": base.points,
        }
        for address, clock in store.clocks(number).items()
        for base in clock.bases
    ]


def _print(answer: dict[str, Any], words: Words) -> None:
    rows = [
        (_("Recording"), str(answer["recording"])),
        (_("Name"), answer["name"]),
        (_("Duration"), words.number("time", answer["duration_s"])),
        (_("Ended"), _(answer["end_reason"])),
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
    print_table(_("Recorded"), rows)
    if answer["simulated"]:
        print(_("Simulated data."), file=sys.stderr)
