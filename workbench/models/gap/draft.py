"""The list of pickups between two starts of the program: one small JSON file by the settings."""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path
from typing import Any

from workbench.base.errors import Message, StoreError, WrongInput
from workbench.base.files import exists, read_json, write_file

FILE_NAME = "gap-list.json"


def draft_path(settings_path: Path) -> Path:
    """Where the list lies."""
    return settings_path.with_name(FILE_NAME)


def read_draft(path: Path) -> dict[str, Any] | None:
    """The list as it was left; None where there is none. Raises WrongInput where damaged."""
    if not exists(path):
        return None
    try:
        found = read_json(path, Message("a list of pickups"))
    except WrongInput as error:
        problem = error.values["found"]
        raise WrongInput("The list of last time is damaged ({problem}).", problem=problem) from None
    if not isinstance(found, dict):
        raise WrongInput("The list of last time is damaged (it is no list of pickups).")
    return found


def write_draft(path: Path, data: dict[str, Any]) -> None:
    """Keep the list; where the disk refuses, the list on the screen goes on without it."""
    with suppress(OSError, StoreError):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_file(path, json.dumps(data), sync=False)


def put_aside(path: Path) -> Path | None:
    """Move a damaged list out of the way, so that nothing of it is overwritten."""
    with suppress(OSError):
        return path.replace(path.with_suffix(".damaged"))
    return None
