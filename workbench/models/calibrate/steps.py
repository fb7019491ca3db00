"""The steps of a calibration: each can be undone, and none that was kept is lost."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from typing import Any

from workbench.base.ends import EndSays
from workbench.base.errors import StoreError
from workbench.base.machine import Machine
from workbench.jobs.calibrate.answer import CalibrateAnswer
from workbench.models.bench import Bench
from workbench.models.calibrate.draft import Drafts
from workbench.models.calibrate.runs import State
from workbench.models.observable import Observable
from workbench.words.language import _

MOST_UNDONE = 100

"""Why a recording ended."""

Later = Callable[[Callable[[], object]], object]
"""Runs something slow away from the screen."""


class CalibrateSteps(Observable):
    """The state of a calibration, its past states, and its draft on disk.

    `said` is the last sentence for the person; `version` grows whenever the answer has to be
    worked out anew; `ramping` is True while a ramp is recorded.
    """

    def __init__(self, bench: Bench, later: Later) -> None:
        super().__init__()
        self._bench, self._later = bench, later
        path = bench.settings.path
        self._drafts = Drafts(path.parent / "calibrations" if path else None)
        self._undo: list[tuple[str, State, bool]] = []
        self._of: Machine | None = None
        self.state = State()
        self.ramping = False
        self.answer: CalibrateAnswer | None = None
        self.version = 0
        self.said = ""
        self._stops = [bench.subscribe(self._machine_changed)]
        self._machine_changed()

    def close(self) -> None:
        """Listen no more."""
        for stop in self._stops:
            stop()

    def flush(self) -> None:
        """Write now what still waits to be; for the end of the program."""
        with suppress(StoreError):  # it was told when it happened first
            self._drafts.write()

    @property
    def machine(self) -> Machine | None:
        return self._bench.machine

    @property
    def undo_word(self) -> str:
        """What `undo` would take back, '' where there is nothing."""
        return self._undo[-1][0] if self._undo else ""

    def undo(self) -> None:
        """Take back the last step."""
        if not self._undo:
            return
        word, state, ramping = self._undo.pop()
        if self.ramping and not ramping:  # its beginning is taken back
            self._end_ramp(EndSays.RAMP_DROPPED)
        before = self.state
        if state.marks_s and not before.marks_s:
            state = replace(state, closed=True)  # a run's times are its own: the belt went on
        self._become(state)
        if before.setting_used and not state.setting_used:
            self._bench.change_setting(before.found_setting)
        self.said = _("Taken back: {step}.").format(step=word)
        self.changed()

    def worked_out(
        self, answer: CalibrateAnswer | None, version: int, number: int | None = None
    ) -> None:
        """The answer to what stood at that version, and its number where it was stored."""
        if version != self.version:
            return
        self.answer = answer
        if number is not None:
            self.state = replace(self.state, result=number)
            self._keep_draft()
        self.changed()

    def _set(self, word: str, *, said: str = "", **changes: Any) -> None:
        """One step, which `undo` takes back."""
        self._undo.append((word, self.state, self.ramping))
        del self._undo[:-MOST_UNDONE]
        new = replace(self.state, **changes)
        if new.data != self.state.data:
            new = replace(new, result=None)
        self._become(new)
        self.said = said
        self.changed()

    def _become(self, new: State) -> None:
        old, self.state = self.state, new
        if new.data != old.data:
            self.version += 1
            if not (new.ramp or new.runs):
                self.answer = None
        if replace(new, marks_s=(), counting=False) != replace(old, marks_s=(), counting=False):
            self._keep_draft()

    def _keep_draft(self) -> None:
        if self._of is not None:
            self._drafts.keep(self._of.name, self.state)
            self._later(self._drafts.write)

    def _machine_changed(self) -> None:
        """Another machine has runs of its own; an edited one gets its answer anew."""
        before, now = self._of, self.machine
        if now == before:
            return
        self._of = now
        if before is None or now is None or before.name != now.name:
            self._undo.clear()
            self._end_ramp(EndSays.OTHER_MACHINE_CHOSEN)
            kept = self._drafts.load(now.name) if now else None
            self.state, self.answer, self.said = kept or State(), None, ""
            if kept is not None and (kept.runs or kept.ramp):
                self.said = _("These runs were kept from before. Go on, or start anew.")
        self.version += 1
        self.changed()

    def _end_ramp(self, why: EndSays) -> None:
        if self.ramping:
            self.ramping = False
            self._bench.recording.stop(why)
