"""What may be measured before a run, as data: its units, what is in sense, how sure it is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from workbench.base.units import INCH_M, UNITS

PSI_PA, GALLONS_PER_MIN = UNITS["pressure"]["psi"], UNITS["flow"]["gal/min"]


class Topic(StrEnum):
    """The parts of the machine in the order one walks, from the hitch to the rear, and then the
    tractor's speed."""

    FLOW = "hydraulics"
    TYRES = "tyres"
    LEVEL = "level"
    BLADES = "blades"
    SHANKS = "rows and shanks"
    BELT = "belt"
    CHAINS = "chains"
    WEAR = "wear and grease"
    COURSE = "taped course"


class ReadingKind(StrEnum):
    """What a row of the table tells; the value is its word in the column `check`."""

    OIL_FLOW = "oil flow"
    OIL_TEMPERATURE = "oil temperature"
    TYRE_PRESSURE = "tyre pressure"
    TYRE_RADIUS = "tyre radius"
    FRAME_HEIGHT = "frame height"
    FRAME_WIDTH = "frame width"
    BLADE_HEIGHT = "blade height"
    SHANK = "shank"
    BELT_SAG = "belt sag"
    BELT_SPAN = "belt span"
    BELT_MASS = "belt mass"
    CHAIN_SLACK = "chain slack"
    CHAIN_SPAN = "chain span"
    CHAIN_LENGTH = "chain length"
    CHAIN_LINKS = "chain links"
    CHAIN_PITCH = "chain pitch"
    WEAR = "wear"
    DONE = "done"
    HOURS = "hours"
    COURSE_LENGTH = "course length"
    COURSE_TIME = "course time"
    RADAR_SPEED = "radar speed"
    WHEEL_SPEED = "wheel speed"
    SATELLITE_SPEED = "satellite speed"


class PlaceKind(StrEnum):
    """What the column `place` must tell."""

    NONE = "none"
    NAME = "name"
    SIDE = "side"
    SHANK = "shank"
    RUN = "run"


@dataclass(frozen=True, slots=True)
class Spec:
    """One measure: the kind of its units, what is in sense in SI, its standard uncertainty `u`,
    or `u_rel` as a share of it, and what its place tells."""

    topic: Topic
    kind: str
    low: float = -math.inf
    high: float = math.inf
    places: PlaceKind = PlaceKind.NONE
    u: float = 0.0
    u_rel: float = 0.0

    def u_of(self, value: float) -> float:
        """Standard uncertainty of one reading."""
        return max(self.u, self.u_rel * abs(value))


