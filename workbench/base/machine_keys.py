"""The keys of a machine file: what the value of each must be."""

from __future__ import annotations

import difflib
import math
import reprlib
from collections.abc import Callable, Iterable
from datetime import date
from typing import Any, NamedTuple

from workbench.base.errors import Message, WrongInput
from workbench.base.typed import LEAST, MOST, parse_setting_unit
from workbench.base.units import SPEED_UNITS_MPS


def _is_setting_unit(text: str) -> bool:
    try:
        parse_setting_unit(text)
    except WrongInput:
        return False
    return True


class Check(NamedTuple):
    """What a key's value must be; `low` and `high` in SI where it is a number between two."""

    kind: type
    expected: Message
    holds: Callable[[Any], bool]
    low: float = -math.inf
    high: float = math.inf

    def wrong(self, value: Any) -> Message | None:
        """What would be right, None where `value` is."""
        wanted = (int, float) if self.kind is float else self.kind
        right = isinstance(value, wanted) and not isinstance(value, bool)
        sane = right and (self.kind is str or -MOST <= value <= MOST)
        return None if sane and self.holds(value) else self.expected


def it_is(value: Any) -> Message:
    """What stands there, short."""
    if isinstance(value, int) and abs(value) > MOST:
        return Message("it is a number of too many digits")
    return Message("it is {value}", value=reprlib.repr(value))


def nearest(key: str, known: Iterable[str], otherwise: Message | str) -> Message | str:
    """The key that was meant, or else what would be right."""
    near = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
    return f"'{near[0]}'" if near else otherwise


def positive(expected: Message) -> Check:
    return Check(float, expected, lambda value: LEAST <= value <= MOST, low=0)


def not_negative(expected: Message) -> Check:
    return Check(float, expected, lambda value: value == 0 or LEAST <= value <= MOST, low=0)


def between(low: float, high: float, expected: Message) -> Check:
    return Check(float, expected, lambda value: low <= value <= high, low, high)


def count(least: int, most: int, expected: Message) -> Check:
    return Check(int, expected, lambda v: least <= v <= most, least, most)


def one_of(*words: str) -> Check:
    quoted = ", ".join(f'"{word}"' for word in words)
    return Check(str, Message("one of {words}", words=quoted), lambda v: v in words)


def is_day(text: str) -> bool:
    try:
        return not text or bool(date.fromisoformat(text))
    except ValueError:
        return False


_IN_QUOTES = Message("text in quotes")
TEXT = Check(str, _IN_QUOTES, lambda _value: True)
SOME_TEXT = Check(str, _IN_QUOTES, lambda value: bool(value.strip()))
_LENGTH = Message("a length in metres, 0 or more")
_SOME_LENGTH = Message("a length in metres above 0")
_SPEED = Message("0 to 10 m/s")
_RATIO = Message("a ratio belt ÷ ground from 0.2 to 5")
_GAP = Message("0.0001 to 0.02 metres")
_SAG = Message("0.001 to 0.5 metres")
_EVEN = Message("an even number of rows from 2 to 24")

