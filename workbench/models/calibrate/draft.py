"""Runs that were kept but are not a result yet, so that no end of the program loses them.

One small JSON file a machine, in a folder beside the settings; without a folder they stay
in memory. A file that cannot be read counts as none.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from workbench.base.files import replacing
from workbench.models.calibrate.runs import Reference, State, TakenRun


class Drafts:
    """The kept states by the machine's name."""

    def __init__(self, folder: Path | None) -> None:
        self._folder = folder
        self._kept: dict[str, State] = {}
        self._unwritten: set[str] = set()

    def load(self, machine: str) -> State | None:
        """What was kept for this machine, None where nothing was."""
        if machine in self._kept:
            return self._kept[machine]
        if self._folder is None:
            return None
        try:
            found = json.loads(self._path(machine).read_text(encoding="utf-8"))
            return _from_plain(found) if found.get("machine") == machine else None
        except (OSError, ValueError, TypeError, AttributeError, KeyError):
            return None

    def keep(self, machine: str, state: State) -> None:
        """Keep this state in place of the last, in memory until `write`; the run under way is
        not part of it."""
        self._kept[machine] = replace(state, marks_s=(), counting=False)
        self._unwritten.add(machine)

    def write(self) -> None:
        """Write what was kept since the last time: call it away from the screen. Raises
        StoreError."""
        while self._unwritten:
            self._write(self._unwritten.pop())

    def _write(self, machine: str) -> None:
        if self._folder is None:
            return
        path, state = self._path(machine), self._kept[machine]
        text = json.dumps({"machine": machine} | asdict(state), indent=1)
        with replacing(path) as fresh:
            path.parent.mkdir(parents=True, exist_ok=True)
            fresh.write_text(text, encoding="utf-8")

    def _path(self, machine: str) -> Path:
        assert self._folder is not None
        return self._folder / f"{hashlib.sha256(machine.encode()).hexdigest()[:16]}.json"


def _from_plain(found: Mapping[str, Any]) -> State:
    """Raises TypeError, ValueError or KeyError for what `keep` has not written."""
    return State(
        reference=Reference(found["reference"]),
        runs=tuple(TakenRun(**run) for run in found["runs"]),
        left_runs=tuple(TakenRun(**run) for run in found["left_runs"]),
        flips=tuple((float(at_s), float(shown), bool(up)) for at_s, shown, up in found["flips"]),
        ramp=found["ramp"],
        new_setting=float(found["new_setting"]),
        result=found["result"],
    )
