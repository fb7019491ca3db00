"""A picture as data: what is drawn, in SI, along which axes. Screen and paper draw the same.

Units come last: an axis names the quantity it shows, and who draws asks for the person's
units. A colour is a role of the theme ('belt', 'earth', 'ink', 'in_band' …).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from workbench.base.errors import Message
from workbench.base.numbers import Quantity, quantities
from workbench.base.units import UnitSystem
from workbench.words.language import _
from workbench.words.pictures.pyramid import Pyramid
from workbench.words.words import Words

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

CLOCK, AGO, DAY = "clock", "ago", "day"
"""Kinds of a time axis: seconds since the beginning (minutes, hours), seconds before now
(drawn from the past on the left), seconds since 1970 marked by days."""
BARE = Quantity("", 1.0, -1)
EDGE = 0.02
"""Of the whole, left free beside the first and the last of single values."""


@dataclass(frozen=True, slots=True, eq=False)
class Axis:
    """What is shown along one side, in words without a unit.

    `quantity` is one of `base.numbers.quantities`, a time axis's kind, or '' for a bare
    number. `numbers` (n,) are what is counted at the places 1 … n. `one` is what one place is
    called, where that is not `words`.
    """

    words: str = ""
    quantity: str = ""
    signed: bool = False
    numbers: NDArray[np.int64] | None = None
    one: str = ""

    @property
    def is_time(self) -> bool:
        return self.quantity in (CLOCK, AGO, DAY)

    def shown(self, units: UnitSystem) -> Quantity:
        """How its values are shown to a person of these units."""
        return quantities(units).get(self.quantity, BARE)

    def label(self, units: UnitSystem) -> str:
        """'belt speed, mph'."""
        unit = self.shown(units).unit
        return (
            _("{quantity}, {unit}").format(quantity=self.words, unit=unit) if unit else self.words
        )


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """A line through values; one with a name has it at its end and is read out.

    `shade` is how far its colour goes towards the ink; `head` what its column is called in a
    table, where that is not its name and the quantity.
    """

    name: str
    source: Pyramid
    role: str = "ink"
    shade: float = 0.0
    width: float = 2.0
    dashed: bool = False
    head: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Fill:
    """What lies between two lines at the same places: an area, or pale, an uncertainty."""

    low: Pyramid
    high: Pyramid
    role: str
    pale: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """Single values (n,), places ascending, each with its expanded uncertainty or NaN.

    `shape` is 'dot', 'square', 'cross', 'up' or 'down'. `odd` (n,) stand out by shape and
    colour, `said` is what each is called. A place or value that is NaN is not drawn; where
    not `read_out`, only the place means something.
    """

    name: str
    x: Floats
    y: Floats
    U: Floats | None = None
    U_x: Floats | None = None
    role: str = "ink"
    shape: str = "dot"
    hollow: bool = False
    odd: Bools | None = None
    said: tuple[str, ...] = ()
    head: str = ""
    read_out: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Bars:
    """Values (n,) as bars from 0, each as wide as a place: `odd` ones stand out.

    `said` is what is read out of each in place of its value; `notes` are words above single
    bars, the most important first.
    """

    name: str
    x: Floats
    y: Floats
    U: Floats | None = None
    role: str = "belt"
    odd: Bools | None = None
    said: tuple[str, ...] = ()
    notes: tuple[tuple[int, str], ...] = ()
    head: str = ""
    read_out: bool = True


@dataclass(frozen=True, slots=True)
class Band:
    """What lies between two values over the whole width; a single line where they are equal.

    It is shaded where it is allowed, else only its edges are drawn, dashed.
    """

    low: float
    high: float
    word: str = ""
    role: str = "in_band"
    shaded: bool = True


@dataclass(frozen=True, slots=True)
class Mark:
    """A thin vertical with a word above, or a change in a person's units; with an arrow it
    points at what is not there."""

    x: float
    word: str | Message = ""
    role: str = "soft_ink"
    arrow: bool = False

    def text(self, units: UnitSystem) -> str:
        """Its word."""
        return Words(units).say(self.word)


@dataclass(frozen=True, slots=True, eq=False)
class Panel:
    """Values on one axis upwards; `share` of the picture's height.

    `include` is always seen, and nothing else where it is `exact`; at least `least` of the
    values is. Where `outliers_may_leave`, values far from the rest do not flatten it.
    """

    y: Axis
    traces: tuple[Trace, ...] = ()
    points: tuple[Points, ...] = ()
    bars: tuple[Bars, ...] = ()
    bands: tuple[Band, ...] = ()
    fills: tuple[Fill, ...] = ()
    share: float = 1.0
    include: tuple[float, float] | None = None
    exact: bool = False
    least: float = 0.0
    outliers_may_leave: bool = False

    @property
    def singles(self) -> tuple[Points | Bars, ...]:
        """All rows of single values."""
        return (*self.points, *self.bars)


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One line of a table: places `x` (n,) on the axis and values `y` (n,), each with its head
    and unit; a place is written as its `number` (n,), where that is another."""

    x_head: str
    x: Floats
    head: str
    y: Floats
    factor: float = 1.0
    number: Floats | None = None

    @property
    def written(self) -> Floats:
        """The places as they are written (n,)."""
        return self.x if self.number is None else self.number

    def between(self, low: float, high: float) -> Column:
        """The part with `low` ≤ x ≤ `high`."""
        seen = slice(np.searchsorted(self.x, low), np.searchsorted(self.x, high, "right"))
        number = None if self.number is None else self.number[seen]
        return Column(self.x_head, self.x[seen], self.head, self.y[seen], self.factor, number)


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """Panels above one another along one axis.

    `ends` are the first and the last place, where the values do not say. `left_out` are
    stretches (from, to) of the axis in grey. `table` is what is saved as a table, where that is
    not what is drawn.
    """

    x: Axis
    panels: tuple[Panel, ...]
    marks: tuple[Mark, ...] = ()
    left_out: tuple[tuple[float, float], ...] = ()
    ends: tuple[float, float] | None = None
    table: tuple[Column, ...] = ()

    @property
    def places(self) -> Floats:
        """Places of all points and bars, ascending: where there are any, it is read out there."""
        parts = [
            one.x[np.isfinite(one.x) & np.isfinite(one.y)]
            for panel in self.panels
            for one in panel.singles
            if one.read_out
        ]
        return np.unique(np.concatenate([*parts, np.empty(0)]))

    @property
    def span(self) -> tuple[float, float]:
        """First and last place, with some room where they are one."""
        if self.ends is not None:
            return self.ends
        parts = [self.places]
        parts += [
            line.source.time_s[[0, -1]]
            for panel in self.panels
            for line in panel.traces
            if line.source.time_s.size
        ]
        known = np.concatenate(parts)
        if not known.size:
            return 0.0, 1.0
        first, last = float(known.min()), float(known.max())
        if self.places.size:
            first, last = first - EDGE * (last - first), last + EDGE * (last - first)
        least = 86_400.0 if self.x.quantity == DAY else 1.0 if self.x.is_time else 1e-6
        if last - first >= least:
            return first, last
        return (first, first + least) if self.x.quantity == CLOCK else (first - least, last + least)


