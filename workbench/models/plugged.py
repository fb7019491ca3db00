"""What is plugged in, found by listening in the background; and the simulator's scenarios."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from drivers.catalogue import listing
from drivers.plugged import Found, can_channels, hear_can, hear_ports, serial_ports
from workbench.models.observable import Observable


@dataclass(frozen=True, slots=True)
class Offer:
    """One input that can be used. `address` is '' where only its problem can be told."""

    address: str
    words: str
    problem: str = ""


Hear = Callable[[], Sequence[Found]]


def listen() -> Sequence[Found]:
    """Listen to every port and channel for about a second."""
    return [*hear_ports(serial_ports()), *hear_can(can_channels())]


class PluggedModel(Observable):
    """`find` listens in a thread of its own; `take` is asked each frame for the outcome."""

    def __init__(self, hear: Hear = listen) -> None:
        super().__init__()
        self._hear = hear
        self._thread: threading.Thread | None = None
        self._heard: Sequence[Found] | None = None
        self.offers: list[Offer] = [Offer(address, words) for address, words, _ in listing("sim")]

    @property
    def listening(self) -> bool:
        return self._thread is not None

    def find(self) -> None:
        """Begin to listen."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._listen, name="finder", daemon=True)
            self._thread.start()
            self.changed()

    def take(self) -> None:
        """Show what was heard, once it is there."""
        if self._thread is None or self._heard is None:
            return
        self._thread.join()
        self._thread = None
        found, self._heard = self._heard, None
        offers = [
            Offer(one.address, f"{one.name}: {one.looks_like or one.what}", one.problem)
            for one in found
        ]
        simulated = [offer for offer in self.offers if offer.address.startswith("sim:")]
        self.offers = [*offers, *simulated]
        self.changed()

    def _listen(self) -> None:
        try:
            self._heard = self._hear()
        except Exception as error:  # a defect of a back end must not leave 'listening' for ever
            self._heard = [Found("Listening failed", "", problem=str(error))]
