"""What is to be said, as data: which statement, and with which quantities.

A statement is worded at the very last, in the person's language and units, by
`workbench.words`; nothing decides by its wording. A value's name ends in its unit (`gap_m`,
`speed_mps`, `change_rel`: a share), names and counts have none.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TypeAlias


@dataclass(frozen=True, slots=True)
class PlusMinus:
    """A quantity in SI with its expanded uncertainty, NaN where that is not known."""

    value: float
    U: float


@dataclass(frozen=True, slots=True)
class Statement:
    """One thing to say. `what` is a member of an enumeration of the room that says it."""

    what: str
    values: Mapping[str, Value] = field(default_factory=dict)

    def __hash__(self) -> int:
        return hash((self.what, tuple(self.values.items())))


Value: TypeAlias = "float | str | bool | PlusMinus | Statement | tuple[Value, ...]"


def statement(what: StrEnum, /, **values: Value) -> Statement:
    """`what`, a member of a room's enumeration, with its quantities."""
    return Statement(what, values)


class MessageSays(StrEnum):
    """What brings its own template along."""

    MESSAGE = "message"


def message(template: str, /, **values: Value) -> Statement:
    """What a driver or an error says, with a `template` of its own in place of a name."""
    return Statement(MessageSays.MESSAGE, {"template": template, **values})


def as_written(text: str) -> Statement:
    """A sentence of a driver, or a finished one that an earlier program stored."""
    return message(getattr(text, "template", text), **getattr(text, "values", {}))


def is_as_written(said: Statement) -> bool:
    """Whether it is a finished sentence, which cannot be compared with a statement."""
    return said.what == MessageSays.MESSAGE and len(said.values) == 1
