"""What is asked of each topic on the screen: rows of fields, each a reading and its place."""

from __future__ import annotations

from dataclasses import dataclass

from workbench.base.machine import Machine
from workbench.base.units import MEASURES, UnitSystem, measure_unit
from workbench.calibration.prepare.due import services
from workbench.calibration.prepare.judge import shank_distances_m
from workbench.calibration.prepare.measures import SIDES, SPECS, PlaceKind, ReadingKind, Topic

Slot = tuple[ReadingKind, str]
"""A reading and its place: one field."""

RUNS = ("1 there", "2 back", "3 there", "4 back")
ACROSS = ("left", "middle", "right")
USUAL_BLADES, USUAL_CHAIN = 4, "chain"
BESIDE = {PlaceKind.RUN: 4, PlaceKind.SIDE: 2, PlaceKind.SHANK: 2}
"""So many fields side by side, three of others."""
LONG = (ReadingKind.FRAME_WIDTH, ReadingKind.BELT_SPAN, ReadingKind.COURSE_LENGTH)
"""Lengths that are measured in feet or metres; all others in inches or millimetres."""


@dataclass(frozen=True, slots=True)
class FieldRow:
    """Fields side by side: of one kind at several places, of several that have no place, or of
    the chain or part that `of` names."""

    slots: tuple[Slot, ...]
    of: str = ""


def rows_of(topic: Topic, machine: Machine | None) -> tuple[FieldRow, ...]:
    """The fields of a topic for a machine."""
    if topic is Topic.CHAINS:
        return _chains(machine)
    if topic is Topic.WEAR:
        parts = services(machine, (), "", 0.0)
        rows = (
            FieldRow(((ReadingKind.WEAR, one.part), (ReadingKind.DONE, one.part)), one.part)
            for one in parts
        )
        return (FieldRow(((ReadingKind.HOURS, ""),)), *rows)
    found, alone = [], list[Slot]()
    for kind, spec in SPECS.items():
        if spec.topic is topic:
            places = _places(kind, spec.places, machine)
            if len(places) == 1:
                alone.append((kind, places[0]))
                continue
            wide = BESIDE.get(spec.places, 3)
            found += [
                FieldRow(tuple((kind, place) for place in places[at : at + wide]))
                for at in range(0, len(places), wide)
            ]
    single = [FieldRow(tuple(alone))] if alone else []
    return (*single, *found) if topic is Topic.COURSE else (*found, *single)


def _places(kind: ReadingKind, places: PlaceKind, machine: Machine | None) -> tuple[str, ...]:
    if kind is ReadingKind.BLADE_HEIGHT:
        rows = machine.prepare.row_count if machine else 0
        return tuple(str(at) for at in range(1, (rows or USUAL_BLADES) + 1))
    if places is PlaceKind.SHANK:
        count = len(shank_distances_m(machine)[0]) or 1
        return tuple(f"{side} {number}" for number in range(1, count + 1) for side in SIDES)
    return {
        PlaceKind.NONE: ("",),
        PlaceKind.NAME: ACROSS,
        PlaceKind.SIDE: SIDES,
        PlaceKind.RUN: RUNS,
    }[places]


def _chains(machine: Machine | None) -> tuple[FieldRow, ...]:
    """A chain's slack, span and length; what the machine file tells is not asked again."""
    own = machine.lists.chains if machine else ()
    names = [one.name for one in own] or [USUAL_CHAIN]
    span = {one.name for one in own if one.span_m == one.span_m}
    pitch = {one.name for one in own if one.pitch_m == one.pitch_m}
    rows = []
    for name in names:
        first = [ReadingKind.CHAIN_SLACK, *([] if name in span else [ReadingKind.CHAIN_SPAN])]
        second = [ReadingKind.CHAIN_LENGTH, ReadingKind.CHAIN_LINKS]
        second += [] if name in pitch else [ReadingKind.CHAIN_PITCH]
        rows += [FieldRow(tuple((kind, name) for kind in first), name)]
        rows += [FieldRow(tuple((kind, name) for kind in second), name)]
    return tuple(rows)


def unit_of(kind: ReadingKind, units: UnitSystem) -> str:
    """The unit that a bare number is in, '' where none is wanted."""
    of_kind = SPECS[kind].kind
    if of_kind == "length":
        return units.length if kind in LONG else units.gap
    if of_kind in MEASURES:
        return measure_unit(of_kind, units)
    fixed = {"temperature": units.temperature, "speed": units.speed}
    return {**fixed, "time": "s", "hours": "h", "count": "links"}.get(of_kind, "")
