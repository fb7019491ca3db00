"""Any recorded file: its format found from its content, its items, a whole `Recording`."""

from __future__ import annotations

import inspect
import math
import re
import time
from collections.abc import Callable, Iterator
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import cast

from drivers.can.logs import read_text_log
from drivers.can.text_logs import TEXT_LOGS
from drivers.catalogue import check_options, full_address, open_input
from drivers.contract import (
    BaseDriver,
    Clock,
    FileRefused,
    Item,
    Note,
    Notes,
    Recording,
    SpeedBlock,
    ValueBlock,
)
from drivers.files.tables import EDGE_HEADER, SPEED_HEADER, read_edge_table, read_speed_table
from drivers.framing import GnssFrames
from drivers.recording import assemble, read_for
from drivers.source_file import BOM, EXPECTED, Progress, SourceFile, shown
from drivers.wave.channels import SIDES
from drivers.wave.scope import read_scope, scope_table

Reader = Callable[[SourceFile, Notes], Iterator[list[Item]]]

_BY_FIRST_BYTES = {
    b"LOGG": "drivers.can.python_can_logs:read_blf",
    b"MDF ": "drivers.can.python_can_logs:read_mf4",
    b"UnFinMF": "drivers.can.python_can_logs:read_mf4",
    **dict.fromkeys((b"RIFF", b"RIFX", b"RF64"), "drivers.wave.sound_files:read_wav"),
    b"fLaC": "drivers.wave.sound_files:read_flac",
}
_BY_A_LINE = {
    rb"^timestamp,arbitration_id,extended,": "drivers.can.python_can_logs:read_can_csv",
    rb"^;\$FILEVERSION=|^;#{8,}": "drivers.can.python_can_logs:read_trc",
    rb"^base\s+(hex|dec)\b|^begin triggerblock": "drivers.can.python_can_logs:read_asc",
}
_SENTENCE = rb"^[$!][A-Z]{2}[A-Z0-9]{3},"
MOST_VALUES = 20_000_000
"""Twenty streams ten times a second for a day and more; what holds more would not fit a small
machine's memory, however well the file is packed."""
_NOT_OURS = {
    b"PK\x03\x04": "a zip archive or a spreadsheet",
    b"\x1f\x8b": "a compressed file (unpack it first)",
    b"%PDF": "a PDF document",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"SQLite format 3": "a database",
    b"\x7fELF": "a program",
    b"PAR1": "a Parquet file",
    b"\xff\xfe": "text saved as UTF-16 (save it as UTF-8)",
    b"\xfe\xff": "text saved as UTF-16 (save it as UTF-8)",
}
_OTHER_TABLES = {
    b"run": "a run table, as `calibrate` takes it",
    b"pickup": "a gap table, as `gap` takes it",
}


def read_recording(path: Path | str, progress: Progress | None = None) -> Recording:
    """A whole file, whatever its format; `progress` is told how far it is.

    `path` may be an address, 'file:PATH?right=lap'. Raises FileRefused, AddressError."""
    driver = open_file(path, progress)
    items = read_for(driver, math.inf)
    return assemble(items, driver.notes, name=str(driver.path))


def open_file(path: Path | str, progress: Progress | None = None) -> FileDriver:
    """The driver of a file by its path or its address, not yet opened. Raises AddressError."""
    address = str(path)
    named = address.startswith("file:") and not Path(address.removeprefix("file:")).exists()
    driver = open_input(address) if named else FileDriver(address.removeprefix("file:"), {})
    assert isinstance(driver, FileDriver)
    driver.progress = progress
    return driver


