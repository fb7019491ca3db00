"""What is plugged in, found by listening in the background; and the simulator's scenarios."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from drivers.catalogue import listing
from drivers.plugged import Found, can_channels, hear_can, hear_ports, serial_ports
from workbench.models.observable import Observable
from workbench.words.language import _


@dataclass(frozen=True, slots=True)
class Offer:
    """One input that can be used, as a person knows it.

    `address` is '' where only its `problem` can be told. `about` says what comes from it,
    `rehearses` which job a simulated one is for.
    """

    address: str
    name: str
    about: str
    problem: str = ""
    rehearses: str = ""

    @property
    def simulated(self) -> bool:
        return self.address.startswith("sim:")


Hear = Callable[[Sequence[str]], Sequence[Found]]


def listen(in_use: Sequence[str]) -> Sequence[Found]:
    """Listen to every port and channel that is free for about a second."""
    return [
        *_listen(serial_ports(), hear_ports, in_use),
        *_listen(can_channels(), hear_can, in_use),
    ]


def _listen(
    there: Sequence[Found], hear: Callable[[Sequence[Found]], list[Found]], in_use: Sequence[str]
) -> list[Found]:
    """What is in use here is named and left alone: opening it again would only be refused."""
    held = {one.name: address for one in there for address in in_use if _is_at(address, one.name)}
    heard = hear([one for one in there if one.name not in held])
    mine = [
        replace(one, looks_like=_("in use here"), address=held[one.name])
        for one in there
        if one.name in held
    ]
    return sorted([*heard, *mine], key=lambda one: one.name)


def _is_at(address: str, name: str) -> bool:
    """Whether an input address reads the port or channel of that name."""
    place = address.partition("?")[0]
    return place.endswith((f":{name}", f"@{name}"))


class PluggedModel(Observable):
    """`find` listens in a thread of its own; `take` is asked each frame for the outcome."""

    def __init__(self, hear: Hear = listen) -> None:
        super().__init__()
        self._hear = hear
        self._thread: threading.Thread | None = None
        self._heard: Sequence[Found] | None = None
        self.found: list[Offer] = []
        self.searched = False

    @cached_property
    def simulated(self) -> list[Offer]:
        """The simulator's scenarios."""
        return [
            Offer(one.address, one.title, one.about, rehearses=one.rehearses)
            for one in listing("sim")
        ]

    @property
    def listening(self) -> bool:
        return self._thread is not None

    def find(self, in_use: Sequence[str] = ()) -> None:
        """Begin to listen to all that is not among the addresses `in_use`."""
        if self._thread is None:
            self._thread = threading.Thread(
                target=self._listen, args=(tuple(in_use),), name="finder", daemon=True
            )
            self._thread.start()
            self.changed()

    def take(self) -> None:
        """Show what was heard, once it is there."""
        if self._thread is None or self._heard is None:
            return
        self._thread.join()
        self._thread = None
        found, self._heard = self._heard, None
        self.found = [
            Offer(one.address, f"{one.name}: {one.what}", one.looks_like, one.problem)
            for one in found
        ]
        self.searched = True
        self.changed()

    def _listen(self, in_use: Sequence[str]) -> None:
        try:
            self._heard = self._hear(in_use)
        except Exception as error:  # a defect of a back end must not leave 'listening' for ever
            self._heard = [Found(_("Listening failed"), "", problem=str(error))]