SPECS: dict[ReadingKind, Spec] = {
    ReadingKind.OIL_FLOW: Spec(Topic.FLOW, "flow", 1e-5, 5e-3, u_rel=0.03),
    ReadingKind.OIL_TEMPERATURE: Spec(Topic.FLOW, "temperature", -30, 120, u=2.0),
    ReadingKind.TYRE_PRESSURE: Spec(
        Topic.TYRES, "pressure", 20e3, 900e3, PlaceKind.SIDE, u=0.25 * PSI_PA
    ),
    ReadingKind.TYRE_RADIUS: Spec(Topic.TYRES, "length", 0.15, 1.3, PlaceKind.SIDE, u=0.002),
    ReadingKind.FRAME_HEIGHT: Spec(Topic.LEVEL, "length", 0.02, 4.0, PlaceKind.SIDE, u=0.002),
    ReadingKind.FRAME_WIDTH: Spec(Topic.LEVEL, "length", 0.2, 20.0, u=0.005),
    ReadingKind.BLADE_HEIGHT: Spec(Topic.BLADES, "length", 0.0, 1.5, PlaceKind.NAME, u=0.002),
    ReadingKind.SHANK: Spec(Topic.SHANKS, "length", 0.05, 15.0, PlaceKind.SHANK, u=0.002),
    ReadingKind.BELT_SAG: Spec(Topic.BELT, "length", 0.001, 0.3, PlaceKind.NAME, u=0.002),
    ReadingKind.BELT_SPAN: Spec(Topic.BELT, "length", 0.2, 20.0, u=0.005),
    ReadingKind.BELT_MASS: Spec(Topic.BELT, "mass", 0.1, 200.0, u_rel=0.03),
    ReadingKind.CHAIN_SLACK: Spec(Topic.CHAINS, "length", 0.0, 0.3, PlaceKind.NAME, u=0.001),
    ReadingKind.CHAIN_SPAN: Spec(Topic.CHAINS, "length", 0.05, 10.0, PlaceKind.NAME, u=0.003),
    ReadingKind.CHAIN_LENGTH: Spec(Topic.CHAINS, "length", 0.03, 10.0, PlaceKind.NAME, u=0.0005),
    ReadingKind.CHAIN_LINKS: Spec(Topic.CHAINS, "count", 2, 1000, PlaceKind.NAME),
    ReadingKind.CHAIN_PITCH: Spec(Topic.CHAINS, "length", 0.004, 0.2, PlaceKind.NAME),
    ReadingKind.WEAR: Spec(Topic.WEAR, "state", places=PlaceKind.NAME),
    ReadingKind.DONE: Spec(Topic.WEAR, "day", places=PlaceKind.NAME),
    ReadingKind.HOURS: Spec(Topic.WEAR, "hours", 0.0, 1e6),
    ReadingKind.COURSE_LENGTH: Spec(Topic.COURSE, "length", 10.0, 2000.0, u=0.03),
    ReadingKind.COURSE_TIME: Spec(Topic.COURSE, "time", 2.0, 3600.0, PlaceKind.RUN),
    ReadingKind.RADAR_SPEED: Spec(Topic.COURSE, "speed", 0.05, 10.0, PlaceKind.RUN),
    ReadingKind.WHEEL_SPEED: Spec(Topic.COURSE, "speed", 0.05, 10.0, PlaceKind.RUN),
    ReadingKind.SATELLITE_SPEED: Spec(Topic.COURSE, "speed", 0.05, 10.0, PlaceKind.RUN),
}
"""Bounds are chosen: what no such machine has. So are the uncertainties: a rule held to a thing
that gives way 2 mm, to a chain 1 mm, between two pins 0.5 mm; a gauge read twice 1/4 psi (left
against right its own error cancels); a flow meter 3 %; a taped course 30 mm."""

SOUND, WORN = "sound", "worn"
SIDES, WAYS = ("left", "right"), ("there", "back")


class CheckKind(StrEnum):
    """What is judged, by its name in every answer. A measure that is judged itself has its own."""

    OIL_FLOW = "oil flow"
    OIL_FLOW_RESERVE = "oil flow reserve"
    TYRE_PRESSURE = "tyre pressure"
    TYRE_PRESSURE_DIFFERENCE = "tyre pressure difference"
    TYRE_RADIUS_DIFFERENCE = "tyre radius difference"
    FRAME_HEIGHT_DIFFERENCE = "frame height difference"
    BLADE_HEIGHT_SPREAD = "blade height spread"
    SHANK = "shank"
    SHANK_DIFFERENCE = "shank difference"
    BELT_SAG = "belt sag"
    BELT_SAG_MEAN = "belt sag mean"
    BELT_SAG_EVENNESS = "belt sag evenness"
    CHAIN_SLACK = "chain slack"
    CHAIN_LENGTH = "chain length"
    WEAR = "wear"


@dataclass(frozen=True, slots=True)
class Shown:
    """A thing that is judged or computed: its SI unit, and as what quantity it is told."""

    topic: Topic
    unit: str
    quantity: str


