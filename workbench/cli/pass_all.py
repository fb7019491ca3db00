"""`evenpace pass --all`: every stored pass computed again with today's program, in parallel."""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import Any

from workbench.base.errors import BenchError, WrongInput
from workbench.base.machine import load_machine
from workbench.cli import DONE
from workbench.cli.output import print_json, print_table, print_warnings
from workbench.match.season import QUANTITIES, QUANTITIES_OF, Visit, chart
from workbench.records.entries import StoredResult
from workbench.records.store import Store, open_store

Job = tuple[int, str | None]
"""A recording's number and the store's address."""
Mapper = Callable[[Callable[[Job], dict[str, Any]], list[Job]], Iterable[dict[str, Any]]]


def run_all(args: argparse.Namespace) -> int:
    """Compute, store and chart. Raises WrongInput, StoreError."""
    _refuse(args)
    name = _machine_name(args.machine)
    with open_store(args.store) as store:
        numbers = stored_passes(store, name)
    if not numbers:
        whose = f" of a machine called '{name}'" if name else ""
        raise WrongInput(
            f"The store holds no pass{whose}: judge a recording with 'evenpace pass NUMBER' first."
        )
    jobs: list[Job] = [(number, args.store) for number in numbers]
    with _workers(args.workers, args.scheduler) as work:
        passes = list(work(recompute, jobs))
    with open_store(args.store) as store:
        season = over_the_season(store, name) if name else {}
    answer: dict[str, Any] = {
        "machine": name,
        "passes": passes,
        "season": season,
        "warnings": [one["error"] for one in passes if "error" in one],
    }
    if args.json:
        print_json(answer)
    else:
        _print(answer)
        print_warnings(answer["warnings"])
    return DONE


def _refuse(args: argparse.Namespace) -> None:
    given = {
        "RECORDING": args.source,
        "--seed": args.seed,
        "--for": args.for_s,
        "--report": args.report,
        "--track": args.track,
        "--belt": args.belt,
        "--ground": args.ground,
        "--oil": args.oil,
        "--moved": args.moved,
        "--course": args.course,
    }
    wrong = [name for name, value in given.items() if value is not None]
    if wrong:
        raise WrongInput(
            f"{', '.join(wrong)} goes with one recording, not with --all, which computes each "
            "pass as it was judged before."
        )
    if args.workers is not None and not 1 <= args.workers <= 1024:
        raise WrongInput(f"--workers is {args.workers}; expected 1 to 1024 processes.")


def _machine_name(given: str | None) -> str:
    """A machine's name, or that in a machine file; '' for every machine."""
    if given and Path(given).is_file():
        return load_machine(given).name
    return given or ""


def stored_passes(store: Store, name: str = "") -> list[int]:
    """Numbers of the recordings with a stored pass, the oldest first; `name` is the machine's."""
    numbers = {
        result.recording
        for result in store.results()
        if result.kind == "pass" and result.recording is not None and _is_of(result, name)
    }
    return sorted(numbers)


def _is_of(result: StoredResult, name: str) -> bool:
    if not name:
        return True
    machine = result.machine()
    return machine is not None and machine.name == name


def recompute(job: Job) -> dict[str, Any]:
    """One pass again, stored as a new result; a line of it, or the sentence of what went wrong.

    Runs in a process of its own or on a cluster's worker, so nothing may be raised.
    """
    from drivers.contract import InputError
    from workbench.cli.passes import answer_of

    number, address = job
    try:
        answer = answer_of(number, address)
    except (BenchError, InputError) as error:
        return {"recording": number, "error": f"Recording {number}: {error}"}
    first = answer["causes"][0] if answer["causes"] else {"cause": None, "probability": None}
    return {
        "recording": number,
        "result": answer["result"],
        "verdict": answer["verdict"],
        "ratio": answer["ratio"],
        "u_ratio": answer["u_ratio"],
        "cause": first["cause"],
        "cause_probability": first["probability"],
    }


@contextmanager
def _workers(count: int | None, scheduler: str | None) -> Iterator[Mapper]:
    """What maps a function over jobs: processes of this machine, or a cluster's workers."""
    if scheduler is None:
        from concurrent.futures import ProcessPoolExecutor
        from multiprocessing import get_context

        # A fresh process each: a forked one would share the parent's database connections.
        processes = count or os.cpu_count() or 1
        with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
            yield lambda work, jobs: pool.map(work, jobs, chunksize=4)
        return
    try:
        from distributed import Client
    except ImportError:
        raise WrongInput(
            "--scheduler needs the extra 'cluster': pip install 'evenpace[cluster]'."
        ) from None
    try:
        connect: Any = Client
        client = connect(scheduler, timeout="10s")
    except (OSError, ValueError) as error:
        raise WrongInput(f"--scheduler {scheduler}: no dask scheduler answers ({error}).") from None
    with client:
        yield lambda work, jobs: client.gather(client.map(work, jobs, pure=False))


def over_the_season(store: Store, name: str) -> dict[str, Any]:
    """Control charts of the machine's ratio, setting, gap and metres per pulse, from the newest
    result of each recording or table."""
    newest: dict[tuple[str, int | None, str | None], StoredResult] = {}
    for result in store.results():
        if _is_of(result, name):
            # By the table's text: the bench calls every table of its own the same.
            newest.setdefault((result.kind, result.recording, result.table), result)
    started = {one.number: one.started_utc for one in store.recordings()}
    visits: dict[str, list[Visit]] = {quantity: [] for quantity in QUANTITIES}
    for result in newest.values():
        when = started.get(result.recording or 0, result.created_utc)
        for quantity, value, u in _values(result):
            visits[quantity].append(Visit(when, value, u))
    charts = {}
    for quantity, found in visits.items():
        if found:
            found.sort(key=lambda visit: visit.when_utc)
            charts[quantity] = asdict(chart(quantity, found))
    return charts


def _values(result: StoredResult) -> Iterator[tuple[str, float, float]]:
    for quantity, key, u_key in QUANTITIES_OF.get(result.kind, ()):
        value = result.answer.get(key)
        if isinstance(value, int | float):
            u = result.answer.get(u_key)
            yield quantity, float(value), float(u) if isinstance(u, int | float) else 0.0


def _print(answer: dict[str, Any]) -> None:
    rows = [
        [
            str(one["recording"]),
            str(one["result"]),
            one["verdict"],
            "–" if one["ratio"] is None else f"{one['ratio']:.4f}",
            one["cause"] or "–",
        ]
        for one in answer["passes"]
        if "error" not in one
    ]
    header = ["Recording", "Result", "Verdict", "Ratio belt ÷ ground", "Likeliest cause"]
    print_table("Passes computed again", rows, header)
    for quantity, found in answer["season"].items():
        lines = [[sentence] for sentence in found["changes"]]
        for at in found["outside"]:
            day = found["visits"][at]["when_utc"][:10]
            lines.append([f"On {day} it lay outside {found['low']:.5g} to {found['high']:.5g}."])
        if lines:
            print_table(f"\nOver the season: {QUANTITIES[quantity]}", lines)
