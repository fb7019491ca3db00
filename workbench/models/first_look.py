"""What a person should know as the bench comes up: a store that was made, recordings that were
broken off, a home that keeps nothing."""

from __future__ import annotations

import threading
from datetime import datetime
from pathlib import Path

from workbench.base.errors import BenchError
from workbench.models.bench import Bench
from workbench.models.settings import Settings
from workbench.words.language import _
from workbench.words.words import Words

AGAIN_S = 12.0
"""By then a recording that seems to run, its writer killed just before, is seen to stand still."""


def homeless(settings: Settings, log_file: Path | None) -> str:
    """A sentence on what cannot be kept in the user's folders, '' where all can."""
    problem = settings.write()
    if problem is not None:
        return _("Settings are not kept after the window is closed: {problem}").format(
            problem=Words().say(problem)
        )
    if log_file is None:
        return _("The program's log cannot be written: its folder may not be written by you.")
    return ""


def look_at_store(
    bench: Bench, ended: threading.Event, again_s: float = AGAIN_S
) -> threading.Thread:
    """Make the store where there is none and tell what is to be said of it, without waiting for
    it; until `ended` is set."""

    def work() -> None:
        try:
            told = _look(bench, set())
            if not ended.wait(again_s):
                _look(bench, told)
        except BenchError as error:
            bench.tell(Words().say(error))

    thread = threading.Thread(target=work, name="first look", daemon=True)
    thread.start()
    return thread


def _look(bench: Bench, known: set[int]) -> set[int]:
    """Tell which recordings were broken off, but for the known ones; the numbers of both."""
    from workbench.records.store import open_store

    with open_store(bench.store) as store:
        if store.is_new:
            bench.tell(
                _("A new store was made for records: {address}").format(address=store.address)
            )
        found = [one for one in store.recordings() if one.state == "interrupted" and not one.sha256]
    known = known | bench.recording.under_way
    broken = _(
        "Recording {number} ({name}) was broken off. What was stored until then is kept: "
        "{length_s:.0f} s."
    )
    for one in found:
        if one.number not in known:
            begun, last = map(datetime.fromisoformat, (one.started_utc, one.last_utc))
            length_s, name = (last - begun).total_seconds(), one.title or one.name
            bench.tell(broken.format(number=one.number, name=name, length_s=length_s))
    return known | {one.number for one in found}
