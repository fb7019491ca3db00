"""CAN logs that python-can reads: .asc .blf .csv .trc and, with asammdf, .mf4.

Its readers give up at the first line they do not understand; here they are started anew
behind it, so that a damaged log still gives what is sound in it.
"""

from __future__ import annotations

import gc
import importlib.util
import logging
import os
import re
import sys
import warnings
import zlib
from collections.abc import Callable, Generator, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import chain, islice
from typing import Any, BinaryIO, cast

import can
import numpy as np

from drivers.can.logs import BusLog
from drivers.can.tractor_messages import split_id
from drivers.contract import FileRefused, Item, Note, Notes
from drivers.source_file import SourceFile, shown

_BATCH = 50_000
_MOST_READ_BYTES = 1 << 24
"""Longer than any object of a BLF log; a container of a log is 128 KB, common practice."""
_MOST_UNPACKED_BYTES = 1 << 26
_MOST_HEADER_LINES = 1000
_MOST_STAMP_S = 1e11
"""Past any clock of seconds since 1970; an infinite stamp, or none, is no time either."""
_LEAST_BLF_OBJECT = 32
_CONTAINER, _PACKED = (10).to_bytes(4, "little"), 2
_LOGGERS = ("can", "asammdf")


def read_asc(file: SourceFile, notes: Notes) -> Iterator[list[Item]]:
    """Blocks of an ASC log. Raises FileRefused where no frame could be read."""
    return _read_text(can.ASCReader, "ASC log of a CAN bus", file, notes)


def read_trc(file: SourceFile, notes: Notes) -> Iterator[list[Item]]:
    """Blocks of a TRC log. Raises FileRefused where no frame could be read."""
    return _read_text(can.TRCReader, "TRC log of a CAN bus", file, notes)


def read_can_csv(file: SourceFile, notes: Notes) -> Iterator[list[Item]]:
    """Blocks of python-can's CSV log. Raises FileRefused where no frame could be read."""
    return _read_text(can.CSVReader, "CSV log of a CAN bus by python-can", file, notes)


def read_blf(file: SourceFile, notes: Notes) -> Iterator[list[Item]]:
    """Blocks of a BLF log. Raises FileRefused where no frame could be read."""
    with file.path.open("rb") as binary:
        measured = cast(Any, _CountedLog(binary, file))
        yield from _read_binary(_BlfReader, measured, file, notes, "BLF")


def read_mf4(file: SourceFile, notes: Notes) -> Iterator[list[Item]]:
    """Blocks of an MF4 log. Raises FileRefused where no frame could be read."""
    if importlib.util.find_spec("asammdf") is None:
        found = "it is an MF4 log, and the library that reads those is not installed"
        raise FileRefused(file.path, found, "the extra 'mf4': pip install 'evenpace[mf4]'")
    with _dropped_in_silence():
        yield from _read_binary(can.MF4Reader, str(file.path), file, notes, "MF4")


class _Lines:
    """What a reader of python-can takes for an open text file, restartable behind a line."""

    def __init__(self, file: SourceFile) -> None:
        self._fresh: Iterator[bytes] = (
            line for _, chunk in file.lines() for line in chunk.splitlines()
        )
        self._header: list[str] = []
        self._again: Iterator[tuple[int, str]] = iter(())
        self._in_header = True
        self._handed = 0
        self._restarted_at = 0
        self.number = 0
        self.line = ""

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        again = next(self._again, None)
        if again is not None:
            self._handed = again[0]
            return again[1]
        self.line = next(self._fresh).decode("utf-8", "replace")
        self.number += 1
        # A frame's line begins with its time or number; what stands before is the header.
        self._in_header &= self.number == 1 or not re.match(r"\s*\d", self.line)
        self._in_header &= self.number <= _MOST_HEADER_LINES
        if self._in_header:
            self._header.append(self.line)
        return self.line

    def restart(self) -> bool:
        """Hand out the header again before the lines that are left; False if none are.

        A line of the header at which the reader fails once more is left out from then on, so
        that every restart comes further.
        """
        if self.number == self._restarted_at and self._header:
            del self._header[min(self._handed, len(self._header) - 1)]
        self._restarted_at = self.number
        line = next(self._fresh, None)
        if line is None:
            return False
        self._fresh = chain([line], self._fresh)
        self._again = enumerate(list(self._header))
        return True

    def close(self) -> None:
        """The readers close what they read; the file closes itself at its end."""


