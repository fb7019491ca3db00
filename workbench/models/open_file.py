"""A file that somebody brings: what it holds, what it may be judged from, its answer.

A recording is imported, so that its result can be looked at, verified and reported like every
other; a typed table is kept with its result. Slow: call these away from the screen. All raise
BenchError, InputError, and Cancelled where `progress` does.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from drivers.contract import ChannelKind, Recording
from workbench.base.errors import Message, WrongInput
from workbench.base.machine import Machine
from workbench.calibration.readout.recorded_runs import FLIP_COLUMNS, SHOWN_COLUMNS
from workbench.calibration.readout.run_table import looks_like_run_table
from workbench.jobs import channels
from workbench.jobs.at_hand import judge_table, judge_with_prepared
from workbench.jobs.calibrate.answer import CalibrateOptions
from workbench.jobs.gap.answer import GapOptions
from workbench.jobs.gap.compute import judge_recording, looks_like_gap_table
from workbench.jobs.importing import import_once
from workbench.jobs.keep import Kept
from workbench.jobs.particulars import NOTHING_SAID, Particulars
from workbench.jobs.passes.answer import PassOptions
from workbench.jobs.source import stored_source
from workbench.jobs.table import read_text, table_text
from workbench.models.progress import Progress
from workbench.records.store import open_store
from workbench.words.language import N_

ANY = N_("all of them")
BELT, GROUND, PICKUP, MARK = N_("Belt from"), N_("Ground from"), N_("Pickup"), N_("Mark")
SHOWN, FLIPS = ",".join(SHOWN_COLUMNS), ",".join(FLIP_COLUMNS)
TABLES = {"gap": looks_like_gap_table, "calibrate": looks_like_run_table}
"""Kind of a result -> whether a file's beginning is that of the table it can be typed as."""

Choices = dict[str, tuple[str, ...]]
"""What is to be chosen, in the order in which it is asked -> its names, the likeliest first;
'' for all of them."""


@dataclass(frozen=True, slots=True)
class OpenedFile:
    """What a file holds: a recording, `number` in the store, or a table's `text`.

    `shown` is the name and text of a table that tells what the readout showed meanwhile.
    """

    name: str
    what: str
    number: int | None = None
    text: str = ""
    choices: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    shown: tuple[str, str] = ("", "")


def open_files(
    kind: str, paths: Sequence[Path], store: str | None, machine: Machine | None, progress: Progress
) -> OpenedFile:
    """One file, to be judged as a result of a `kind` ('recording': only to be kept); for a
    calibration also the recording and the table of what the readout showed."""
    beside = [path for path in paths if kind == "calibrate" and _tells_what_was_shown(path)]
    mine = [path for path in paths if path not in beside]
    if len(mine) != 1:
        raise WrongInput(
            "Open one file at a time; for a calibration a recording and, with it, the table "
            "{shown} or {flips}.",
            shown=SHOWN,
            flips=FLIPS,
        )
    path = mine[0]
    shown = (beside[0].name, read_text(beside[0])) if beside else ("", "")
    text = table_text(str(path), TABLES[kind]) if kind in TABLES else None
    if text is not None:
        return OpenedFile(path.name, Message("a typed table").template, text=text)
    with open_store(store) as opened:
        number = import_once(opened, path, machine, progress)
        progress(words=Message("Looking at what it holds …"))
        recording = opened.load_recording(number)
    asked = {"pass": _of_pass, "gap": _of_gap, "calibrate": _of_calibration}
    choices = asked[kind](recording) if kind in asked else {}
    return OpenedFile(path.name, recording.kind, number, choices=choices, shown=shown)


def judge_file(
    kind: str,
    opened: OpenedFile,
    chosen: Mapping[str, str],
    store: str | None,
    machine: Machine | None,
    progress: Progress,
    said: Particulars = NOTHING_SAID,
    *,
    drop_out: bool = False,
) -> int:
    """Judge it by what was chosen, and keep the answer with what is `said` of it; its number."""
    progress(words=Message("Judging {name} …", name=opened.name))
    options = _options(kind, opened, chosen, drop_out=drop_out)
    progress()
    if opened.number is None:
        return _number(judge_table(kind, opened.text, machine, options, store, said)[1])
    source = stored_source(opened.number, machine, store)
    if isinstance(options, GapOptions):
        return _number(judge_recording(source, options, store, said)[1])
    return _number(judge_with_prepared(kind, source, options, said)[1])


def _number(kept: Kept) -> int:
    if kept.trouble is not None:
        raise kept.trouble
    return kept.number or 0


def _options(
    kind: str, opened: OpenedFile, chosen: Mapping[str, str], *, drop_out: bool
) -> PassOptions | GapOptions | CalibrateOptions:
    named = {what: name or None for what, name in chosen.items()}
    if kind == "pass":
        return PassOptions(named.get(BELT), named.get(GROUND))
    table = opened.name if opened.number is None else ""
    pickup, mark = named.get(PICKUP), named.get(MARK)
    if kind == "gap":
        return GapOptions(table_name=table, channel=pickup, mark=mark, drop_out=drop_out)
    name, text = opened.shown
    flips = "direction" in text.partition("\n")[0]
    told: dict[str, Any] = {"flips": text, "flips_name": name} if flips else {}
    told = told or {"shown": text, "shown_name": name}
    return CalibrateOptions(
        table_name=table or opened.name, channel=pickup, lap_channel=mark, **told
    )


def _tells_what_was_shown(path: Path) -> bool:
    heads = (",".join(SHOWN_COLUMNS[:2]), ",".join(FLIP_COLUMNS[:2]))
    return bool(table_text(str(path), lambda head: head.replace(" ", "").startswith(heads)))


def _of_pass(recording: Recording) -> Choices:
    tracks: list[channels.Track] = [*recording.edges.values(), *recording.speeds.values()]
    heard = [one for one in tracks if channels.has_values(one)] or tracks
    belts = channels.belts(heard, channels.has_values)
    grounds = channels.grounds(heard, None, channels.has_values)
    others = [one for one in heard if not one.is_pulses]
    return {
        BELT: _names([*belts, *others]),
        GROUND: _names([*grounds, *others]),
    }


def _of_gap(recording: Recording) -> Choices:
    pickups = _names([*channels.pickups(recording), *recording.edges.values()])
    return {PICKUP: ("", *pickups) if len(pickups) > 1 else pickups, MARK: _marks(recording)}


def _of_calibration(recording: Recording) -> Choices:
    pickups = _names([*channels.pickups(recording), *recording.edges.values()])
    return {PICKUP: pickups, MARK: _marks(recording, (ChannelKind.LAP_MARK,))}


def _marks(
    recording: Recording, kinds: tuple[ChannelKind, ...] = channels.MARKS
) -> tuple[str, ...]:
    return _names(one for one in recording.edges.values() if one.kind in kinds)


def _names(tracks: Iterable[channels.Track]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(one.name for one in tracks))
