"""The pictures of the page Signals: speeds of the last minutes, and single edges tooth by tooth."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping

import numpy as np

from workbench.base.numbers import plain
from workbench.live.health import EdgeLook
from workbench.live.streams import HISTORY_S, SILENT_S, Stream
from workbench.words.language import _, ngettext
from workbench.words.pictures.picture import (
    AGO,
    Axis,
    Band,
    Bars,
    Column,
    Mark,
    Panel,
    Picture,
    Points,
    Trace,
)
from workbench.words.pictures.pyramid import Pyramid

SHOWN_S = 120.0
LEAST_MPS = 0.05
SHADES = (0.0, 0.35, 0.6)
"""Lines of one kind go from its colour towards the ink."""
OFF = 0.06
"""Teeth this much off the median time have their share written; chosen."""
MOST_NOTES = 8
USUAL_TOP, HIGH_TOP = 1.5, 2.6
"""The axis reaches so many medians; higher where an interval is more than the first."""


def speed_panel(lines: Mapping[str, Pyramid], is_belt: Iterable[str], width: float = 2.0) -> Panel:
    """Speeds by name: belts in the belt's colour, each of a kind in a shade of its own."""
    belts, alike, traces = set(is_belt), Counter[str](), []
    for name, line in lines.items():
        role = "belt" if name in belts else "earth"
        shade = SHADES[alike[role] % len(SHADES)]
        traces.append(Trace(name, line, role, shade, width))
        alike[role] += 1
    return Panel(Axis(_("speed"), "speed"), tuple(traces), least=LEAST_MPS)


def strip_picture(streams: Mapping[str, Stream], now_s: float) -> Picture:
    """The streams' last two minutes, now on the right; further back by looking there."""
    lines = {}
    for name, stream in streams.items():
        time_s, speed_mps = stream.history(now_s - HISTORY_S)
        if time_s.size:
            pause_s = max(SILENT_S, 4 * stream.pause_s)
            lines[name] = Pyramid(time_s - now_s, speed_mps, pause_s)
    panel = speed_panel(lines, (name for name in streams if streams[name].is_pulses))
    return Picture(Axis(_("time, 0 is now"), AGO), (panel,), ends=(-SHOWN_S, 0.0))


def edge_picture(look: EdgeLook, teeth: int, shown: int) -> Picture:
    """The last `shown` teeth as bars; `teeth` a turn number them, 0 where it is not known.

    There must be an edge in the look.
    """
    first = int(look.tooth[-1]) - shown + 1
    place = (look.tooth - first + 1).astype(np.float64)
    running = np.arange(first, first + shown)
    numbers = running % teeth + 1 if teeth else running + 1
    median_s = look.median_s
    high = float(look.interval_s.max()) > 0.93 * USUAL_TOP * median_s
    top_s = (HIGH_TOP if high else USUAL_TOP) * median_s
    extra = look.extra_at - first + 1.5  # a tooth stands at the end of its interval
    extra = extra[(extra >= 1.0) & (extra <= shown + 0.5)]
    digits = max(0, 2 - math.floor(math.log10(1000 * median_s)))
    median = _("median {number} ms").format(number=plain(1000 * median_s, digits))
    panel = Panel(
        Axis(_("from pulse to pulse"), "milliseconds"),
        points=(
            Points(
                _("extra"),
                extra,
                np.full(extra.size, 0.06 * top_s),
                role="bad",
                odd=np.ones(extra.size, dtype=bool),
                read_out=False,
            ),
        ),
        bars=(_bars(look, place),),
        bands=(Band(median_s, median_s, median, "ink", shaded=False),),
        include=(0.0, top_s),
        exact=True,
    )
    words = _("tooth, counted from the first that was seen") if teeth else _("pulse")
    axis = Axis(words, numbers=numbers, one=_("tooth") if teeth else _("pulse"))
    marks = [Mark(float(at) + 0.5, role="no_data") for at in np.flatnonzero(numbers == 1)]
    tooth = look.tooth.astype(np.float64)
    head, missed = _("running tooth"), look.missed.astype(np.float64)
    number = tooth % teeth + 1 if teeth else tooth + 1
    return Picture(
        axis,
        (panel,),
        tuple(marks if teeth else []) + tuple(_missed(look, place)),
        ends=(0.5, shown + 0.5),
        table=(
            Column(head, place, _("tooth of the turn"), number, 1.0, tooth),
            Column(head, place, _("time from the pulse before, ms"), look.interval_s, 1e3, tooth),
            Column(head, place, _("missed before it"), missed, 1.0, tooth),
        ),
    )


def _bars(look: EdgeLook, place: np.ndarray[tuple[int], np.dtype[np.float64]]) -> Bars:
    off = np.where(look.missed > 0, 0.0, look.off_rel)
    farthest = [at for at in np.argsort(-np.abs(off))[:MOST_NOTES].tolist() if abs(off[at]) >= OFF]
    said = [
        _edge_words(1000 * interval_s, missed, off_rel)
        for interval_s, missed, off_rel in zip(
            look.interval_s.tolist(), look.missed.tolist(), look.off_rel.tolist(), strict=True
        )
    ]
    notes = tuple((at, _percent(float(off[at]))) for at in farthest)
    return Bars("", place, look.interval_s, odd=look.missed > 0, said=tuple(said), notes=notes)


def _edge_words(interval_ms: float, missed: int, off_rel: float) -> str:
    if missed:
        return _("{interval:.2f} ms since the pulse before, {missed} missed in it").format(
            interval=interval_ms, missed=missed
        )
    return _("{interval:.2f} ms, {share} against the median").format(
        interval=interval_ms, share=_percent(off_rel)
    )


def _percent(share: float) -> str:
    """'+15 %', '−3 %', '0 %'."""
    return f"{plain(100 * share, 0, signed=True)} %"


def _missed(look: EdgeLook, place: np.ndarray[tuple[int], np.dtype[np.float64]]) -> Iterable[Mark]:
    """An arrow at each tooth that gave no pulse; the word in the middle of those that follow."""
    for end, missed in zip(place.tolist(), look.missed.tolist(), strict=True):
        for back in range(missed, 0, -1):
            words = ngettext("missed", "{count} missed", missed).format(count=missed)
            middle = back == (missed + 1) // 2
            yield Mark(end - back, words if middle else "", "attention", arrow=True)