class _CountedLog:
    """A BLF log as its reader takes it: counts what was read, and refuses what would take more
    memory than any sound log does: an object whose length says so, a container whose content
    does, whatever its own header claims."""

    def __init__(self, binary: BinaryIO, file: SourceFile) -> None:
        self._binary, self._file = binary, file
        self._size = max(os.fstat(binary.fileno()).st_size, 1)
        self._container = False
        self.count = 0

    def read(self, size: int) -> bytes:
        if not 0 <= size <= _MOST_READ_BYTES:
            raise ValueError("an object has a senseless length")
        data = self._binary.read(size)
        self.count += len(data)
        if self._container:
            _check_container(data)
            self._file.read_so_far(self.count / self._size)
        self._container = data[:4] == b"LOBJ" and data[12:16] == _CONTAINER
        return data

    def close(self) -> None:
        self._binary.close()


def _check_container(data: bytes) -> None:
    """Raises ValueError where it claims, or holds, more than `_MOST_UNPACKED_BYTES`."""
    method, claimed = int.from_bytes(data[:2], "little"), int.from_bytes(data[8:12], "little")
    if claimed > _MOST_UNPACKED_BYTES:
        raise ValueError("a container has a senseless length")
    if method == _PACKED:
        unpacker = zlib.decompressobj()
        unpacker.decompress(data[16:], _MOST_UNPACKED_BYTES)
        if unpacker.unconsumed_tail:
            raise ValueError("a container has a senseless length")


class _BlfReader(can.BLFReader):
    """The library's reader turns round for ever at an object of no length, and takes a file
    that is cut short for a whole one."""

    def __iter__(self) -> Generator[can.Message, None, None]:
        measured = cast(Any, self.file)
        yield from super().__iter__()
        if measured.count < self.file_size:
            raise ValueError(f"the file ends at byte {measured.count} of {self.file_size}")

    def _parse_data(self, data: bytes) -> Iterator[can.Message]:
        if len(data) > 2 * _MOST_UNPACKED_BYTES:  # what no object took adds up
            raise ValueError("an object never ends")
        at = 0
        while (at := data.find(b"LOBJ", at, at + 8)) >= 0:
            size = int.from_bytes(data[at + 8 : at + 12], "little")
            if size < _LEAST_BLF_OBJECT:
                raise ValueError("an object has a senseless length")
            at += size
        return super()._parse_data(data)


@dataclass(slots=True)
class _Tally:
    """How much could not be read, and what was the first of it."""

    count: int = 0
    first: str = ""

    def add(self, what: str) -> None:
        self.first = self.first or what
        self.count += 1


def _read_text(reader: Any, kind: str, file: SourceFile, notes: Notes) -> Iterator[list[Item]]:
    bus = BusLog(notes, kind)
    lines = _Lines(file)
    wrong = _Tally()
    messages = _text_messages(reader, lines, wrong)
    while batch := list(islice(messages, _BATCH)):
        yield _batch_items(bus, batch)
    first = Note("; the first is {first}", first=wrong.first) if wrong.count else ""
    if not bus.frames:
        raise FileRefused(
            file.path,
            Note("it holds no frame that can be read{first}", first=first),
            f"a readable {kind}",
        )
    if wrong.count:
        notes.rejects["lines not understood"] = wrong.count
        notes.warnings.append(
            Note("{count} of the lines were not understood{first}.", count=wrong.count, first=first)
        )
    bus.finish()