NOTHING = Picture(Axis(), ())
"""A picture with nothing in it."""


def columns(picture: Picture, units: UnitSystem) -> list[Column]:
    """The numbers of a picture, for a table, in a person's units."""
    x_unit = "s" if picture.x.quantity in (CLOCK, AGO) else picture.x.shown(units).unit
    if picture.x.quantity == DAY:
        x_unit = _("seconds since 1970 (UTC)")
    head = ", ".join(part for part in (picture.x.words, x_unit) if part)
    made = [column for panel in picture.panels for column in _of_panel(panel, head, picture, units)]
    return list(picture.table) or made


def _of_panel(panel: Panel, x_head: str, picture: Picture, units: UnitSystem) -> list[Column]:
    quantity, per_x = panel.y.shown(units), picture.x.shown(units).per_si
    unit = f", {quantity.unit}" if quantity.unit else ""

    def column(head: str, x: Floats, y: Floats) -> Column:
        return Column(x_head, x, head, y, quantity.per_si, x * per_x if per_x != 1 else None)

    made = []
    for line in panel.traces:
        if not line.name:
            continue
        head = (line.head or f"{line.name} {panel.y.words}".strip()) + unit
        made.append(column(head, line.source.time_s, line.source.value))
    for one in panel.singles:
        if not one.read_out:
            continue
        head = one.head or f"{one.name} {panel.y.words}".strip()
        made.append(column(head + unit, one.x, one.y))
        if one.U is not None:
            words = _("{quantity}, expanded uncertainty").format(quantity=head) + unit
            made.append(column(words, one.x, one.U))
    return made
