"""Errors of the bench, split by blame; `str()` of each is a sentence for the person.

    BenchError
    ├── WrongInput      what was typed, called or handed in is wrong     exit status 2
    │   └── MachineFileError    names the key, the value, what would be right
    └── StoreError      the store of recordings and results failed       exit status 3

What a driver raises stands in `drivers.contract`.
"""

from __future__ import annotations

from pathlib import Path


class BenchError(Exception):
    """Any error the bench reports to its user."""


class WrongInput(BenchError):
    """Something the user gave is wrong; says what, where, and what would be right."""


class MachineFileError(WrongInput):
    """A machine file with a key that is missing, unknown or out of sense."""

    def __init__(self, path: Path | str, key: str, found: str, expected: str) -> None:
        self.path, self.key, self.found, self.expected = Path(path), key, found, expected
        place = f"{path}, key '{key}'" if key else f"{path}"
        super().__init__(f"{place}: {found}; expected {expected}.")


class StoreError(BenchError):
    """The store of recordings and results cannot be used."""