class FileDriver(BaseDriver):
    """`file:PATH`: a recorded file as blocks, as fast as they can be read.

    The two channels of a waveform are named by `?left=NAME&right=NAME`.
    """

    def __init__(self, rest: str, options: dict[str, str], clock: Clock = time.monotonic) -> None:
        super().__init__(full_address("file", rest, options), clock)
        check_options(self.address, options, SIDES)
        self._names = options
        self.path = Path(rest)
        self.progress: Progress | None = None

    def _open(self) -> None:
        self.notes = Notes()
        self.rejects = self.notes.rejects
        self.ended = False
        self._file = SourceFile(self.path, self.progress)
        reader = recognise(self._file)
        if self._names:
            reader = self._naming(reader)
        self._items = reader(self._file, self.notes)
        self._values = 0

    def _naming(self, reader: Reader) -> Reader:
        if "names" not in inspect.signature(reader).parameters:
            found = Note("its channels have names of their own")
            expected = Note("the same address without names after '?'")
            raise FileRefused(self.path, found, expected)
        named: Callable[..., Iterator[list[Item]]] = reader
        return partial(named, names=self._names)

    def _read_some(self, timeout_s: float) -> list[Item]:
        items = next(self._items, None)
        if items is None:
            self.notes.sha256 = self._file.sha256
            self.ended = True
        for item in items or ():
            self._values += item.time_s.size if isinstance(item, SpeedBlock | ValueBlock) else 0
        if self._values > MOST_VALUES:
            found = Note("it holds more than {most} values", most=MOST_VALUES)
            expected = Note("a shorter recording: cut the log into parts")
            raise FileRefused(self.path, found, expected)
        return items or []

    def _close(self) -> None:
        self._items = iter(())


def recognise(file: SourceFile) -> Reader:
    """The reader for a file's content. Raises FileRefused where it is none that is known."""
    head = file.head.removeprefix(BOM)
    for begin, place in _BY_FIRST_BYTES.items():
        if head.startswith(begin):
            return _late(place)
    for begin, what in _NOT_OURS.items():
        if head.startswith(begin):
            raise FileRefused(file.path, Note("it is {what}", what=what), EXPECTED)
    first_line = re.split(rb"[\r\n]", head.lstrip(), maxsplit=1)[0].strip()
    if table := _table(file, first_line):
        return table
    for pattern, place in _BY_A_LINE.items():
        if re.search(pattern, head, re.MULTILINE | re.IGNORECASE):
            return _late(place)
    fitting = {text_log: len(text_log.line.findall(head)) for text_log in TEXT_LOGS}
    likeliest = max(TEXT_LOGS, key=fitting.__getitem__)
    if fitting[likeliest]:
        return partial(read_text_log, likeliest)
    if scope := scope_table(head):
        return partial(read_scope, scope)
    if GnssFrames().feed(head) or re.search(_SENTENCE, head, re.MULTILINE):
        return _late("drivers.gnss.sentences:read_gnss")
    raise FileRefused(file.path, _description(head, first_line), EXPECTED)


def _late(place: str) -> Reader:
    """A reader whose libraries are loaded only now that they are needed."""
    module, _, name = place.partition(":")
    return cast(Reader, getattr(import_module(module), name))


def _table(file: SourceFile, first_line: bytes) -> Reader | None:
    cells = [cell.strip(b' "') for cell in re.split(rb"[,;\t]", first_line)]
    if b"time_s" not in cells and b"speed_mps" not in cells:
        what = _OTHER_TABLES.get(cells[0]) if len(cells) > 2 else None
        if what:
            raise FileRefused(file.path, Note("it is {what}", what=what), EXPECTED, "line 1")
        return None
    if b"," not in first_line:
        found = Note("the header '{first_line}' has no commas", first_line=shown(first_line))
        expected = Note(
            "columns separated by commas, as '{edge_header}' or '{speed_header}'",
            edge_header=EDGE_HEADER,
            speed_header=SPEED_HEADER,
        )
        raise FileRefused(file.path, found, expected, "line 1")
    return read_speed_table if b"speed_mps" in cells or b"source" in cells else read_edge_table


def _description(head: bytes, first_line: bytes) -> str:
    if re.search(rb"[\x00-\x08\x0e-\x1f]", head):
        return Note("its content, {hex} …, is of no format known here", hex=head[:8].hex(" "))
    return Note(
        "its content, which begins '{first_line}', is of no format known here",
        first_line=shown(first_line),
    )
