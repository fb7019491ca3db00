"""What the store holds, as a list to look through, and what can be done with it.

Every function opens the store for itself and may be slow: call it away from the screen.
All raise BenchError.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from drivers.contract import Recording
from workbench.calibration.driveline import metres_per_pulse
from workbench.errors import StoreError, WrongInput
from workbench.machine import Machine, parse_machine
from workbench.models.pyramid import Pyramid
from workbench.models.wording import NO_VALUE, length_text, speed_text
from workbench.records.entries import StoredResult
from workbench.records.store import open_store
from workbench.units import UnitSystem

KINDS = {
    "pass": "Pass",
    "calibrate": "Calibration",
    "gap": "Gap check",
    "speed": "Belt speed",
}


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the list: a recording, or a result (`is_result`)."""

    number: int
    is_result: bool
    what: str
    when_utc: str
    machine: str
    verdict: str = ""
    simulated: bool = False

    def matches(self, words: str) -> bool:
        """Whether every word typed is found somewhere in this line."""
        simulated = "simulated" if self.simulated else ""
        kind = "result" if self.is_result else "recording"
        text = f"{kind} {self.number} {self.what} {self.when_utc} {self.machine} {self.verdict}"
        return all(word in f"{text} {simulated}".casefold() for word in words.casefold().split())


@dataclass(frozen=True, slots=True, eq=False)
class SpeedLines:
    """A recording's speeds by source, in m/s; `is_belt` names those that come from pulses."""

    lines: dict[str, Pyramid]
    is_belt: frozenset[str]
    notes: list[str]


def entries(store: str | None) -> list[Entry]:
    """Recordings and results, the newest first; those of deleted recordings are left out."""
    with open_store(store) as opened:
        recordings, results = opened.recordings(), opened.results()
    kept = {one.number for one in recordings}
    found = [
        Entry(
            one.number,
            is_result=False,
            what=f"Recording: {one.name}" + ("" if one.state == "ended" else f", {one.state}"),
            when_utc=one.started_utc,
            machine=one.machine_name,
            simulated=one.simulated,
        )
        for one in recordings
    ]
    found += [
        _result_entry(one) for one in results if one.recording is None or one.recording in kept
    ]
    return sorted(found, key=lambda one: one.when_utc, reverse=True)


def _result_entry(one: StoredResult) -> Entry:
    source = f"recording {one.recording}" if one.recording else one.table_name
    machine = parse_machine(one.machine_text).name if one.machine_text else ""
    return Entry(
        one.number,
        is_result=True,
        what=f"{KINDS.get(one.kind, one.kind)} of {source}",
        when_utc=one.created_utc,
        machine=machine,
        verdict=str(one.answer.get("verdict") or ""),
        simulated=bool(one.answer.get("simulated")),
    )


def result(store: str | None, number: int) -> StoredResult:
    """One result, its checksum looked at."""
    with open_store(store) as opened:
        return opened.result(number)


def speed_lines(store: str | None, number: int) -> SpeedLines:
    """The speeds of a recording, ready to be drawn at any zoom."""
    damage: list[str] = []
    with open_store(store) as opened:
        recording = opened.load_recording(number, damage.append)
        text = opened.recording(number).machine_text
    machine = parse_machine(text, f"machine of recording {number}") if text else None
    return lines_of(recording, machine, damage)


def lines_of(
    recording: Recording, machine: Machine | None, damage: Sequence[str] = ()
) -> SpeedLines:
    """See `speed_lines`; pulses need a machine to become speeds."""
    lines: dict[str, Pyramid] = {}
    belts = set()
    for name, edges in recording.edges.items():
        if machine is None or name == "lap" or edges.time_s.size <= machine.drive.target_teeth:
            continue
        # A whole turn each: tooth spacing errors cancel, and no cleaning is needed to look.
        teeth = machine.drive.target_teeth
        turn_s = edges.time_s[teeth:] - edges.time_s[:-teeth]
        speed = teeth * metres_per_pulse(machine).value_m / np.maximum(turn_s, 1e-9)
        lines[name] = Pyramid(edges.time_s[teeth:], speed)
        belts.add(name)
    for name, track in recording.speeds.items():
        known = np.isfinite(track.speed_mps) & np.isfinite(track.time_s)
        if track.timed and known.any():
            lines[name] = Pyramid(track.time_s[known], track.speed_mps[known])
    notes = [*damage, *recording.warnings]
    if recording.edges and machine is None:
        notes.append("Without a machine its pulses cannot be shown as speeds.")
    return SpeedLines(lines, frozenset(belts), notes)


