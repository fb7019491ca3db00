"""The recordings of the store, to choose one that is judged again."""

from __future__ import annotations

from dataclasses import dataclass

from workbench.words.moments import day_text, local


@dataclass(frozen=True, slots=True)
class OldRecording:
    """One of them; `machine` is '' where it was made without one."""

    number: int
    name: str
    when_utc: str
    machine: str
    simulated: bool

    @property
    def when(self) -> str:
        """'5 Nov 14:03', by the clock on the wall."""
        at = local(self.when_utc)
        return f"{day_text(at)} {at:%H:%M}" if at else self.when_utc


def old_recordings(store: str | None) -> list[OldRecording]:
    """What the store holds, the newest first; what is still being recorded is left out.

    Slow: called away from the screen. Raises StoreError.
    """
    from workbench.records.store import open_store

    with open_store(store) as opened:
        return [
            OldRecording(one.number, one.name, one.started_utc, one.machine_name, one.simulated)
            for one in opened.recordings()
            if one.state != "recording"
        ]
