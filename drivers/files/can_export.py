"""Raw frames of a CAN bus out to a log, and back out of a log that was read before."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable, Iterator
from itertools import islice
from pathlib import Path
from typing import Any

import can
import numpy as np

from drivers.can.logs import read_text_log
from drivers.can.python_can_logs import read_asc, read_blf, read_can_csv, read_mf4, read_trc
from drivers.can.text_logs import TextLog
from drivers.contract import FileRefused, FrameBlock, Note
from drivers.files.reading import recognise
from drivers.source_file import SourceFile

EXTENDED, REMOTE = 0x8000_0000, 0x4000_0000
"""Flags in `FrameBlock.can_id`, as in `linux/can.h`."""

UNTIMED_STEP_S = 0.001
"""Between the frames of a log without time stamps, which a written log must have: chosen."""

_WRITERS: dict[str, Callable[[Path], Any]] = {
    ".asc": can.ASCWriter,
    ".blf": can.BLFWriter,
    ".log": can.CanutilsLogWriter,
    ".trc": can.TRCWriter,
}
LOG_ENDINGS = tuple(_WRITERS)
"""Endings of the logs that can be written; what each is python-can says."""

_READERS: dict[Callable[..., Any], Callable[[str], Any]] = {
    read_asc: can.ASCReader,
    read_trc: can.TRCReader,
    read_can_csv: can.CSVReader,
    read_blf: can.BLFReader,
    read_mf4: can.MF4Reader,
}
_BATCH = 50_000


def write_log(blocks: Iterable[FrameBlock], path: Path) -> int:
    """Write frames as the log that the ending of `path` names; returns how many.

    A log counts from the first frame or from 1970; the blocks' `time_s` is written as it is.
    """
    count = 0
    with _WRITERS[path.suffix.lower()](path) as writer:
        for block in blocks:
            for message in _messages(block):
                writer.on_message_received(message)
                count += 1
    return count


def frames_of_log(path: Path) -> Iterator[FrameBlock]:
    """The raw frames of a CAN log. Raises FileRefused where it holds none, or messages that
    are put together from several frames."""
    file = SourceFile(path)
    reader = recognise(file)
    if reader in _READERS:
        yield from _logged_frames(_READERS[reader], path)
    elif isinstance(reader, functools.partial) and reader.func is read_text_log:
        yield from _text_frames(reader.args[0], file)
    else:
        raise FileRefused(path, "it is no log of a CAN bus", "a log of raw CAN frames")


def _logged_frames(reader: Callable[[str], Any], path: Path) -> Iterator[FrameBlock]:
    count = 0
    try:
        with reader(str(path)) as log:
            messages = iter(log)
            while batch := list(islice(messages, _BATCH)):
                yield _block(batch)
                count += len(batch)
    except Exception as error:  # whatever a reader makes of damaged bytes
        found = Note(
            "it cannot be read past frame {count} ({error})",
            count=count,
            error=error or type(error).__name__,
        )
        raise FileRefused(path, found, "a log that is whole") from None


def _messages(block: FrameBlock) -> Iterator[can.Message]:
    end = 0
    columns = zip(block.can_id.tolist(), block.length.tolist(), block.time_s.tolist(), strict=True)
    for can_id, length, time_s in columns:
        start, end = end, end + length
        yield can.Message(
            timestamp=time_s,
            arbitration_id=can_id & 0x1FFF_FFFF,
            is_extended_id=bool(can_id & EXTENDED),
            is_remote_frame=bool(can_id & REMOTE),
            data=None if can_id & REMOTE else block.data[start:end],
            is_fd=length > 8,
            channel=block.channel,
        )


def _block(messages: list[can.Message]) -> FrameBlock:
    frames = [message for message in messages if not message.is_error_frame]
    ids = [
        m.arbitration_id | m.is_extended_id * EXTENDED | m.is_remote_frame * REMOTE for m in frames
    ]
    times = np.array([message.timestamp for message in frames], np.float64)
    return _frame_block(ids, [bytes(message.data) for message in frames], times)


def _text_frames(text_log: TextLog, file: SourceFile) -> Iterator[FrameBlock]:
    if text_log.identifier is None:
        found = Note(
            "it is a {kind}, which holds messages and not the frames they came in",
            kind=text_log.kind,
        )
        raise FileRefused(file.path, found, "a log of raw CAN frames")
    count = 0
    for _, chunk in file.lines():
        groups = text_log.line.findall(chunk)
        columns = text_log.columns(groups)
        right = np.flatnonzero(columns.right).tolist()
        texts = [groups[place][text_log.identifier] for place in right]
        payloads = [groups[place][-1].replace(b" ", b"").replace(b".", b"") for place in right]
        remote = [payload[:1] in (b"r", b"R") for payload in payloads]
        ids = [
            int(text, 16) | (len(text) == 8) * EXTENDED | asked * REMOTE
            for text, asked in zip(texts, remote, strict=True)
        ]
        data = [
            b"" if asked else bytes.fromhex(payload.decode("ascii"))
            for payload, asked in zip(payloads, remote, strict=True)
        ]
        if columns.stamp_s is None:
            times = (count + np.arange(len(ids))) * UNTIMED_STEP_S
        else:
            times = columns.stamp_s[columns.right]
        count += len(ids)
        yield _frame_block(ids, data, times)


def _frame_block(ids: list[int], data: list[bytes], times: Any) -> FrameBlock:
    lengths = np.array([len(part) for part in data], np.uint8)
    return FrameBlock("can0", np.array(ids, np.uint32), lengths, b"".join(data), times, times)
