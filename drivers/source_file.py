"""A file as its readers see it: a head to recognise it by, then its bytes once, hashed."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

from drivers.contract import FileRefused, Note

BOM = b"\xef\xbb\xbf"
"""What some programs put before UTF-8 text."""
HEAD_BYTES = 1 << 16
CHUNK_BYTES = 1 << 22
EXPECTED = (
    "an edge table ('time_s,channel'), a speed table ('time_s,source,speed_mps') or a log "
    "of CAN, NMEA 0183 or UBX"
)


class SourceFile:
    """A file that can be read. Raises FileRefused where it cannot, or is empty."""

    def __init__(self, path: Path | str) -> None:
        self.path = Path(path)
        self._hash = hashlib.sha256()
        try:
            if self.path.is_dir():
                raise FileRefused(path, "it is a folder", EXPECTED)
            if self.path.exists() and not self.path.is_file():
                raise FileRefused(path, "it is a device or a pipe, not a file", EXPECTED)
            with self.path.open("rb") as file:
                self.head = file.read(HEAD_BYTES)
        except (OSError, ValueError) as error:
            raise self._cannot_read(error) from None
        if not self.head:
            raise FileRefused(path, "the file is empty", EXPECTED)

    @property
    def sha256(self) -> str:
        """The hash of the bytes that `chunks` has handed out."""
        return self._hash.hexdigest()

    def chunks(self) -> Iterator[bytes]:
        """The file's bytes in order, a few MB at a time."""
        self._hash = hashlib.sha256()
        try:
            with self.path.open("rb") as file:
                while chunk := file.read(CHUNK_BYTES):
                    self._hash.update(chunk)
                    yield chunk
        except OSError as error:
            raise self._cannot_read(error) from None

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
            return FileRefused(self.path, "there is no such file", EXPECTED)
        if isinstance(error, PermissionError):
            return FileRefused(self.path, "you may not read it", "a file with read permission")
        reason = getattr(error, "strerror", None) or str(error)
        return FileRefused(self.path, Note("it cannot be read ({reason})", reason=reason), EXPECTED)


def shown(line: bytes) -> str:
    """The start of a line as one can show it in a sentence."""
    text = line[:60].decode("utf-8", "replace").strip()
    return "".join(c if c.isprintable() else "·" for c in text) + ("…" if len(line) > 60 else "")
