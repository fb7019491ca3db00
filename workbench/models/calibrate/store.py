"""Runs to an answer, an answer to the store and to a certificate.

Slow: called away from the screen.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from workbench.base.machine import Machine
from workbench.base.units import UNIT_SYSTEMS
from workbench.models.calibrate.runs import State, flips_table, run_table
from workbench.words.words import Words

TABLE_NAME, LEFT_NAME = "runs on the bench", "runs as left on the bench"
FLIPS_NAME = "flips on the bench"


def options_of(**given: Any) -> dict[str, Any]:
    """All options of a calibration, with those given."""
    options: dict[str, Any] = {"channel": None, "lap_channel": None, "units": None}
    options |= dict.fromkeys(("by", "remarks", "environment", "table_name"), "")
    for name in ("shown", "flips", "as_left"):
        options |= {name: "", f"{name}_name": ""}
    return options | {"references": [], **given}


def warm_up(store: str | None) -> None:
    """Load what an answer and a certificate need, and open the store once. Raises StoreError.

    The first loading holds everything else up for a moment; let that be before the first
    mark, not while a hand is timing laps.
    """
    import scipy.special  # noqa: F401
    import typst  # noqa: F401

    import workbench.jobs.calibrate.former
    import workbench.jobs.calibrate.sources
    import workbench.reports.calibrate.certificate  # noqa: F401
    from workbench.records.store import open_store
    from workbench.reports.drawing import new_figure, to_svg

    to_svg(new_figure(50, 50)[0])
    with open_store(store):
        pass


def compute_work(
    state: State, machine: Machine, store: str | None, *, keep: bool
) -> Callable[[], dict[str, Any]]:
    """The work that turns runs, or a recorded ramp, into an answer; stored if `keep`.

    It raises WrongInput and StoreError.
    """
    left = run_table(state.left_runs)
    options = options_of(as_left=left, as_left_name=LEFT_NAME if left else "")
    options["remarks"] = _dropped(state)
    if state.ramp is not None:
        number, flips = state.ramp, flips_table(state.flips)
        options |= {"flips": flips, "flips_name": FLIPS_NAME}
        return lambda: _from_ramp(number, machine, store, options, keep=keep)
    text = run_table(state.runs)
    options["table_name"] = TABLE_NAME
    return lambda: _from_table(text, machine, store, options, keep=keep)


def _from_table(
    text: str, machine: Machine, store: str | None, options: dict[str, Any], *, keep: bool
) -> dict[str, Any]:
    from workbench.cli.calibrate import compute
    from workbench.records.store import open_store

    answer = compute(text, machine, options)
    if not keep:
        return answer
    with open_store(store) as opened:
        number = opened.add_result(
            "calibrate",
            answer,
            options=options,
            table=text,
            table_name=TABLE_NAME,
            machine=machine,
        )
    return {"result": number, **answer}


def _from_ramp(
    number: int, machine: Machine, store: str | None, options: dict[str, Any], *, keep: bool
) -> dict[str, Any]:
    from workbench.cli.calibrate import compute
    from workbench.jobs.source import finish, stored_source

    source = stored_source(number, machine, store)
    answer = compute(source.recording, machine, options)
    return finish("calibrate", answer, source, options) if keep else answer


def save_certificate(result: int, path: Path, store: str | None, typed: Mapping[str, Any]) -> Path:
    """Write the certificate of a stored result. Raises WrongInput, StoreError."""
    from workbench.reports.document import check_report_path, render

    check_report_path(path)
    return render(_document(result, store, typed), path)


def certificate_pages(
    result: int, store: str | None, typed: Mapping[str, Any], ppi: float
) -> list[bytes]:
    """The certificate of a stored result as pictures (PNG), a page each. Raises StoreError."""
    from workbench.reports.document import render_pages

    return render_pages(_document(result, store, typed), ppi)


def _document(result: int, store: str | None, typed: Mapping[str, Any]) -> Any:
    from workbench.records.store import open_store
    from workbench.reports.stored import document_of

    with open_store(store) as opened:
        stored = opened.result(result)
    remarks = [stored.options.get("remarks", ""), typed.get("remarks", "")]
    own = {name: text for name, text in typed.items() if name != "units"}
    own["remarks"] = "\n".join(text for text in remarks if text)
    return document_of(stored, Words(UNIT_SYSTEMS[typed["units"]]), **own)


def _dropped(state: State) -> str:
    """A remark on the runs that were dropped by hand, '' where none was."""
    names = [
        f"{number}{word}"
        for word, runs in (("", state.runs), (" as left", state.left_runs))
        for number, run in enumerate(runs, 1)
        if run.dropped
    ]
    many = "s" if len(names) > 1 else ""
    return f"Dropped by the person: run{many} {', '.join(names)}." if names else ""
