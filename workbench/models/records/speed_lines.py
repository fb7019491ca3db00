"""The speeds of a recording, ready to be drawn at any zoom.

Opening the store is slow: call it away from the screen. It raises BenchError.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drivers.contract import ChannelKind, Recording
from workbench.base.errors import StoreError
from workbench.base.machine import Machine
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.live.streams import SILENT_S
from workbench.models.plot.streams import speed_panel
from workbench.models.progress import Progress
from workbench.models.records.archive import damage_sentences
from workbench.records.store import open_store
from workbench.words.language import _
from workbench.words.pictures.picture import CLOCK, Axis, Floats, Picture
from workbench.words.pictures.pyramid import Pyramid

_NEWEST = 2000
"""Blocks of a journal, a stream's each half second, that are read at once."""
_LOOKED_AT = 100_000
"""So many steps are enough to tell the usual one."""


@dataclass(frozen=True, slots=True, eq=False)
class SpeedLines:
    """A recording's speeds by source, in m/s; `is_belt` names those that come from pulses."""

    lines: dict[str, Pyramid]
    is_belt: frozenset[str]
    notes: list[str]


def speeds_picture(shown: SpeedLines) -> Picture:
    """All speeds of a recording on one line of time."""
    return Picture(Axis(_("time"), CLOCK), (speed_panel(shown.lines, shown.is_belt, width=1.0),))


def speed_lines(store: str | None, number: int, progress: Progress | None = None) -> SpeedLines:
    """The speeds of a recording; of a damaged one what is left."""
    damage: list[StoreError] = []
    with open_store(store) as opened:
        recording = opened.load_recording(number, damage.append, progress)
        machine = opened.recording(number).machine()
    return lines_of(recording, machine, damage)


def newest_lines(store: str | None, number: int) -> SpeedLines | None:
    """The speeds of the last minutes of a recording that is read slowly: one that runs, or has
    not been packed yet; None of any other."""
    with open_store(store) as opened:
        if opened.is_packed(number):
            return None
        recording = opened.load_recording(number, lambda _: None, newest=_NEWEST)
        return lines_of(recording, opened.recording(number).machine())


def lines_of(
    recording: Recording, machine: Machine | None, damage: Sequence[StoreError] = ()
) -> SpeedLines:
    """See `speed_lines`; pulses need a machine to become speeds."""
    lines: dict[str, Pyramid] = {}
    belts = set()
    for name, edges in recording.edges.items():
        if machine is None or edges.time_s.size <= machine.drive.target_teeth:
            continue
        if edges.kind is not ChannelKind.BELT:
            continue
        lines[name] = _of_pulses(edges.time_s, machine)
        belts.add(name)
    for name, track in recording.speeds.items():
        known = np.isfinite(track.speed_mps) & np.isfinite(track.time_s)
        if track.timed and known.any():
            time_s, speed_mps = track.time_s[known], track.speed_mps[known]
            order = np.argsort(time_s, kind="stable")
            time_s = time_s[order]
            lines[name] = Pyramid(time_s, speed_mps[order], _pause_s(time_s))
    notes = [*damage_sentences(damage), *recording.warnings]
    if recording.edges and machine is None:
        notes.append(_("Without a machine its pulses cannot be shown as speeds."))
    return SpeedLines(lines, frozenset(belts), notes)


def _of_pulses(time_s: Floats, machine: Machine) -> Pyramid:
    """A whole turn each: tooth spacing errors cancel, and no cleaning is needed to look."""
    teeth = machine.drive.target_teeth
    turn_s = time_s[teeth:] - time_s[:-teeth]
    speed_mps = teeth * metres_per_pulse(machine).value_m / np.maximum(turn_s, 1e-9)
    pause_s = _pause_s(time_s)
    for end in np.flatnonzero(np.diff(time_s) > pause_s).tolist():
        # A turn with a pause in it has no speed.
        speed_mps[max(end + 1 - teeth, 0) : end + 1] = math.nan
    return Pyramid(time_s[teeth:], speed_mps, pause_s)


def _pause_s(time_s: Floats) -> float:
    """From here on a signal counts as paused: as it counts as lost while it is live."""
    steps_s = np.diff(time_s)
    usual_s = float(np.median(steps_s[:: 1 + steps_s.size // _LOOKED_AT])) if steps_s.size else 0.0
    return max(SILENT_S, 4 * usual_s)
