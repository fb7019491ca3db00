"""The gap check as a job: feeler readings of a list of pickups, and the wheel by its pulses."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drivers.contract import EdgeBlock, Item
from workbench.calibration.edges import clean
from workbench.calibration.gap.batch import PickupId, PickupList
from workbench.calibration.gap.feeler import FeelerGap
from workbench.calibration.gap.table import parse_gap_table
from workbench.calibration.target_wheel import tooth_signature
from workbench.errors import WrongInput
from workbench.machine import Machine, Pickup
from workbench.models.bench import Bench
from workbench.models.entry import typed_number
from workbench.models.gap_store import judge_wheel, keep_table
from workbench.models.observable import Observable
from workbench.models.pace import PaceModel

SIGNATURE_TURNS = 40
"""Turns of the wheel that the live signature is folded from."""

USUAL_STEP_DEG = 90.0


class GapJob(Observable):
    """Feeler readings by keyboard; a signature or drop-out run from the pulses."""

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench, self._pace = bench, PaceModel(bench)
        self._unlisten = bench.live.listen(self._take)
        self._edge_s: list[NDArray[np.float64]] = []
        self._channel = ""
        self.pickups = PickupList()
        self.add_pickup(bench.machine.name if bench.machine else "Pickup 1")
        self.answer: dict[str, Any] | None = None
        self.running, self.drop_out = False, False
        self.said = ""

    def close(self) -> None:
        """Listen no more."""
        self._unlisten()

    @property
    def limits(self) -> Pickup:
        return self._bench.machine.pickup if self._bench.machine else Pickup()

    @property
    def machine(self) -> Machine | None:
        return self._bench.machine

    def add_pickup(self, name: str) -> None:
        """Put a pickup at the end of the list and take it in hand. Raises WrongInput."""
        if not name.strip():
            raise WrongInput("Type the pickup's name, such as 'Digger 4 / left'.")
        try:
            self.pickups.add(PickupId.parse(name), self.limits)
        except ValueError as error:
            raise WrongInput(f"{error}.") from None
        self.pickups.at = len(self.pickups.entries) - 1
        self._fresh()

    def name_pickup(self, name: str) -> None:
        """Give the pickup at hand another name. Raises WrongInput."""
        entry = self.pickups.current
        new = PickupId.parse(name)
        others = [one.pickup.name for one in self.pickups.entries if one is not entry]
        if not new.name:
            raise WrongInput("Type the pickup's name, such as 'Digger 4 / left'.")
        if new.name in others:
            raise WrongInput(f"{new.name} is in the list already.")
        if entry is not None:
            entry.pickup = new
        self._fresh()

    def next(self) -> None:
        """Take the next pickup in hand."""
        self.pickups.next()
        self.changed()

    def previous(self) -> None:
        """Take the pickup before in hand."""
        self.pickups.previous()
        self.changed()

    def open_table(self, text: str, name: str) -> None:
        """A gap table as the list. Raises WrongInput with its line."""
        self.pickups = PickupList.from_table(parse_gap_table(text, name), self.limits)
        self._fresh()

    def read(self, angle: str, gap: str) -> None:
        """Take a reading as typed: '90' and '1/16', '0.062 in' or '1.6 mm'. Raises WrongInput."""
        angle_deg = typed_number(angle, "the angle from the mark, degrees", above=-360.1)
        self.pickups.read(angle_deg, gap, self._bench.settings.units.gap)
        self._fresh()

    def undo(self) -> None:
        """Take back the last reading of the pickup at hand."""
        if self.pickups.current is not None:
            self.pickups.undo()
            self._fresh()

    def next_angle_deg(self) -> float:
        """Where to read next: a quarter turn on from the last reading."""
        entry = self.pickups.current
        if entry is None or not entry.angle_deg:
            return 0.0
        return (entry.angle_deg[-1] + USUAL_STEP_DEG) % 360.0

    def judged(self) -> FeelerGap | None:
        """What the readings of the pickup at hand say, None while there are none."""
        entry = self.pickups.current
        return self.pickups.judge(entry) if entry is not None else None

    def keep_work(self) -> Callable[[], dict[str, Any]]:
        """The slow work that judges all readings and stores the answer. Raises WrongInput."""
        text, machine, store = self.pickups.table_text(), self.machine, self._bench.store
        if not any(entry.gap_m for entry in self.pickups.entries):
            raise WrongInput("There is no reading yet: type an angle and a gap first.")
        return lambda: keep_table(text, machine, store)

    def start_run(self, *, drop_out: bool) -> None:
        """Record the pulses: a steady run for the signature, or one slowed to drop-out."""
        belt = self._pace.belt()
        if self._bench.recording.running:
            self.said = "A recording runs already; stop it on Signals first."
        elif belt is None or not belt.is_pulses:
            self.said = "No pulses come in; see Signals."
        else:
            self._channel, self.drop_out = belt.name, drop_out
            self._edge_s.clear()
            self._bench.recording.start("drop-out run" if drop_out else "tooth by tooth")
            self.running = self._bench.recording.running
            self.said = "" if self.running else self._bench.recording.said
            self.answer = None
        self.changed()

    def stop_run(self) -> int | None:
        """End the run; the number of its recording."""
        if not self.running:
            return None
        self.running = False
        self._bench.recording.stop("the run is over")
        self.changed()
        return self._bench.recording.last_number

    def judge_work(self, number: int, channel: str | None = None) -> Callable[[], dict[str, Any]]:
        """The slow work that judges the wheel from a recording and stores the answer."""
        store, drop_out = self._bench.store, self.drop_out
        chosen = channel or self._channel or None
        return lambda: judge_wheel(number, chosen, drop_out, store)

    def signature(self) -> tuple[NDArray[np.float64], float]:
        """Each tooth's lateness in pitches so far, and turns seen; empty before two turns."""
        teeth = self.machine.drive.target_teeth if self.machine else 0
        empty: NDArray[np.float64] = np.empty(0)
        if not teeth or not self._edge_s:
            return empty, 0.0
        edge_s = np.concatenate(self._edge_s)
        turns = edge_s.size / teeth
        if turns < 3:
            return empty, turns
        try:
            found = tooth_signature(clean(edge_s[-SIGNATURE_TURNS * teeth :]), teeth)
        except ValueError:
            return empty, turns
        return found.offset_rel, turns

    def faults(self) -> dict[int, str]:
        """Suspect teeth of the answer, from 1 at the mark, with their fault."""
        found = (self.answer or {}).get("faults") or []
        return {int(fault["tooth"]): str(fault["kind"]) for fault in found if fault["tooth"]}

    def seconds_left(self, wanted_turns: int = 30) -> float:
        """Seconds until enough turns have gone by, NaN where no pulses come."""
        belt = self._pace.belt()
        teeth = self.machine.drive.target_teeth if self.machine else 0
        seen = sum(part.size for part in self._edge_s)
        if belt is None or not teeth or not belt.rate_hz > 0:
            return math.nan
        return max(0.0, (wanted_turns * teeth - seen) / belt.rate_hz)

    def _fresh(self) -> None:
        self.answer, self.said = None, ""
        self.changed()

    def _take(self, item: Item) -> None:
        if self.running and isinstance(item, EdgeBlock) and item.channel == self._channel:
            self._edge_s.append(np.asarray(item.ticks, dtype=np.float64) * item.tick_s)
