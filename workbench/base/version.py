"""Which program this is."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version


def program_version() -> str:
    """The installed program's version, '0' where it runs from a bare checkout."""
    try:
        return version("evenpace")
    except PackageNotFoundError:
        return "0"
