"""Whom and what a record is for, who worked, and under which conditions.

Kept beside the result it is said of, whole or as it was amended later; each is an entry of the
store's ledger. What belongs to the machine, its serial number above all, stands in its file.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Particulars:
    """What a person says of a record; '' for what nobody said.

    `conditions` are place, weather, oil; `references` what the true values were taken with, and
    how each is traceable.
    """

    customer: str = ""
    field: str = ""
    job: str = ""
    by: str = ""
    conditions: str = ""
    references: tuple[str, ...] = ()
    remarks: str = ""

    @property
    def text(self) -> str:
        """As it is stored; '' where nothing was said."""
        from workbench.jobs.codec import to_text  # every answer's types come with it

        return "" if self == NOTHING_SAID else to_text(self)

    @property
    def view(self) -> dict[str, Any]:
        """What an answer's JSON has of it; empty where nothing was said."""
        from workbench.jobs.codec import to_plain

        return {} if self == NOTHING_SAID else {"particulars": to_plain(self)}


NOTHING_SAID = Particulars()


def particulars_in(text: str) -> Particulars:
    """What was said, from the text stored. Raises StoreError where that is damaged."""
    from workbench.jobs.codec import from_text

    return from_text(text, Particulars) if text else NOTHING_SAID
