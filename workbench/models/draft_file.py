"""What a page has not kept yet, between two starts of the program: one small JSON file by the
settings."""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any

from workbench.base.errors import Message, StoreError, WrongInput
from workbench.base.files import exists, read_json, write_file
from workbench.words.language import _
from workbench.words.words import Words


class DraftFile:
    """`what` it is called where it is damaged: 'The list of last time'. Without a place for the
    settings there is none."""

    def __init__(self, settings_path: Path | None, name: str, what: Message) -> None:
        self._path = settings_path.with_name(name) if settings_path else None
        self._what, self._written = what, 0

    def read(self) -> dict[str, Any]:
        """As it was left; {} where there is none. Raises WrongInput where it is damaged."""
        if self._path is None or not exists(self._path):
            return {}
        try:
            found = read_json(self._path, self._what)
        except WrongInput as error:
            raise self._damaged(error.values["found"]) from None
        if not isinstance(found, dict):
            raise self._damaged(Message("it is something else"))
        return found

    def put_aside(self, error: WrongInput, begins: str) -> str:
        """Move a damaged one out of the way, so that nothing of it is overwritten; what is told
        of that, and of what `begins` in its place."""
        told = f"{Words().say(error)} {begins}"
        with suppress(OSError):
            if self._path is not None:
                aside = self._path.replace(self._path.with_suffix(".damaged"))
                where = _("The old one lies in {file} now.").format(file=aside.name)
                return f"{told} {where}"
        return told

    def work(self, revision: int, data: Callable[[], object]) -> Callable[[], None] | None:
        """The slow work that writes it down; None where the `revision` has been written."""
        if self._path is None or self._written == revision:
            return None
        self._written = revision
        return partial(_write, self._path, data())

    def _damaged(self, problem: object) -> WrongInput:
        return WrongInput("{what} is damaged ({problem}).", what=self._what, problem=problem)


def _write(path: Path, data: object) -> None:
    """Where the disk refuses, what is on the screen goes on without it."""
    with suppress(OSError, StoreError):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_file(path, json.dumps(data), sync=False)
