"""Runs that were kept but are not a result yet, so that no end of the program loses them.

One small JSON file a machine, in a folder beside the settings; without a folder they stay
in memory. A file that cannot be read counts as none.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

from workbench.base.errors import Message, StoreError, WrongInput
from workbench.base.files import read_json, replacing
from workbench.jobs.codec import from_plain, to_plain
from workbench.models.calibrate.runs import State


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
            found: Any = read_json(self._path(machine), Message("a list of runs"))
            its = found["machine"] == machine and "runs" in found
            return from_plain(found, State) if its else None
        except (WrongInput, ValueError, TypeError, KeyError, StoreError):
            return None

    def keep(self, machine: str, state: State) -> None:
        """Keep this state in place of the last, in memory until `write`; the run under way is
        not part of it."""
        self._kept[machine] = replace(state, marks_s=(), counting=False, closed=False)
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
        text = json.dumps({"machine": machine} | to_plain(state), indent=1)
        with replacing(path) as fresh:
            path.parent.mkdir(parents=True, exist_ok=True)
            fresh.write_text(text, encoding="utf-8")

    def _path(self, machine: str) -> Path:
        assert self._folder is not None
        return self._folder / f"{hashlib.sha256(machine.encode()).hexdigest()[:16]}.json"
