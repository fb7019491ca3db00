"""Cells of a CSV table as columns, eight letters at a time: what a device wrote is plain.

A number of at most fifteen digits is a whole number over a power of ten, both of which a float
holds exactly, so that their quotient is the float next to what is written (Clinger, PLDI 1990).
Eight digits in a word of 64 bits become one number by three multiplications.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drivers.contract import Floats

Places = NDArray[np.int64]
Words = NDArray[np.uint64]

_MARGIN = b"\xff" * 16
"""Put round the text, so that two words lie before the end of every cell."""
_MOST_DIGITS = 15
_TENS = 10 ** np.arange(_MOST_DIGITS + 1, dtype=np.int64)
_COMMA, _LINE_END, _POINT, _MINUS = b",\n.-"
_UNUSED_BITS = np.arange(64, -1, -8).astype(np.uint64)
"""Of a word in which so many letters count."""
_ONES = 0x0101010101010101


def _each(octet: int) -> np.uint64:
    """A word of eight times that octet."""
    return np.uint64(octet * _ONES)


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Some cells of a text: cell k (n,) begins at `start[k]` and ends before `end[k]`."""

    text: PlainText
    start: Places
    end: Places

    def __getitem__(self, at: int) -> bytes:
        return self.text.octets[self.start[at] : self.end[at]].tobytes()

    def __len__(self) -> int:
        return self.start.size

    def points(self) -> Places:
        """Where each cell's first point stands, or its end where it has none."""
        found = self.text.points
        if found.size != len(self) or (found < self.start).any() or (found >= self.end).any():
            index = np.searchsorted(found, self.start)
            found = np.append(found, self.end[-1:])[index]
        points: Places = np.minimum(found, self.end)
        return points

    def numbers(self) -> tuple[Floats, Places]:
        """The cells' numbers, and the indices of those that are no plain ones, NaN."""
        point = self.points()
        minus = self.text.octets[self.start] == _MINUS
        before, after = point - self.start - minus, np.maximum(self.end - point - 1, 0)
        plain = (before + after > 0) & (before + after <= _MOST_DIGITS)
        after = np.where(plain, after, 0)
        whole, is_whole = self.text.whole_numbers(point, before)
        rest, is_rest = self.text.whole_numbers(self.end, after)
        plain &= is_whole & is_rest
        tens = _TENS[after]
        values = (whole * tens + rest) / tens
        np.negative(values, out=values, where=minus)
        values[~plain] = np.nan
        return values, np.flatnonzero(~plain)

    def names(self, most: int, letters: int) -> tuple[list[bytes], Places]:
        """The different cells in the order they come, and which of them each cell is; none where
        there are more than `most`, or one has more than so many `letters`."""
        length, names = self.end - self.start, list[bytes]()
        name_of, left = np.empty(length.size, dtype=np.int64), np.arange(length.size)
        longest = int(length.max(initial=0))
        if longest > letters:
            return names, name_of
        words = [self.text.word(self.start + at, length - at) for at in range(0, longest, 8)]
        while left.size:
            if len(names) == most:
                return [], name_of
            first = left[0]
            same = length[left] == length[first]
            for word in words:
                same &= word[left] == word[first]
            name_of[left[same]] = len(names)
            names.append(self[int(first)])
            left = left[~same]
        return names, name_of


class PlainText:
    """Lines of cells between commas, with no quotes; the last ends with its line's end."""

    def __init__(self, text: bytes) -> None:
        self._bytes = _MARGIN + text + _MARGIN
        self.octets = np.frombuffer(self._bytes, np.uint8)
        self._words: Words = np.ndarray(
            (self.octets.size - 7,), np.dtype("<u8"), self._bytes, strides=(1,)
        )
        """The word that begins at each place."""
        at = np.flatnonzero(self.octets <= _POINT)
        kind = self.octets[at]
        ends = np.flatnonzero((kind == _COMMA) | (kind == _LINE_END))
        self.points = at[np.flatnonzero(kind == _POINT)]
        self._ends, self._is_line_end = at[ends], kind[ends] == _LINE_END

    def columns(self, width: int) -> Sequence[Cells] | None:
        """The cells column by column; None where not every line has `width` of them."""
        if self._ends.size % width:
            return None
        line_ends = self._is_line_end.reshape(-1, width)
        if not line_ends[:, -1].all() or line_ends[:, :-1].any():
            return None
        starts = np.concatenate(([len(_MARGIN)], self._ends[:-1] + 1)).reshape(-1, width)
        ends = self._ends.reshape(-1, width)
        return [Cells(self, starts[:, at].copy(), ends[:, at].copy()) for at in range(width)]

    def word(self, start: Places, length: Places) -> Words:
        """Up to eight letters of each place as one word, 0 where there are fewer."""
        words: Words = self._words[np.where(length > 0, start, 0)]
        return words << _UNUSED_BITS[np.clip(length, 0, 8)]

    def whole_numbers(self, end: Places, length: Places) -> tuple[Places, NDArray[np.bool_]]:
        """Of each place's `length` letters before `end`, 0 to 16, their number; and whether they
        are digits."""
        number, right = self._eight(end, np.clip(length, 0, 8))
        if length.max(initial=0) > 8:
            front, digits = self._eight(end - 8, np.clip(length - 8, 0, 8))
            number, right = number + front * _TENS[8], right & digits
        return number, right

    def _eight(self, end: Places, length: Places) -> tuple[Places, NDArray[np.bool_]]:
        # The first letter lies lowest: what is before the digits becomes zeros.
        unused = _UNUSED_BITS[length]
        digits = ((self._words[end - 8] ^ _each(ord("0"))) >> unused) << unused
        right = ((digits + _each(0x80 - 10)) | digits) & _each(0x80) == 0
        number = digits * np.uint64(2561) >> np.uint64(8)
        number = (number & np.uint64(0x00FF00FF00FF00FF)) * np.uint64(6553601) >> np.uint64(16)
        number = (number & np.uint64(0x0000FFFF0000FFFF)) * np.uint64(42949672960001)
        return (number >> np.uint64(32)).astype(np.int64), right
