"""A table that was typed, which a job takes in place of a recording."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from workbench.base import files
from workbench.base.errors import Message, WrongInput

_MOST_BYTES = 1_000_000
"""A larger table was not typed by anyone."""


def table_text(word: str, is_one: Callable[[str], bool]) -> str | None:
    """The text of the table that `word` names; None where it names no file, or one whose
    beginning `is_one` says is none. Raises WrongInput."""
    path = Path(word.removeprefix("file:"))
    if word.startswith("sim:") or not files.is_file(path):
        return None
    try:
        with path.open("rb") as file:
            head = file.read(4096).decode("utf-8", "replace")
    except OSError as error:
        raise WrongInput(
            "{path}: it cannot be read ({why}).", path=path, why=error.strerror
        ) from None
    if not head.strip():
        raise WrongInput("{path}: it is empty; expected a table or a recording.", path=path)
    return read_text(path) if is_one(head) else None


def read_text(path: Path) -> str:
    """A table's text. Raises WrongInput."""
    return files.read_text(path, _MOST_BYTES, Message("a table that was typed, saved as UTF-8"))
