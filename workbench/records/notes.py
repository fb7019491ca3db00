"""What several inputs say of themselves, as one; needs no database."""

from __future__ import annotations

from collections.abc import Sequence

from drivers.contract import Driver, Notes


def merged_notes(drivers: Sequence[Driver]) -> Notes:
    """What several inputs say of themselves, as one."""
    merged = Notes()
    kinds: dict[str, None] = {}
    origins = set()
    for driver in drivers:
        notes = driver.notes
        kinds |= dict.fromkeys([notes.kind] if notes.kind else [])
        for into, source in (
            (merged.messages, notes.messages),
            (merged.rejects, notes.rejects),
        ):
            for name, count in dict(source).items():
                into[name] = into.get(name, 0) + count
        merged.warnings += list(notes.warnings)
        merged.timed = merged.timed and notes.timed
        origins.add(notes.origin_s)
    merged.kind = ", ".join(kinds)
    if len(drivers) == 1:
        merged.sha256 = drivers[0].notes.sha256
    if len(origins) == 1:
        (merged.origin_s,) = origins
    return merged
