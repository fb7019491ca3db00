"""Why a recording ended."""

from __future__ import annotations

from enum import StrEnum, auto


class EndSays(StrEnum):
    """Why a recording ended; the values are stored."""

    STOPPED_BY_PERSON = auto()
    OTHER_INPUTS_CHOSEN = auto()
    OTHER_MACHINE_CHOSEN = auto()
    PROGRAM_CLOSED = auto()
    STORE_FAILED = auto()
    PASS_OVER = auto()
    RUN_OVER = auto()
    RAMP_OVER = auto()
    RAMP_DROPPED = auto()
    TIME_OVER = auto()
    ALL_READ = auto()


_KNOWN = {str(one): one for one in EndSays} | {
    "stopped by the person": EndSays.STOPPED_BY_PERSON,
    "other inputs were chosen": EndSays.OTHER_INPUTS_CHOSEN,
    "another machine was chosen": EndSays.OTHER_MACHINE_CHOSEN,
    "the program was closed": EndSays.PROGRAM_CLOSED,
    "the store failed": EndSays.STORE_FAILED,
    "the pass is over": EndSays.PASS_OVER,
    "the run is over": EndSays.RUN_OVER,
    "the ramp is over": EndSays.RAMP_OVER,
    "the ramp was dropped": EndSays.RAMP_DROPPED,
    "the time is over": EndSays.TIME_OVER,
    "all was read": EndSays.ALL_READ,
}
"""Each by its stored value, by what the first versions stored, and by what inputs say."""

_BETWEEN = "; "


def end_of(text: str) -> EndSays | str:
    """One reason by its stored value or the words of the first versions; any other, such as a
    device's error, as it is."""
    return _KNOWN.get(text, text)


def ends_of(stored: str) -> tuple[EndSays | str, ...]:
    """The reasons that a store holds for the end of one recording."""
    return tuple(end_of(part) for part in stored.split(_BETWEEN) if part)


def stored_ends(reasons: list[str]) -> str:
    """Several inputs' reasons as a store holds them, each once."""
    return _BETWEEN.join(dict.fromkeys(str(end_of(reason)) for reason in reasons if reason))