def _text_messages(reader: Any, lines: _Lines, wrong: _Tally) -> Iterator[can.Message]:
    def note_line(*_: object) -> None:
        wrong.add(f"line {lines.number}, '{shown(lines.line.encode())}'")

    with _listening(note_line):
        more = True
        while more:
            more = False
            try:
                for message in reader(lines):
                    whole = message.is_remote_frame or len(message.data) == message.dlc
                    if whole and abs(message.timestamp) <= _MOST_STAMP_S:
                        yield message
                    else:
                        note_line()
            except Exception:  # whatever a reader makes of a damaged line
                note_line()
                more = lines.restart()


def _read_binary(
    reader: Any, opened: Any, file: SourceFile, notes: Notes, name: str
) -> Iterator[list[Item]]:
    kind = Note("{name} log of a CAN bus", name=name)
    bus = BusLog(notes, kind)
    damage = _Tally()
    messages = _binary_messages(reader, opened, damage)
    while batch := list(islice(messages, _BATCH)):
        yield _batch_items(bus, batch)
    why = f" ({damage.first})" if damage.count else ""
    if not bus.frames:
        raise FileRefused(
            file.path,
            Note("it holds no CAN frame that can be read{why}", why=why),
            f"a readable {kind}",
        )
    if damage.count:
        notes.rejects["damaged parts"] = damage.count
        notes.warnings.append(Note("Something of the file could not be read{why}.", why=why))
    for _ in file.chunks():
        pass  # its hash is taken on the way
    bus.finish()


def _binary_messages(reader: Any, opened: Any, damage: _Tally) -> Iterator[can.Message]:
    with _listening(damage.add):
        try:
            with reader(opened) as messages:
                for message in messages:
                    if abs(message.timestamp) <= _MOST_STAMP_S:
                        yield message
                    else:
                        damage.add("a frame has no time")
        except Exception as error:  # whatever a reader makes of damaged bytes
            damage.add(str(error) or "its structure is damaged")


class _Complaints(logging.Handler):
    """What a reader writes into its log where it leaves something out."""

    def __init__(self, note: Callable[[str], None]) -> None:
        super().__init__(logging.WARNING)
        self._note = note

    def emit(self, record: logging.LogRecord) -> None:
        said, _, _ = record.getMessage().partition("Traceback (most recent call last)")
        self._note(said.strip(": \n"))


@contextmanager
def _dropped_in_silence() -> Iterator[None]:
    """asammdf's half-made objects of a damaged file print a traceback when they go, and warn
    that they leave it open."""
    hook, sys.unraisablehook = sys.unraisablehook, lambda _: None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)
        try:
            yield
        finally:
            gc.collect()
            sys.unraisablehook = hook


@contextmanager
def _listening(note: Callable[[str], None]) -> Iterator[None]:
    """Hear the readers' complaints, instead of letting them out on the person's screen."""
    loggers = [logging.getLogger(name) for name in _LOGGERS]
    before = [(logger.handlers, logger.propagate) for logger in loggers]
    for logger in loggers:
        logger.handlers, logger.propagate = [_Complaints(note)], False
    try:
        yield
    finally:
        for logger, (handlers, propagate) in zip(loggers, before, strict=True):
            logger.handlers, logger.propagate = handlers, propagate


def _batch_items(bus: BusLog, batch: list[can.Message]) -> list[Item]:
    j1939 = [m.is_extended_id and not (m.is_remote_frame or m.is_error_frame) for m in batch]
    pgn, sender = split_id(np.array([m.arbitration_id & 0x1FFFFFFF for m in batch], np.uint32))
    data = b"".join([bytes(m.data[:8]).ljust(8, b"\xff") for m in batch])
    return bus.items(
        np.where(j1939, pgn, -1).astype(np.int32),
        sender,
        np.frombuffer(data, np.uint8).reshape(-1, 8),
        np.array([m.timestamp for m in batch], np.float64),
    )
