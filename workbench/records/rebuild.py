"""Stored items to a `Recording`: every stream on one time line."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from drivers.contract import Item, Notes, Recording
from drivers.recording import assemble


def rebuild(
    items: Iterable[Item], notes: Notes, started_host_s: float, name: str, simulated: bool
) -> Recording:
    """A recording from items as they came from the wire or a file.

    A file says itself where its time line begins (`notes.origin_s`); a live recording
    begins at `started_host_s`.
    """
    if notes.origin_s is None:
        notes = replace(notes, origin_s=started_host_s)
    return assemble(items, notes, name=name, simulated=simulated)
