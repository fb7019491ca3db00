"""Runs to a table, a table to an answer, an answer to the store and to a certificate.

Slow: called away from the screen.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from workbench.calibration.runs import COLUMNS, REFERENCE_COLUMNS
from workbench.machine import Machine

if TYPE_CHECKING:
    from workbench.models.calibrate_job import TakenRun

TABLE_NAME, LEFT_NAME = "runs on the bench", "runs as left on the bench"
FLIPS_NAME = "flips on the bench"


def run_table(runs: Sequence[TakenRun]) -> str:
    """The runs as a run table; '' where there are none."""
    if not runs:
        return ""
    lines = [",".join((*COLUMNS, *REFERENCE_COLUMNS))]
    for number, run in enumerate(runs, 1):
        laps = [f"{run.laps}", f"{run.laps_time_s:.6f}"] if run.laps else ["", ""]
        # The same interval in both pairs: one press started and stopped both.
        pulses = [f"{run.pulses}", f"{run.laps_time_s:.6f}"] if run.pulses else ["", ""]
        known = math.isfinite(run.reference_mps)
        reference = (
            [f"{run.reference_mps:.9g}", f"{run.u_reference_mps:.9g}"] if known else ["", ""]
        )
        lines.append(",".join([str(number), f"{run.shown:.10g}", *laps, *pulses, *reference]))
    return "\n".join(lines) + "\n"


def flips_table(flips: Sequence[tuple[float, float, bool]]) -> str:
    """Flips of (time_s, shown, up) as the table a recording of a ramp is judged with."""
    rows = [f"{at_s:.6f},{shown:.10g},{'up' if up else 'down'}" for at_s, shown, up in flips]
    return "\n".join(["time_s,shown,direction", *rows]) + "\n"


def options_of(**given: Any) -> dict[str, Any]:
    """All options of a calibration, with those given."""
    options: dict[str, Any] = {"channel": None, "lap_channel": "lap", "units": None}
    options |= dict.fromkeys(("by", "remarks", "environment", "table_name"), "")
    for name in ("shown", "flips", "as_left"):
        options |= {name: "", f"{name}_name": ""}
    return options | {"references": [], **given}


def preview(text: str, left: str, machine: Machine) -> dict[str, Any]:
    """The answer from the runs so far, not stored. Raises WrongInput."""
    from workbench.cli.calibrate import compute

    return compute(text, machine, _table_options(left))


def keep_runs(
    text: str, left: str, machine: Machine, store: str | None, *, simulated: bool
) -> dict[str, Any]:
    """The answer from the runs, stored. Raises WrongInput, StoreError."""
    from workbench.cli.calibrate import compute
    from workbench.records.store import open_store

    options = _table_options(left)
    if simulated:
        options["remarks"] = "Simulated data: made on the bench's simulator."
    answer = compute(text, machine, options)
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


def keep_ramp(number: int, flips: str, store: str | None) -> dict[str, Any]:
    """The answer from a recorded ramp and its flips, stored. Raises BenchError."""
    from workbench.cli.calibrate import compute
    from workbench.cli.source import finish, stored_source

    source = stored_source(number, None, store)
    options = options_of(flips=flips, flips_name=FLIPS_NAME)
    answer = compute(source.recording, source.machine, options)
    return finish("calibrate", answer, source, options)


def save_certificate(result: int, path: Path, store: str | None, typed: Mapping[str, Any]) -> Path:
    """Write the certificate of a stored result. Raises WrongInput, StoreError."""
    from workbench.cli.report import document_of
    from workbench.records.store import open_store
    from workbench.reports.document import check_report_path, render

    check_report_path(path)
    with open_store(store) as opened:
        stored = opened.result(result)
    return render(document_of(stored, {**stored.options, **typed}), path)


def _table_options(left: str) -> dict[str, Any]:
    return options_of(table_name=TABLE_NAME, as_left=left, as_left_name=LEFT_NAME if left else "")
