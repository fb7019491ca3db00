"""Files: small ones read whole and no others, writing so that the old one stays until the new
one is whole, and names that are no path."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path

from workbench.base.errors import BenchError, Message, StoreError, WrongInput

_NO_NAME = re.compile(r"[\x00-\x1f\x7f-\x9f<>:\"|?*\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
"""Characters that a name must not hold on Windows, control a terminal or turn what is read."""
_RESERVED = re.compile(r"(con|prn|aux|nul|(com|lpt)[0-9¹²³])(\..*)?", re.IGNORECASE | re.DOTALL)
"""Devices of Windows, with any ending (Microsoft, 'Naming Files, Paths, and Namespaces'; from
memory)."""
_MOST_NAME_BYTES, _MOST_ENDING_BYTES = 200, 20
"""A name may have 255 bytes; `replacing` needs some of them."""
_MOST_JSON_BYTES = 10_000_000


def name_for(machine: str, job: str, ending: str, day: str = "") -> str:
    """'Six-row digger, pass 3, 2026-09-14.pdf': machine, job and day, today's where none is
    given."""
    day = day or datetime.now().astimezone().date().isoformat()
    name = ", ".join(part for part in (machine, job, day) if part)
    return safe_name(re.sub(r"[/\\]", "-", name) + ending)


def safe_name(name: str) -> str:
    """The name of one file in whatever folder, out of a text that nobody vouches for, such as a
    recording's name in a store from elsewhere. Its ending stays."""
    last = _NO_NAME.sub("_", re.split(r"[/\\]", name)[-1]).strip(" .")
    if not last or _RESERVED.fullmatch(last):
        last = f"_{last}"
    stem, dot, ending = last.rpartition(".")
    if not dot or len(ending.encode()) > _MOST_ENDING_BYTES:
        stem, dot, ending = last, "", ""
    room = _MOST_NAME_BYTES - len(f"{dot}{ending}".encode())
    return f"{stem.encode()[:room].decode(errors='ignore')}{dot}{ending}"


def free_name(path: Path) -> Path:
    """`path`, or where there is something already the same with the first number that is free."""
    found, count = path, 1
    while exists(found):
        count += 1
        found = path.with_name(f"{path.stem}-{count}{path.suffix}")
    return found


@contextmanager
def replacing(
    path: Path, refused: type[BenchError] = StoreError, *, sync: bool = True
) -> Iterator[Path]:
    """A file beside `path` to write to, which takes its name and place once it is whole.

    Whatever goes wrong, what was there stays and nothing half written is left. Where the disk
    refuses, that is an error `refused`. Without `sync` the last write may be lost where the
    power fails at once: for small things kept while a person works, who must not wait.
    """
    place = Path(os.path.realpath(path))  # a link goes on pointing to what is written
    if not place.name:
        raise refused(
            "{path} cannot be written: {why}.", path=str(path), why=Message("it is a folder")
        )
    fresh = place.with_name(f".{place.stem}.new{place.suffix}")
    try:
        if exists(place) and not is_file(place):
            yield place  # a pipe or a device holds nothing that could be kept
            return
        yield fresh
        if sync:
            with fresh.open("rb+") as file:
                os.fsync(file.fileno())
        fresh.replace(place)
    except OSError as error:
        why = error.strerror or str(error)
        raise refused("{path} cannot be written: {why}.", path=str(path), why=why) from None
    finally:
        with suppress(OSError):
            fresh.unlink(missing_ok=True)


def write_file(
    path: Path,
    content: str | bytes,
    refused: type[BenchError] = StoreError,
    *,
    sync: bool = True,
) -> Path:
    """Write `content`, text as UTF-8 with its line ends as they are; see `replacing`."""
    with replacing(path, refused, sync=sync) as fresh:
        fresh.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def is_file(path: Path | str) -> bool:
    """Whether there is such a file; False, too, of a name that no file can have or that lies
    where this user may not look, of which pathlib raises an error."""
    return os.path.isfile(path)  # noqa: PTH113


def exists(path: Path | str) -> bool:
    """Whether there is anything of that name, as for `is_file`."""
    return os.path.exists(path)  # noqa: PTH110


def read_bytes(path: Path, most_bytes: int, expected: Message) -> bytes:
    """What a file of at most so many bytes holds.

    Only a file is opened, never a device or a pipe, which may have no end or never begin.
    Raises WrongInput with what was found and what was `expected`.
    """
    try:
        if not path.is_file():
            found = _what_it_is(path)
        elif path.stat().st_size > most_bytes:
            found = Message("it is larger than {most:g} MB", most=most_bytes / 1e6)
        else:
            with path.open("rb") as file:
                return file.read(most_bytes)
    except (OSError, ValueError) as error:
        found = Message("it cannot be read ({why})", why=getattr(error, "strerror", error))
    raise _refusal(path, found, expected)


def read_text(path: Path, most_bytes: int, expected: Message) -> str:
    """The text of a small file, UTF-8 with or without its mark. Raises WrongInput as
    `read_bytes`."""
    try:
        return read_bytes(path, most_bytes, expected).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        found = Message("byte {byte} is not UTF-8 text", byte=error.start)
    raise _refusal(path, found, expected)


def read_json(path: Path, expected: Message) -> object:
    """What a small JSON file of the program's own holds. Raises WrongInput as `read_text`."""
    text = read_text(path, _MOST_JSON_BYTES, expected)
    try:
        return json.loads(text)
    except (ValueError, RecursionError) as error:
        raise _refusal(path, Message("it is not JSON ({why})", why=error), expected) from None


def _refusal(path: Path, found: Message, expected: Message) -> WrongInput:
    return WrongInput(
        "{path}: {found}; expected {expected}.", path=path, found=found, expected=expected
    )


def _what_it_is(path: Path) -> Message:
    if path.is_dir():
        return Message("it is a folder")
    if path.exists():
        return Message("it is a device or a pipe, not a file")
    return Message("there is no such file")
