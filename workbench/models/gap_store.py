"""Gap readings and wheels to an answer, an answer to the store and to a report.

Slow: called away from the screen.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from workbench.calibration.gap.places import BLADE_STEP_M
from workbench.machine import Machine

TABLE_NAME = "readings on the bench"


def gap_options(**given: Any) -> dict[str, Any]:
    """All options of a gap check, with those given."""
    none = ("channel", "mark", "pitch_radius_m", "at_gap_m", "before_result")
    options: dict[str, Any] = dict.fromkeys((*none, "control", "control_target_m"))
    options |= {"table_name": "", "blade_step_m": BLADE_STEP_M, "drop_out": False}
    return options | {"baseline": [], "before": {}, "control_history": [], **given}


def keep_table(text: str, machine: Machine | None, store: str | None) -> dict[str, Any]:
    """The answer from feeler readings, stored. Raises WrongInput, StoreError."""
    from workbench.cli.gap import compute
    from workbench.records.store import open_store

    options = gap_options(table_name=TABLE_NAME)
    answer = compute(text, machine, options)
    with open_store(store) as opened:
        number = opened.add_result(
            "gap", answer, options=options, table=text, table_name=TABLE_NAME, machine=machine
        )
    return {"result": number, **answer}


def judge_wheel(
    number: int, channel: str | None, drop_out: bool, store: str | None
) -> dict[str, Any]:
    """The answer from a recording's pulses, stored. Raises BenchError."""
    from workbench.cli.gap import compute
    from workbench.cli.source import finish, stored_source

    source = stored_source(number, None, store)
    options = gap_options(channel=channel, drop_out=drop_out)
    return finish("gap", compute(source.recording, source.machine, options), source, options)


def save_gap_report(answer: dict[str, Any], machine: Machine | None, path: Path) -> Path:
    """Write the report of an answer. Raises WrongInput."""
    from workbench.reports.document import check_report_path, render
    from workbench.reports.gap_report import gap_document

    check_report_path(path)
    return render(gap_document(answer, machine), path)
