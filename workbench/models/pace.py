"""Belt and ground distance at this very moment, for the pace strip.

Between two values a distance goes on at the last speed, for as long as values usually
take to come; once a signal counts as lost it stands.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from workbench.jobs import channels
from workbench.live.health import DoubtSays
from workbench.live.streams import Stream
from workbench.models.bench import Bench
from workbench.words.language import _
from workbench.words.words import Words


@dataclass(frozen=True, slots=True)
class PaceNow:
    """Distances since the inputs were opened, in metres, and speeds now; why one is doubtful."""

    belt_m: float
    ground_m: float
    belt_mps: float
    ground_mps: float
    belt_lost: bool
    ground_lost: bool
    belt_doubt: DoubtSays | None = None
    ground_doubt: DoubtSays | None = None

    @property
    def doubtful(self) -> bool:
        """Whether belt and ground cannot be compared by what comes in now."""
        return self.belt_doubt is not None or self.ground_doubt is not None


class PaceModel:
    """Chooses the belt's and the ground's stream, and carries them on between values."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench

    def belts(self) -> list[Stream]:
        """Streams that may tell the belt's speed, the first to be taken first."""
        return channels.belts(self._bench.live.streams.values(), Stream.has_been_heard)

    def grounds(self) -> list[Stream]:
        """Streams that may tell the ground's speed, the most trusted first."""
        now_s, streams = self._bench.clock(), self._bench.live.streams.values()
        usable = {one.name: not (one.silent(now_s) or one.noisy) for one in streams}
        return channels.grounds(streams, self.belt(), lambda one: usable[one.name])

    def belt(self) -> Stream | None:
        """The stream that tells the belt's speed: the chosen one, or the first there is."""
        belts = self.belts()
        chosen = [one for one in belts if one.name == self._bench.belt_source]
        return next(iter(chosen), None) or channels.belt(belts, Stream.has_been_heard)

    def ground(self) -> Stream | None:
        """The chosen stream of the ground's speed, or the most trusted that can be used."""
        speeds = self.grounds()
        chosen = [one for one in speeds if one.name == self._bench.ground_source]
        return next(iter(chosen or speeds), None)

    def now(self) -> PaceNow:
        """Both, carried on to this moment."""
        return self.of(self.belt(), self.ground())

    def of(self, belt: Stream | None, ground: Stream | None) -> PaceNow:
        """These two, carried on to this moment."""
        now_s = self._bench.clock()
        belt_m, belt_mps, belt_lost = _carried(belt, now_s)
        ground_m, ground_mps, ground_lost = _carried(ground, now_s)
        doubts = (_doubt(belt, belt_lost), _doubt(ground, ground_lost))
        return PaceNow(belt_m, ground_m, belt_mps, ground_mps, belt_lost, ground_lost, *doubts)


def doubt_words(doubt: DoubtSays) -> str:
    """'▲ misses teeth': what is doubtful, with a shape, for wherever it is shown."""
    return f"{'◆' if doubt is DoubtSays.EXTRA_PULSES else '▲'} {Words().say(doubt)}"


def doubts_of(pace: PaceNow) -> tuple[str, str]:
    """The belt's and the ground's doubt in words, '' where there is none."""
    belt, ground = (
        "" if one is None else Words().say(one) for one in (pace.belt_doubt, pace.ground_doubt)
    )
    return belt, ground


def doubt_sentence(pace: PaceNow) -> str:
    """What is to be done before belt and ground can be compared; '' where they can be."""
    if pace.belt_doubt is not None:
        told = _("The belt's signal is doubtful ({says}): mend that first, see Signals.")
        return told.format(says=Words().say(pace.belt_doubt))
    if pace.ground_doubt is not None:
        told = _("The ground's speed is doubtful ({says}): choose another source.")
        return told.format(says=Words().say(pace.ground_doubt))
    return ""


def _doubt(stream: Stream | None, lost: bool) -> DoubtSays | None:
    return None if stream is None or lost else stream.doubt


def _carried(stream: Stream | None, now_s: float) -> tuple[float, float, bool]:
    if stream is None or stream.silent(now_s) or not math.isfinite(stream.speed_mps):
        return (stream.distance_m if stream else 0.0), math.nan, True
    on_s = min(max(stream.age_s(now_s), 0.0), 2 * stream.pause_s)
    return stream.distance_m + on_s * stream.speed_mps, stream.speed_mps, False
