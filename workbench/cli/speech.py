"""What a command writes, fit for whatever it is written to: a terminal, a pipe, a full disk."""

from __future__ import annotations

import codecs
import json
import os
import sys
from collections.abc import Iterable
from contextlib import suppress
from typing import Any, TextIO

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


class Aside:
    """stderr, where what cannot be written costs that sentence and nothing else."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        with suppress(OSError, ValueError):
            self._stream.write(text)
            self._stream.flush()
        return len(text)

    def flush(self) -> None:
        """All is written already."""

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def use_steady_streams() -> None:
    """For a program of its own: a stream that was closed before takes all and keeps nothing, and
    whoever stops to read stderr stops no command."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: PTH123, SIM115
    sys.stderr = Aside(sys.stderr)


def end_streams() -> None:
    """The last words, where anybody still listens."""
    try:
        sys.stdout.flush()
    except (OSError, ValueError):
        close_quietly()


def close_quietly() -> None:
    """After whoever reads stdout has gone: let Python's own flush at its end find nothing."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (OSError, ValueError):  # stdout is no file, as in a test
        return


def error_object(errors: Iterable[str], status: int) -> dict[str, Any]:
    """What stands in a command's JSON where something went wrong."""
    return {"error": " ".join(errors), "exit_status": status}


def print_error_object(error: str, status: int) -> None:
    """The one JSON object of a command that has no answer."""
    with suppress(OSError):
        print(json.dumps(error_object([error], status), ensure_ascii=False), flush=True)
