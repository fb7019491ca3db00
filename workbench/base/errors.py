"""Errors of the bench, split by blame; `str()` of each is a sentence for the person.

An error carries a template and named values, so that it is worded last, in the person's
language: `WrongInput("{path}: it is empty.", path=path)`. The template is the message id of
the catalogues.

    BenchError
    ├── WrongInput      what was typed, called or handed in is wrong     exit status 2
    │   └── MachineFileError    names the key, the value, what would be right
    └── StoreError      the store of recordings and results failed       exit status 3

What a driver raises stands in `drivers.errors`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from workbench.base.numbers import Formatter
from workbench.base.statements import PlusMinus, Statement, Value, as_written, message


class Message:
    """A template and what goes into it, worded when it is read; values as in a statement.

    `str()` words it in English and metric units.
    """

    def __init__(self, template: str, /, **values: Any) -> None:
        self.template, self.values = template, values

    def __str__(self) -> str:
        return Formatter().vformat(self.template, (), self.values) if self.values else self.template

    @property
    def statement(self) -> Statement:
        """The same as a statement, for an answer that says why it cannot tell."""
        return message(
            self.template, **{name: _plain(value) for name, value in self.values.items()}
        )

    def __reduce__(self) -> Any:
        return _made_again, (type(self), self.template, self.values)


class BenchError(Message, Exception):
    """Any error the bench reports to its user."""


class WrongInput(BenchError):
    """Something the user gave is wrong; says what, where, and what would be right."""


class MachineFileError(WrongInput):
    """A machine file with a key that is missing, unknown or out of sense."""

    def __init__(
        self, path: Path | Message | str, key: str, found: Message | str, expected: Message | str
    ) -> None:
        self.path, self.key, self.found, self.expected = path, key, found, expected
        values = {"path": path, "key": key, "found": found, "expected": expected}
        if key:
            super().__init__("{path}, key '{key}': {found}; expected {expected}.", **values)
        else:
            super().__init__("{path}: {found}; expected {expected}.", **values)

    def __reduce__(self) -> Any:
        return type(self), (self.path, self.key, self.found, self.expected)


class StoreError(BenchError):
    """The store of recordings and results cannot be used."""


def _made_again(kind: type[Message], template: str, values: dict[str, Any]) -> Message:
    """An error after its way through a pickle, to or from another process."""
    return kind(template, **values)


def _plain(value: Any) -> Value:
    """A value as a statement takes it: a message within a message stays one, a path is text."""
    if isinstance(value, Message):
        return value.statement
    if isinstance(value, list | tuple):
        return tuple(_plain(one) for one in value)
    if isinstance(value, str):
        return as_written(value) if hasattr(value, "template") else str(value)
    return value if isinstance(value, int | float | PlusMinus | Statement) else str(value)
