"""The machine each pickup of a list is judged by: held with the pickup, whatever is in use."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from workbench.base.machine import Machine, Pickup, parse_machine


@dataclass(frozen=True, slots=True)
class Held:
    """A machine, None where none is known; `simulated`: the simulator made it up."""

    machine: Machine | None = None
    simulated: bool = False

    @property
    def limits(self) -> Pickup:
        return self.machine.pickup if self.machine else Pickup()

    @property
    def name(self) -> str:
        """The machine's name, '' where none is known."""
        return self.machine.name if self.machine else ""

    @property
    def text(self) -> str:
        """The machine's file, '' where there is none: what tells one machine from another."""
        return self.machine.text if self.machine else ""

    def same_as(self, other: Held) -> bool:
        """Whether both are the same machine."""
        return self.text == other.text


NONE_HELD = Held()


def to_rows(all_held: Iterable[Held]) -> list[list[Any]]:
    """Each machine once, as JSON's own types: its file's text, whether it is simulated."""
    rows = dict.fromkeys((held.text, held.simulated) for held in all_held if held.machine)
    return [list(row) for row in rows]


def from_rows(rows: Sequence[Sequence[Any]]) -> list[Held]:
    """The machines of `to_rows`. Raises WrongInput, TypeError, ValueError where damaged."""
    return [Held(_parsed(text), bool(simulated)) for text, simulated in rows]


@lru_cache(maxsize=256)
def _parsed(text: str) -> Machine:
    return parse_machine(text, "machine")
