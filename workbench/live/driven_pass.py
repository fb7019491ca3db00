"""A pass under way, fed from what its belt and its ground have brought since it began."""

from __future__ import annotations

from collections.abc import Mapping

from workbench.live.streams import Stream
from workbench.match.live import LiveMatch


class DrivenPass:
    """Hands `match` what is new of two streams, each time `follow` is called."""

    def __init__(self, match: LiveMatch, belt: str, ground: str) -> None:
        self.match = match
        self._names = {"belt": belt, "ground": ground}
        self._streams: dict[str, Stream] = {}
        self._begun: dict[str, int] = {}
        self._seen: dict[str, int] = {}

    def follow(self, streams: Mapping[str, Stream], *, begin: bool = False) -> None:
        """Take in what has come; with `begin` only what comes from now on will count."""
        for which, name in self._names.items():
            stream = streams.get(name)
            if stream is None:
                continue
            if self._streams.get(which) is not stream:  # inputs opened anew count from 0
                self._streams[which] = stream
                self._begun[which] = self._seen[which] = 0
            if begin:
                so_far = stream.edges if stream.is_pulses else stream.speeds_after(0)[0]
                self._begun[which] = self._seen[which] = so_far
            elif stream.is_pulses:
                self._edges(which, stream)
            else:
                self._speeds(which, stream)

    def _edges(self, which: str, stream: Stream) -> None:
        again = max(self._begun[which], self._seen[which] - self.match.edges_again)
        passed = stream.pulses.after(again)
        fresh = passed.first + passed.time_s.size - self._seen[which]
        self._seen[which] += fresh
        if fresh:
            self.match.add_edges(passed.time_s, fresh, stream.last_host_s)

    def _speeds(self, which: str, stream: Stream) -> None:
        self._seen[which], (time_s, speed_mps, u_mps) = stream.speeds_after(self._seen[which])
        add = self.match.add_belt if which == "belt" else self.match.add_ground
        add(time_s, speed_mps, stream.last_host_s, u_mps)
