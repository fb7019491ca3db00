"""A file as its readers see it: a head to recognise it by, then its bytes once, hashed."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from itertools import islice
from pathlib import Path

from drivers.contract import FileRefused, Note

BOM = b"\xef\xbb\xbf"
"""What some programs put before UTF-8 text."""
HEAD_BYTES = 1 << 16
CHUNK_BYTES = 1 << 22
TICK_S = 1e-9
"""Edge times of a file become whole ticks of a nanosecond, finer than any counter's clock."""
MOST_EDGES = 60_000_000
"""Over 24 hours at 600 Hz; a longer file would not fit a small machine's memory."""
EXPECTED = (
    "an edge table ('time_s,channel'), a speed table ('time_s,source,speed_mps'), a log of CAN, "
    "NMEA 0183 or UBX, a sound file (WAV, FLAC) or an oscilloscope's table"
)

Progress = Callable[[float], object]
"""Is told the share of a file that has been read, 0 to 1."""


class SourceFile:
    """A file that can be read. Raises FileRefused where it cannot, or is empty.

    `progress`, where it is given, is told after every few MB how much was read.
    """

    def __init__(
        self, path: Path | str, progress: Progress | None = None, expected: str = EXPECTED
    ) -> None:
        self.path, self._progress, self._expected = Path(path), progress, expected
        self._hash = hashlib.sha256()
        try:
            if self.path.is_dir():
                raise FileRefused(path, "it is a folder", expected)
            if self.path.exists() and not self.path.is_file():
                raise FileRefused(path, "it is a device or a pipe, not a file", expected)
            with self.path.open("rb") as file:
                self.head = file.read(HEAD_BYTES)
        except (OSError, ValueError) as error:
            raise self._cannot_read(error) from None
        if not self.head:
            raise FileRefused(path, "the file is empty", expected)

    @property
    def sha256(self) -> str:
        """The hash of the bytes that `chunks` has handed out."""
        return self._hash.hexdigest()

    def chunks(self) -> Iterator[bytes]:
        """The file's bytes in order, a few MB at a time."""
        self._hash = hashlib.sha256()
        try:
            with self.path.open("rb") as file:
                size, done = max(self.path.stat().st_size, 1), 0
                while chunk := file.read(CHUNK_BYTES):
                    self._hash.update(chunk)
                    yield chunk
                    self.read_so_far((done := done + len(chunk)) / size)
        except OSError as error:
            raise self._cannot_read(error) from None

    def read_so_far(self, share: float) -> None:
        """Tell whoever wants to know how much has been read."""
        if self._progress is not None:
            self._progress(min(share, 1.0))

    def whole(self, most_bytes: int) -> bytes:
        """All of a small file. Raises FileRefused where it is larger than `most_bytes`."""
        data = b"".join(islice(self.chunks(), most_bytes // CHUNK_BYTES + 1))
        if len(data) > most_bytes:
            found = Note("it is larger than {most:g} MB", most=most_bytes / 1e6)
            raise FileRefused(self.path, found, self._expected)
        return data

    def lines(self) -> Iterator[tuple[int, bytes]]:
        """Whole lines a few MB at a time, with the number of the first one (from 1).

        The last line may lack its end. Raises FileRefused at a line that never ends.
        """
        number, rest = 1, b""
        for chunk in self.chunks():
            chunk = rest + (chunk.removeprefix(BOM) if number == 1 and not rest else chunk)
            cut = chunk.rfind(b"\n") + 1
            if cut:
                yield number, chunk[:cut]
                number += chunk.count(b"\n", 0, cut)
            elif len(chunk) > CHUNK_BYTES:
                found = Note("a line longer than {chunk_bytes} bytes", chunk_bytes=CHUNK_BYTES)
                raise FileRefused(self.path, found, "lines of text", f"line {number}")
            rest = chunk[cut:]
        if rest:
            yield number, rest

    def _cannot_read(self, error: OSError | ValueError) -> FileRefused:
        if isinstance(error, FileNotFoundError):
            return FileRefused(self.path, "there is no such file", self._expected)
        if isinstance(error, PermissionError):
            return FileRefused(self.path, "you may not read it", "a file with read permission")
        reason = getattr(error, "strerror", None) or str(error)
        return FileRefused(
            self.path, Note("it cannot be read ({reason})", reason=reason), self._expected
        )


def shown(line: bytes) -> str:
    """The start of a line as one can show it in a sentence."""
    text = line[:60].decode("utf-8", "replace").strip()
    return "".join(c if c.isprintable() else "·" for c in text) + ("…" if len(line) > 60 else "")