def verify_result(store: str | None, number: int) -> str:
    """Compute a result again; a sentence on whether it is still the same."""
    from workbench.cli.verify import verify

    with open_store(store) as opened:
        found = verify(opened, number)
    if found["verified"]:
        return f"Result {number} is verified: computed again, it is the same in every field."
    fields = ", ".join(one["field"] for one in found["differences"][:3])
    more = len(found["differences"]) - 3
    tail = f" and {more} more" if more > 0 else ""
    return f"Result {number} is NOT what its recording gives today: {fields}{tail} differ."


def verify_recording(store: str | None, number: int) -> str:
    """Check every block of a recording against its checksum and seal."""
    with open_store(store) as opened:
        sha256 = opened.recording_sha256(number)
    return f"Recording {number} is as it was written; its hash is {sha256[:12]}…"


def export(store: str | None, entry: Entry, path: Path) -> str:
    """A recording as tables beside `path`, a result as a report; a sentence on what was written."""
    if entry.is_result:
        from workbench.cli.report import document_of
        from workbench.reports.document import render

        stored = result(store, entry.number)
        return f"Saved as {Path(render(document_of(stored, stored.options), path)).name}."
    from workbench.records.tables import TABLES, write_csv

    with open_store(store) as opened:
        recording = opened.load_recording(entry.number)
    written = []
    for name, make in TABLES.items():
        table = make(recording)
        if table.rows:
            target = path.with_name(f"{path.stem}-{name}.csv")
            try:
                write_csv(table, target)
            except OSError as error:
                raise StoreError(f"{target} cannot be written: {error.strerror}.") from None
            written.append(target.name)
    if not written:
        raise WrongInput(f"Recording {entry.number} holds neither pulses nor values.")
    return f"Saved as {', '.join(written)}."


def hide(store: str | None, number: int, *, hidden: bool) -> str:
    """Delete a recording, or undo that; nothing is erased."""
    with open_store(store) as opened:
        opened.hide(number, hidden=hidden)
    if hidden:
        return f"Recording {number} and its results are deleted. Undo brings them back."
    return f"Recording {number} is back."


FIGURES: dict[str, tuple[str, str]] = {
    "ratio": ("Ratio belt ÷ ground", "U_ratio"),
    "belt_speed_mps": ("Belt speed", ""),
    "ground_speed_mps": ("Ground speed", ""),
    "separation_m": ("Belt ahead of ground", ""),
    "error_at_work": ("Error at work", ""),
    "setting_now": ("Setting as found", ""),
    "setting_new": ("New setting", ""),
    "gap_m": ("Mean gap", ""),
    "runout_m": ("Run-out", ""),
    "missed": ("Missed pulses", ""),
    "extra": ("Extra pulses", ""),
}


def figures(stored: StoredResult, units: UnitSystem) -> list[tuple[str, str]]:
    """The main figures of a result, name and text, in the person's units."""
    rows = [("Verdict", str(stored.answer["verdict"]))] if "verdict" in stored.answer else []
    for key, (name, wide) in FIGURES.items():
        if key in stored.answer:
            rows.append((name, _shown(key, stored.answer[key], stored.answer.get(wide), units)))
    return rows


def _shown(key: str, value: Any, wide: Any, units: UnitSystem) -> str:
    if not isinstance(value, int | float):
        return NO_VALUE
    if key.endswith("_mps"):
        return speed_text(value, units)
    if key in ("gap_m", "runout_m"):
        return f"{value / units.gap_m:.3g} {units.gap}"
    if key.endswith("_m"):
        return length_text(value, units)
    if key == "error_at_work":
        return f"{100 * value:+.2f} %".replace("-", "−")
    tail = f" ± {wide:.3f}" if isinstance(wide, int | float) else ""
    return f"{value:.3f}{tail}" if key == "ratio" else f"{value:g}"
