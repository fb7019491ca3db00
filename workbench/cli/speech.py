"""What a command writes, fit for whatever it is written to: a terminal, a pipe, a full disk."""

from __future__ import annotations

import codecs
import os
import sys

NEAREST = {"−": "-", "→": "->", "←": "<-", "≤": "<=", "≥": ">=", "…": "...", "·": ".", "–": "-"}
"""What stands for a sign that an encoding has not; anything else becomes '?'."""


def use_nearest_signs() -> None:
    """Let no sign stop a command: one that stdout or stderr cannot take is written as its
    nearest."""
    codecs.register_error("nearest", _nearest)
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="nearest")


def _nearest(error: UnicodeError) -> tuple[str, int]:
    assert isinstance(error, UnicodeEncodeError)
    signs = error.object[error.start : error.end]
    nearest = (NEAREST.get(sign, "?") for sign in signs)
    return "".join(nearest).encode("ascii", "replace").decode(), error.end


def close_quietly() -> None:
    """After whoever reads stdout has gone: let Python's own flush at its end find nothing."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (OSError, ValueError):  # stdout is no file, as in a test
        return
