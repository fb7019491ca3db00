"""Any recorded file: its format found from its content, its items, a whole `Recording`."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

from drivers.contract import AddressError, BaseDriver, Clock, FileRefused, Item, Notes, Recording
from drivers.recording import collect
from drivers.source_file import SourceFile
from drivers.tables import read_edge_table, read_speed_table

Reader = Callable[[SourceFile, Notes], Iterator[list[Item]]]


def read_recording(path: Path | str) -> Recording:
    """A whole file, whatever its format. Raises FileRefused."""
    return collect(FileDriver(str(path), {}), float("inf"))


class FileDriver(BaseDriver):
    """`file:PATH`: a recorded file as blocks, as fast as they can be read."""

    def __init__(self, rest: str, options: dict[str, str], clock: Clock = time.monotonic) -> None:
        super().__init__(f"file:{rest}", clock)
        if options:
            raise AddressError(f"'{self.address}' takes no options, found {', '.join(options)}.")
        self.path = Path(rest)
        self._items: Iterator[list[Item]] = iter(())

    def _open(self) -> None:
        self._file = SourceFile(self.path)
        self._items = recognise(self._file)(self._file, self.notes)

    def _read_some(self, timeout_s: float) -> list[Item]:
        items = next(self._items, None)
        if items is None:
            self.notes.sha256 = self._file.sha256
            self.ended = True
        return items or []

    def _close(self) -> None:
        self._items = iter(())


def recognise(file: SourceFile) -> Reader:
    """The reader for a file's content. Raises FileRefused where it is none that is known."""
    header = file.head.removeprefix(b"\xef\xbb\xbf").lstrip().split(b"\n", 1)[0]
    if b"speed_mps" in header:
        return read_speed_table
    if b"channel" in header:
        return read_edge_table
    raise FileRefused(file.path, "its content is of no format known here", "a recording")
