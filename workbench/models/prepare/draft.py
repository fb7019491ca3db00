"""What was typed on the sheet between two starts of the program: one small JSON file."""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path

from workbench.base.errors import Message, StoreError, WrongInput
from workbench.base.files import exists, read_json, write_file

Typed = dict[str, dict[str, list[str]]]
"""Machine's name -> 'reading|place' -> what was typed, and the unit of a bare number."""


def draft_path(settings_path: Path) -> Path:
    """Where it lies, beside the settings."""
    return settings_path.with_name("prepare-sheet.json")


def read_draft(path: Path | None) -> Typed:
    """What was typed; {} where there is nothing, or nothing that can be read."""
    if path is None or not exists(path):
        return {}
    try:
        found = read_json(path, Message("what was typed on Prepare"))
    except WrongInput:
        with suppress(OSError):
            path.replace(path.with_suffix(".damaged"))
        return {}
    if not isinstance(found, dict):
        return {}
    return {
        machine: {
            slot: [str(one) for one in typed]
            for slot, typed in slots.items()
            if isinstance(typed, list) and len(typed) == 2
        }
        for machine, slots in found.items()
        if isinstance(slots, dict)
    }


def write_draft(path: Path, typed: Typed) -> None:
    """Keep it; where the disk refuses, what is on the screen goes on without it."""
    with suppress(OSError, StoreError):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_file(path, json.dumps(typed), sync=False)