CHECKS: dict[str, Check] = {
    "name": SOME_TEXT,
    "serial": Check(str, Message("the serial number, text in quotes"), lambda value: True),
    "belt.lap_length_m": between(1, 60, Message("1 to 60 metres for one lap")),
    "belt.u_lap_length_m": positive(_SOME_LENGTH),
    "drive.target_teeth": count(
        1, 500, Message("the teeth of the target wheel, a whole number 1 to 500")
    ),
    "drive.turns_per_target_turn": between(0.01, 100, Message("a ratio from 0.01 to 100")),
    "drive.kind": one_of("sprocket", "roll"),
    "drive.sprocket_teeth": count(
        3, 200, Message("the teeth of the drive sprocket, a whole number 3 to 200")
    ),
    "drive.rod_pitch_m": between(0.005, 0.5, Message("0.005 to 0.5 metres")),
    "drive.roll_diameter_m": between(0.02, 2, Message("0.02 to 2 metres")),
    "drive.pitch_line_offset_m": between(0, 0.05, Message("0 to 0.05 metres")),
    "drive.u_rod_pitch_m": not_negative(_LENGTH),
    "drive.u_roll_diameter_m": not_negative(_LENGTH),
    "drive.u_pitch_line_offset_m": not_negative(_LENGTH),
    "drive.measured_on": Check(str, Message("a day such as 2026-09-14, or ''"), is_day),
    "readout.unit": one_of(*SPEED_UNITS_MPS),
    "readout.step": positive(Message("the smallest change shown, in the readout's unit, above 0")),
    "readout.setting": positive(Message("the number set in the readout, above 0")),
    "readout.setting_unit": Check(
        str,
        Message(
            "pulses a distance ('pulses/100 ft', 'pulses/m'), a distance a pulse ('mm/pulse') or "
            "a turn ('in/turn', 'm/turn'), or '' for a bare number"
        ),
        _is_setting_unit,
    ),
    "readout.setting_step": positive(Message("the smallest change of the setting, above 0")),
    "readout.reads": one_of("direct", "inverse"),
    "readout.rounds": one_of("nearest", "down"),
    "readout.setting_low": not_negative(Message("the smallest setting, 0 or more")),
    "readout.setting_high": positive(Message("the largest setting above 0")),
    "pickup.kind": one_of("variable-reluctance", "hall", "inductive"),
    "pickup.gap_best_m": between(0.0001, 0.02, _GAP),
    "pickup.gap_max_m": between(0.0001, 0.02, _GAP),
    "pickup.clock_ppm": between(
        0.1, 100_000, Message("0.1 to 100000 millionths, 50 for a usual crystal")
    ),
    "limits.ratio_low": between(0.2, 5, _RATIO),
    "limits.ratio_high": between(0.2, 5, _RATIO),
    "limits.speed_low_mps": between(0, 10, _SPEED),
    "limits.speed_high_mps": Check(float, _SPEED, lambda v: 0 < v <= 10, 0, 10),
    "limits.readout_error": between(0.0001, 0.5, Message("a share from 0.0001 to 0.5")),
    "prepare.belt_span_m": between(0.2, 20, Message("0.2 to 20 metres between two rolls")),
    "prepare.belt_kg_per_metre": between(0.1, 200, Message("0.1 to 200 kg a metre of belt")),
    "prepare.belt_sag_low_m": between(0.001, 0.5, _SAG),
    "prepare.belt_sag_high_m": between(0.001, 0.5, _SAG),
    "prepare.belt_sag_spread_m": between(0.001, 0.5, _SAG),
    "prepare.motor_volume_m3": between(1e-6, 0.01, Message("0.000001 to 0.01 m³ a turn")),
    "prepare.motor_turns_per_shaft_turn": between(0.01, 100, Message("a ratio from 0.01 to 100")),
    "prepare.motor_efficiency": between(0.3, 1, Message("a share from 0.3 to 1")),
    "prepare.oil_flow_low_m3_per_s": between(1e-6, 0.02, Message("0.000001 to 0.02 m³/s")),
    "prepare.tyre_pressure_pa": between(10e3, 1e6, Message("10 000 to 1 000 000 Pa")),
    "prepare.level_width_m": between(0.2, 20, Message("0.2 to 20 metres")),
    "prepare.rows": one_of("single", "twin"),
    "prepare.row_count": Check(int, _EVEN, lambda v: 2 <= v <= 24 and v % 2 == 0, 2, 24),
    "prepare.row_spacing_m": between(0.3, 2, Message("0.3 to 2 metres from row to row")),
    "prepare.twin_spacing_m": between(0.1, 0.4, Message("0.1 to 0.4 metres between twins")),
    "prepare.shank_offset_m": between(0.02, 1, Message("0.02 to 1 metres from its row")),
}