CHECKS: dict[CheckKind, Shown] = {
    CheckKind.OIL_FLOW: Shown(Topic.FLOW, "m3/s", "flow"),
    CheckKind.OIL_FLOW_RESERVE: Shown(Topic.FLOW, "1", "percent0"),
    CheckKind.TYRE_PRESSURE: Shown(Topic.TYRES, "Pa", "pressure"),
    CheckKind.TYRE_PRESSURE_DIFFERENCE: Shown(Topic.TYRES, "Pa", "pressure"),
    CheckKind.TYRE_RADIUS_DIFFERENCE: Shown(Topic.TYRES, "1", "percent1"),
    CheckKind.FRAME_HEIGHT_DIFFERENCE: Shown(Topic.LEVEL, "m", "gap"),
    CheckKind.BLADE_HEIGHT_SPREAD: Shown(Topic.BLADES, "m", "gap"),
    CheckKind.SHANK: Shown(Topic.SHANKS, "m", "gap"),
    CheckKind.SHANK_DIFFERENCE: Shown(Topic.SHANKS, "m", "gap"),
    CheckKind.BELT_SAG: Shown(Topic.BELT, "m", "gap"),
    CheckKind.BELT_SAG_MEAN: Shown(Topic.BELT, "m", "gap"),
    CheckKind.BELT_SAG_EVENNESS: Shown(Topic.BELT, "m", "gap"),
    CheckKind.CHAIN_SLACK: Shown(Topic.CHAINS, "m", "gap"),
    CheckKind.CHAIN_LENGTH: Shown(Topic.CHAINS, "m", "gap"),
    CheckKind.WEAR: Shown(Topic.WEAR, "", ""),
}


class Computed(StrEnum):
    """What is computed beside the checks, and not judged."""

    BELT_TENSION = "belt tension"
    CHAIN_SLACK_SHARE = "chain slack share"
    CHAIN_ELONGATION = "chain elongation"
    OIL_FLOW_NEEDED = "oil flow needed"
    SPEED_AT_FULL_FLOW = "belt speed at full flow"
    SPEED_CHANGE_COLD = "speed change with cold oil"
    SPEED_CHANGE_HOT = "speed change with hot oil"
    WHEEL_SPEED_DIFFERENCE = "wheel speed difference"
    TILT = "tilt"
    SHANK_DISTANCE = "shank distance"


FIGURES: dict[Computed, Shown] = {
    Computed.BELT_TENSION: Shown(Topic.BELT, "N", "pull"),
    Computed.CHAIN_SLACK_SHARE: Shown(Topic.CHAINS, "1", "percent1"),
    Computed.CHAIN_ELONGATION: Shown(Topic.CHAINS, "1", "percent1"),
    Computed.OIL_FLOW_NEEDED: Shown(Topic.FLOW, "m3/s", "flow"),
    Computed.SPEED_AT_FULL_FLOW: Shown(Topic.FLOW, "m/s", "speed"),
    Computed.SPEED_CHANGE_COLD: Shown(Topic.FLOW, "1", "percent1"),
    Computed.SPEED_CHANGE_HOT: Shown(Topic.FLOW, "1", "percent1"),
    Computed.WHEEL_SPEED_DIFFERENCE: Shown(Topic.TYRES, "1", "percent1"),
    Computed.TILT: Shown(Topic.LEVEL, "deg", "angle1"),
    Computed.SHANK_DISTANCE: Shown(Topic.SHANKS, "m", "gap"),
}

SAG_M, SAG_ROOM_M = 2.25 * INCH_M, 0.5 * INCH_M
SAG_SPREAD_M = HEIGHT_DIFFERENCE_M = BLADE_SPREAD_M = SHANK_ROOM_M = 0.5 * INCH_M
PRESSURE_ROOM_PA = 2 * PSI_PA
RADIUS_DIFFERENCE_REL = 0.02
OIL_FLOW_LOW_M3_PER_S = 15 * GALLONS_PER_MIN
MOTOR_EFFICIENCY, U_MOTOR_EFFICIENCY = 0.9, 0.03
WARM_OIL_C, COLD_OIL_C, HOT_OIL_C = 55.0, 20.0, 80.0
SLACK_SHARES = {"level": (0.02, 0.06), "vertical": (0.01, 0.03)}
ELONGATION_HIGH_REL = 0.03
"""Where the machine file says nothing. Common practice, no source: a belt hangs about 2 1/4 in
below the straight line, the same all across; both tyres alike, machine level, blade tips in one
line, shanks where `formulas.shank_offset_m` puts them; at least 15 US gal/min. How far off these
may be is chosen. A chain's middle moves 4 to 6 % of the span in all, 2 to 3 % where it stands
upright or reverses, and is worn out 3 % longer than new (guidance of a maker of ANSI B29.1
chain, read; the lower ends of the slack, half as much again below 4 and 2 %, are chosen). A
hydraulic motor turns by nine tenths of its oil (Esposito's examples have 90 to 94 %), give or
take 3 % (chosen)."""
