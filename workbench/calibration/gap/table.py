"""The gap table: feeler readings of one or many pickups, as CSV text.

Header `pickup,angle_deg,gap_m`; several readings a place are welcome. Angles count from
the mark on the wheel in the turning direction. Lengths are in metres.
"""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from workbench.base.errors import Message, WrongInput
from workbench.base.typed import parse_length_m
from workbench.base.units import INCH_M
from workbench.calibration.typed_rows import TypedRow, read_rows

Floats = NDArray[np.float64]

HEADER = ("pickup", "angle_deg", "gap_m")
MOST_GAP_M = 0.02
"""A wider 'gap' is a slip of the pen or of the unit; as in the machine file."""
_MOST_LETTERS = 100
_MOST_ROWS = 10_000
"""A hundred pickups read at a hundred places each: nobody types as many."""


@dataclass(frozen=True, slots=True, eq=False)
class GapReadings:
    """All readings of one pickup in the order they were taken; arrays of one length (n >= 1,).

    `line` is each reading's line in its table, 0 where it was typed.
    """

    pickup: str
    angle_deg: Floats
    gap_m: Floats
    line: NDArray[np.int64]


def parse_gap_table(text: str, name: str = "gap table") -> list[GapReadings]:
    """The readings by pickup, in order of first appearance. Raises WrongInput with the line."""
    table = read_rows(
        text,
        name,
        needed=HEADER,
        known=HEADER,
        numbers=dict.fromkeys(HEADER[1:]),
        most=_MOST_ROWS,
        strict=True,
    )
    found: dict[str, list[tuple[float, float, int]]] = {}
    for row in table.rows:
        where = Message("{name}, line {line}", name=name, line=row.line)
        pickup, angle_deg, gap_m = _reading(row, where)
        found.setdefault(pickup, []).append((angle_deg, gap_m, row.line))
    if not found:
        raise WrongInput(
            "{name}: there are no readings; expected rows under {header}.",
            name=name,
            header=",".join(HEADER),
        )
    return [
        GapReadings(
            pickup,
            np.array([row[0] for row in readings]),
            np.array([row[1] for row in readings]),
            np.array([row[2] for row in readings], dtype=np.int64),
        )
        for pickup, readings in found.items()
    ]


def write_gap_table(pickups: list[GapReadings]) -> str:
    """The readings as the text of a gap table, which `parse_gap_table` reads again."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADER)
    for pickup in pickups:
        for angle_deg, gap_m in zip(pickup.angle_deg, pickup.gap_m, strict=True):
            writer.writerow([pickup.pickup, f"{angle_deg:.10g}", f"{gap_m:.10g}"])
    return out.getvalue()


def check_angle_deg(angle_deg: float, where: Message | str) -> float:
    """The angle, or WrongInput. A little more than a turn either way is understood."""
    if not -360.0 <= angle_deg <= 720.0:
        raise WrongInput(
            "{where}: an angle of {angle:g}°; expected 0 to 360° from the mark in the turning "
            "direction.",
            where=where,
            angle=angle_deg,
        )
    return angle_deg


def check_gap_m(gap_m: float, where: Message | str) -> float:
    """The gap, or WrongInput that says which unit the number looks like."""
    if gap_m < 0:
        raise WrongInput(
            "{where}: a gap of {gap:g} m is below 0; expected metres.", where=where, gap=gap_m
        )
    if gap_m > MOST_GAP_M:
        raise WrongInput(
            "{where}: a gap of {gap:g} m; expected metres, at most {most:g}. {looks_like}",
            where=where,
            gap=gap_m,
            most=MOST_GAP_M,
            looks_like=_looks_like(gap_m),
        )
    return gap_m


def _reading(row: TypedRow, where: Message) -> tuple[str, float, float]:
    pickup = row.cells["pickup"]
    if not pickup or len(pickup) > _MOST_LETTERS or not pickup.isprintable():
        raise WrongInput(
            "{where}: '{found}' names no pickup; expected 1 to {most} letters.",
            where=where,
            found=_short(pickup),
            most=_MOST_LETTERS,
        )
    angle_deg = _number(row, "angle_deg", where, Message("degrees, 0 to 360"))
    gap_m = _number(row, "gap_m", where, _in_metres(row.cells["gap_m"]))
    return pickup, check_angle_deg(angle_deg, where), check_gap_m(gap_m, where)


def _number(row: TypedRow, column: str, where: Message, expected: Message) -> float:
    cell, value = row.cells[column], row.numbers[column]
    if not math.isfinite(value):
        values = {"where": where, "column": column, "expected": expected}
        if not cell:
            raise WrongInput(
                "{where}: nothing in column '{column}'; expected {expected}.", **values
            )
        raise WrongInput(
            "{where}: '{found}' in column '{column}'; expected {expected}.",
            found=_short(cell),
            **values,
        )
    return value


def _in_metres(cell: str) -> Message:
    """What is expected of a gap; a length typed with its unit is said in metres."""
    try:
        return Message("metres, here {metres:.6g}", metres=parse_length_m(cell))
    except WrongInput:
        return Message("metres, such as 0.0016")


def _looks_like(value: float) -> Message:
    """Which unit a gap that is no length in metres was probably typed in."""
    for low, high, unit, one_m in (
        (MOST_GAP_M, 0.25, Message("inches"), INCH_M),
        (0.25, MOST_GAP_M / 0.001, Message("millimetres"), 0.001),
        (MOST_GAP_M / 0.001, 800.0, Message("thousandths of an inch"), INCH_M / 1000),
    ):
        if low < value <= high:
            return Message(
                "It looks like {unit}: {typed:g} would be {metres:.4g} m.",
                unit=unit,
                typed=value,
                metres=value * one_m,
            )
    return Message("It looks like no gap in any unit.")


def _short(text: str) -> str:
    kept = "".join(sign if sign.isprintable() else "·" for sign in text[:60])
    return kept + ("…" if len(text) > 60 else "")
