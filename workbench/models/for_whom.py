"""For whom and by whom is worked today: asked once, kept with every answer from then on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date

from workbench.base.errors import StoreError
from workbench.base.machine import Machine
from workbench.jobs.particulars import NOTHING_SAID, Particulars, particulars_in
from workbench.models.observable import Observable
from workbench.models.settings import Settings

LAST = ""
"""Where the settings keep what was said last, of whatever machine."""


class ForWhom(Observable):
    """What the next answers are kept with, machine by machine, from start to start.

    The weather is of one day, and remarks of one answer; who works and with what goes over to
    other machines, the customer and the field do not.
    """

    def __init__(self, settings: Settings, today: Callable[[], date] = date.today) -> None:
        super().__init__()
        self._settings, self._today = settings, today

    def of(self, machine: Machine | None) -> Particulars:
        """What was said last for this machine, as far as it still holds."""
        kept = self._settings.now.said
        said, last = _read(kept.get(_key(machine))), _read(kept.get(LAST))
        if said is None:
            last = last or ("", NOTHING_SAID)
            return Particulars(by=last[1].by, references=last[1].references)
        day, whole = said
        fresh = day == self._today().isoformat()
        return whole if fresh else replace(whole, conditions="")

    def say(self, machine: Machine | None, said: Particulars) -> None:
        """Keep the next answers of this machine with it."""
        said = replace(said, remarks="")
        if said != self.of(machine):
            text = f"{self._today().isoformat()} {said.text}"
            kept = self._settings.now.said | {_key(machine): text, LAST: text}
            self._settings.change(said=kept)
            self.changed()


def _key(machine: Machine | None) -> str:
    return f"machine {machine.name if machine else ''}"


def _read(text: str | None) -> tuple[str, Particulars] | None:
    """The day and what was said on it; None where the settings hold something else."""
    day, _blank, said = str(text or "").partition(" ")
    try:
        return (day, particulars_in(said)) if day else None
    except StoreError:
        return None
