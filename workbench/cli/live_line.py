"""The one line that a running recording shows on a terminal."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from typing import TextIO

from workbench.live.session import InputState, InputStatus
from workbench.words.language import _, ngettext
from workbench.words.words import Words

_EVERY_S = 1.0
_SILENT_S = 2.0
"""A counter speaks at least every second; twice that is worth a word."""


class LiveLine:
    """Time, rates and losses, redrawn in place; nothing where `stream` is no terminal."""

    def __init__(self, stream: TextIO, clock: Callable[[], float]) -> None:
        self._stream, self._clock = stream, clock
        self._on = not stream.closed and stream.isatty()
        self._start_s = clock()
        self._last_s = self._start_s
        self._counts: dict[str, tuple[int, int]] = {}
        self._rates: dict[str, tuple[float, float]] = {}

    def show(self, statuses: Sequence[InputStatus]) -> None:
        if not self._on:
            return
        now_s = self._clock()
        if now_s - self._last_s >= _EVERY_S:
            self._measure(statuses, now_s - self._last_s)
            self._last_s = now_s
        width = shutil.get_terminal_size().columns - 1
        text = self.text(statuses, now_s)
        self._write("\r" + text[:width].ljust(width))

    def end(self) -> None:
        """Leave the line standing and go to the next."""
        if self._on:
            self._write("\n")

    def say(self, sentence: str) -> None:
        """A sentence on a line of its own, also where `stream` is no terminal."""
        self.end()
        self._write(f"{sentence}\n")

    def _write(self, text: str) -> None:
        """A terminal that went away costs the line, never the recording."""
        try:
            self._stream.write(text)
            self._stream.flush()
        except (OSError, ValueError):
            self._on = False

    def text(self, statuses: Sequence[InputStatus], now_s: float) -> str:
        """The line: '12.3 s | counter:/dev/ttyACM0 2000 pulses/s | lost 0 | …'."""
        lost = sum(status.lost for status in statuses)
        holes = sum(status.holes for status in statuses)
        counts = ngettext("lost {lost} in {holes} hole", "lost {lost} in {holes} holes", holes)
        said = (counts if holes else _("lost {lost}")).format(lost=lost, holes=holes)
        inputs = [self._input(status, now_s) for status in statuses]
        return " | ".join([f"{now_s - self._start_s:.1f} s", *inputs, said])

    def _input(self, status: InputStatus, now_s: float) -> str:
        if status.state is not InputState.RUNNING:
            state = Words().say(status.state)
            return f"{status.address} {state}: {status.reason}".removesuffix(": ")
        silent_s = now_s - status.last_host_s
        if silent_s > _SILENT_S:
            silent = _("silent for {silent_s:.0f} s").format(silent_s=silent_s)
            return f"{status.address} {silent}"
        if status.address not in self._rates:
            return status.address
        edges, items = self._rates[status.address]
        rate = _("{rate:.0f} pulses/s") if status.edges else _("{rate:.0f} blocks/s")
        return f"{status.address} {rate.format(rate=edges if status.edges else items)}"

    def _measure(self, statuses: Sequence[InputStatus], passed_s: float) -> None:
        for status in statuses:
            edges, items = self._counts.get(status.address, (0, 0))
            self._rates[status.address] = (
                (status.edges - edges) / passed_s,
                (status.items - items) / passed_s,
            )
            self._counts[status.address] = (status.edges, status.items)
