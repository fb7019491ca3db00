"""What happens to the inputs and the computer under way, told in sentences as it happens."""

from __future__ import annotations

from workbench.live.session import InputState, InputStatus
from workbench.models.bench import Bench
from workbench.records.brought_up import brought_up
from workbench.words.language import _
from workbench.words.words import Words

ASLEEP_S = 10.0
"""A screen that looks 30 times a second and did not look for so long was not running."""


class Lookout:
    """Looks at every frame; tells the bench what the person should know, once each time."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._looked_s, self._looked_host_s = bench.computer_clock(), bench.clock()
        self._states: dict[str, InputState] = {}
        self._problems: list[str] = []

    def look(self) -> None:
        """One look."""
        self._look_for_sleep()
        while brought_up:
            self._bench.tell(Words().say(brought_up.popleft()))
        for problem in self._new_problems():
            self._bench.tell(problem)
        for status in self._bench.live.statuses():
            before = self._states.get(status.address, InputState.IDLE)
            self._states[status.address] = status.state
            if status.state is not before:
                self._tell_of(status, before)

    def _new_problems(self) -> list[str]:
        problems = list(self._bench.live.problems)
        before, self._problems = self._problems, problems
        return [problem for problem in problems if problem not in before]

    def _look_for_sleep(self) -> None:
        now_s, now_host_s = self._bench.computer_clock(), self._bench.clock()
        missed_s = now_s - self._looked_s
        if missed_s > ASLEEP_S:
            why = _("the computer was asleep, or too busy to look, for {missed_s:.1f} min").format(
                missed_s=missed_s / 60
            )
            if self._bench.recording.running:
                self._bench.recording.note_hole(self._looked_host_s, now_host_s, why)
            self._bench.tell(
                f"{why[0].upper()}{why[1:]}.{self._goes_on(_(' The gap is on record.'))}"
            )
        self._looked_s, self._looked_host_s = now_s, now_host_s

    def _tell_of(self, status: InputStatus, before: InputState) -> None:
        if status.state is InputState.RECONNECTING:
            self._bench.tell(
                _("{reason} It is tried again and again.{goes_on}").format(
                    reason=status.reason, goes_on=self._goes_on()
                )
            )
        elif status.state is InputState.ENDED and status.error is not None:
            self._bench.tell(f"{status.reason}{self._goes_on()}")
        elif status.state is InputState.RUNNING and before is InputState.RECONNECTING:
            self._bench.tell(
                _("{address} is back.{goes_on}").format(
                    address=status.address, goes_on=self._goes_on(_(" The gap is on record."))
                )
            )

    def _goes_on(self, more: str = "") -> str:
        return (
            _(" The recording goes on.{more}").format(more=more)
            if self._bench.recording.running
            else ""
        )
