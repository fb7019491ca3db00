"""Text formats of CAN logs: console dumps, can-utils log files, J1939 tables, canboat raw.

Each is the pattern of a line; a few MB of lines are matched at once and their hex turned
into columns for numpy.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drivers.can.tractor_messages import split_id
from drivers.contract import Floats

_Groups = list[tuple[bytes, ...]]
_HEX = rb"[0-9A-Fa-f]"
_ID = rb"(" + _HEX + rb"{8}|" + _HEX + rb"{3})"
_DATE = rb"\d{4}-\d\d-\d\d[-T ]\d\d:\d\d:\d\d(?:\.\d{1,9})?"
_SECONDS = rb"\d{1,12}(?:\.\d{1,9})?"
_MOST_BYTES = 8


@dataclass(frozen=True, slots=True, eq=False)
class LogColumns:
    """Frames as a log has them, all of one length, as in `Frames`; `stamp_s` is None where
    the log has no times. `right` is False where a line contradicts itself."""

    pgn: NDArray[np.int32]
    sender: NDArray[np.uint8]
    data: NDArray[np.uint8]
    stamp_s: Floats | None
    right: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class TextLog:
    """A format: its name in words, the patterns of a line with a frame and of one without
    (a header, a comment), and what makes columns of the first one's groups. `identifier` is
    the place of the CAN identifier among the groups, None where the log holds messages and
    not raw frames; the data are always the last group."""

    kind: str
    line: re.Pattern[bytes]
    other: re.Pattern[bytes]
    columns: Callable[[_Groups], LogColumns]
    identifier: int | None = None


def _console(groups: _Groups) -> LogColumns:
    stamps, ids, sizes, texts = _transposed(groups, 4)
    payloads = [text.replace(b" ", b"") for text in texts]
    right = [
        int(size) * 2 == len(payload) or b"r" in payload
        for size, payload in zip(sizes, payloads, strict=True)
    ]
    return _with_ids(ids, payloads, _seconds(stamps), right)


def _console_untimed(groups: _Groups) -> LogColumns:
    timed = _console([(b"0", *group) for group in groups])
    return LogColumns(timed.pgn, timed.sender, timed.data, None, timed.right)


def _can_utils(groups: _Groups) -> LogColumns:
    stamps, ids, texts = _transposed(groups, 3)
    return _with_ids(ids, [text.replace(b".", b"") for text in texts], _seconds(stamps), None)


def _j1939_table(groups: _Groups) -> LogColumns:
    stamps, pgns, senders, texts = _transposed(groups, 4)
    payloads = [text.replace(b" ", b"") for text in texts]
    return _with_pgns(pgns, senders, payloads, _numbers(stamps) / 1000, None)


def _canboat(groups: _Groups) -> LogColumns:
    stamps, pgns, senders, sizes, texts = _transposed(groups, 5)
    payloads = [text.replace(b",", b"") for text in texts]
    right = [int(s) * 2 == len(payload) for s, payload in zip(sizes, payloads, strict=True)]
    return _with_pgns(pgns, senders, payloads, _seconds(stamps), right)


def _transposed(groups: _Groups, width: int) -> list[list[bytes]]:
    return [list(column) for column in zip(*groups, strict=True)] or [[] for _ in range(width)]


def _with_ids(
    ids: list[bytes], payloads: list[bytes], stamp_s: Floats, right: list[bool] | None
) -> LogColumns:
    """Columns from hex identifiers; 11-bit, remote and error frames get PGN −1."""
    padded = [text.rjust(8, b"0") for text in ids]
    can_id = _hex_rows(padded, 4).view(">u4")[:, 0].astype(np.uint32)
    remote = np.array([text[:1] in (b"r", b"R") for text in payloads], np.bool_)
    extended = np.array([len(text) == 8 for text in ids], np.bool_) & (can_id < 1 << 29)
    pgn, sender = split_id(can_id)
    data = _hex_rows([b"" if text[:1] in (b"r", b"R") else text for text in payloads], _MOST_BYTES)
    return LogColumns(
        np.where(extended & ~remote, pgn, -1).astype(np.int32),
        sender,
        data,
        stamp_s,
        _all_right(right, stamp_s),
    )


def _with_pgns(
    pgns: list[bytes],
    senders: list[bytes],
    payloads: list[bytes],
    stamp_s: Floats,
    right: list[bool] | None,
) -> LogColumns:
    pgn, sender = _numbers(pgns).astype(np.int32), _numbers(senders)
    in_range = (pgn < 1 << 18) & (sender <= 255)
    return LogColumns(
        pgn,
        np.where(in_range, sender, 0).astype(np.uint8),
        _hex_rows(payloads, _MOST_BYTES),
        stamp_s,
        _all_right(right, stamp_s) & in_range,
    )


def _all_right(right: list[bool] | None, stamp_s: Floats) -> NDArray[np.bool_]:
    known = np.isfinite(stamp_s)
    return known if right is None else known & np.array(right, np.bool_)


def _hex_rows(texts: list[bytes], width: int) -> NDArray[np.uint8]:
    """Hex texts as rows of so many bytes, cut or filled with FF ('not available')."""
    joined = b"".join([text[: 2 * width].ljust(2 * width, b"F") for text in texts])
    return np.frombuffer(bytes.fromhex(joined.decode("ascii")), np.uint8).reshape(-1, width)


def _numbers(texts: list[bytes]) -> Floats:
    return np.array([float(text) for text in texts], np.float64)


def _seconds(stamps: list[bytes]) -> Floats:
    """Seconds of stamps that are seconds or dates (UTC); NaN for a date that is none."""
    if not any(b":" in stamp for stamp in stamps):
        return _numbers(stamps)
    texts = [f"{stamp[:10].decode('ascii')}T{stamp[11:].decode('ascii')}" for stamp in stamps]
    try:
        times = np.array(texts, "datetime64[us]")
    except ValueError:
        times = np.array([_date(text) for text in texts], "datetime64[us]")
    seconds = times.astype(np.int64) / 1e6
    return np.where(np.isnat(times), np.nan, seconds)


def _date(text: str) -> np.datetime64:
    try:
        return np.datetime64(text, "us")
    except ValueError:
        return np.datetime64("NaT", "us")


def _text_log(
    kind: str,
    line: bytes,
    columns: Callable[[_Groups], LogColumns],
    other: bytes = rb"#.*",
    identifier: int | None = None,
) -> TextLog:
    end = rb"[ \t]*\r?$"
    return TextLog(
        kind,
        re.compile(rb"^" + line + end, re.MULTILINE),
        re.compile(rb"^" + other + end, re.MULTILINE),
        columns,
        identifier,
    )


_CONSOLE_FRAME = (
    rb"\S+[ \t]+(?:(?:RX|TX)[ \t][-BE \t]*)?" + _ID + rb"[ \t]+\[(\d{1,2})\][ \t]*"
    rb"((?:[ \t]" + _HEX + rb"{2})*|remote request)(?:[ \t]+(?:'.*'|ERRORFRAME.*))?"
)

TEXT_LOGS = (
    _text_log(
        "console dump of a CAN bus without time stamps",
        rb"[ \t]*" + _CONSOLE_FRAME,
        _console_untimed,
        identifier=0,
    ),
    _text_log(
        "console dump of a CAN bus",
        rb"[ \t]*\((" + _DATE + rb"|" + _SECONDS + rb")\)[ \t]+" + _CONSOLE_FRAME,
        _console,
        identifier=1,
    ),
    _text_log(
        "can-utils log of a CAN bus",
        rb"\((" + _SECONDS + rb")\)[ \t]+\S+[ \t]+" + _ID + rb"#(?:#" + _HEX + rb")?"
        rb"((?:" + _HEX + rb"{2}\.?)*|R\d?)(?:[ \t]+[RTBE]+)?",
        _can_utils,
        identifier=1,
    ),
    _text_log(
        "J1939 table",
        rb"\d*,(" + _SECONDS + rb"),(\d{1,6}),\d+,(\d{1,3}),\d+,((?:" + _HEX + rb"{2} ?)*),.*",
        _j1939_table,
        rb",time,pgn,priority,source,destination,data,description",
    ),
    _text_log(
        "canboat raw log of an NMEA 2000 bus",
        rb"(" + _DATE + rb")Z?,\d,(\d{1,6}),(\d{1,3}),\d{1,3},(\d{1,3}),"
        rb"(" + _HEX + rb"{2}(?:," + _HEX + rb"{2})*)",
        _canboat,
    ),
)
