"""Scenarios: what is done to the simulated machine, in plain words, with its truth.

A scenario is a TOML file; the built-in ones lie in `sim/library`. One's own::

    title = "Oil cold, belt a little tight"
    paragraph = "What happens, for the person who picks it."
    rehearses = "pass"          # see REHEARSES
    base = "cold-oil"           # start from a built-in one ('healthy' where left out)
    cause = "oil-warming"       # see CAUSES
    speed_is = "right"          # see SPEED_IS

    [hydraulics]                # sections and keys: the classes of `sim.spec`
    oil_start_c = [0, 10]       # a pair: each seed draws evenly from it
    [[valve]]                   # the flow control's moves; [[pace]]: the ground speed's
    at_s = 60
    to = 0.9                    # times the opening at the start
    over_s = 1
    [typed.drive]               # what the machine file says where it differs
    target_teeth = 28

`load` takes a built-in name or the path of such a file and refuses a wrong one with the
key, the value and what would be right.
"""

from __future__ import annotations

import difflib
import math
import os
import tomllib
from collections.abc import Mapping
from dataclasses import Field, dataclass, field, fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from drivers.contract import AddressError, Note
from sim import spec, typed
from sim.streams import stream

CAUSES: dict[str, str] = {
    "none": "belt and ground keep pace and the pulses tell the truth",
    "valve-off": "flow control set off by a constant factor",
    "oil-warming": "oil warms and the motor leaks more",
    "engine-droop": "engine speed falls under load, and the belt with it",
    "belt-slip": "belt slips on its drive roll",
    "roll-build-up": "something built up on the drive roll",
    "valve-moved": "flow control bumped or stuck at a moment",
    "belt-not-following": "ground speed varies and the belt follows nothing",
    "wheel-slip": "the tractor's wheels slip, so its wheel speed reads high",
    "wrong-setting": "wrong number in the readout, or wrong tooth count",
    "losing-pulses": "pulses get lost, the more the slower the belt",
    "extra-pulses": "pulses that no tooth made",
    "damaged-wheel": "a bent, worn or missing tooth",
    "gnss-unusable": "satellite speed drops out or is too noisy",
}
"""What a scenario's truth names as the cause, in words."""

SPEED_IS: dict[str, str] = {
    "right": "the pulses tell the belt speed within its uncertainty",
    "warned": "the pulses alone mislead, and the recording shows that they do",
    "off": "the pulses cannot tell; only the lap mark shows it",
}
"""What to expect of a belt speed computed with the typed machine file."""

REHEARSES: dict[str, str] = {
    "pass": "a test pass over the field",
    "calibration": "a calibration of the readout in the shop",
    "gap": "a check of the pickups and their wheels",
}
"""What a scenario is for, in words."""

Drawn = float | str | tuple[float, float]
_LIBRARY = Path(__file__).parent / "library"
_MOST_BYTES = 1_000_000
MOST_PULSES_HZ = 10_000.0
_WORDS = ("title", "paragraph", "rehearses", "base", "cause", "speed_is")


@dataclass(frozen=True, slots=True)
class Scenario:
    """One scenario; `values[section][key]` holds what differs from the defaults."""

    name: str
    title: str
    paragraph: str
    rehearses: str
    cause: str
    speed_is: str
    values: Mapping[str, Mapping[str, Drawn]]
    moves: Mapping[str, tuple[Mapping[str, Drawn], ...]]
    typed: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    @property
    def machine_text(self) -> str:
        """The machine file that the technician would have typed."""
        return typed.machine_text(self)

    def draw(self, seed: int) -> spec.Plan:
        """One seed's values; each section has its own stream, each key its own draw."""
        sections: dict[str, Any] = {
            section: _drawn(kind, self.values.get(section, {}), stream(seed, f"plan.{section}"))
            for section, kind in spec.SECTIONS.items()
        }
        for name in spec.MOVES:
            rng = stream(seed, f"plan.{name}")
            moves = self.moves.get(name, ())
            sections[name] = tuple(_drawn(spec.Move, move, rng) for move in moves)
        return spec.Plan(**sections)

    def value(self, section: str, key: str) -> Any:
        """What the scenario sets, else the default; the middle of a pair."""
        kind = spec.SECTIONS[section]
        default = next(entry.default for entry in fields(kind) if entry.name == key)
        value = self.values.get(section, {}).get(key, default)
        return (value[0] + value[1]) / 2 if isinstance(value, tuple) else value


def _drawn(kind: type, given: Mapping[str, Drawn], rng: np.random.Generator) -> Any:
    """One section, its pairs drawn; every key takes its own number from `rng`."""
    chosen: dict[str, Any] = {}
    for entry in fields(kind):
        share = rng.random()
        value: Any = given.get(entry.name, entry.default)
        if isinstance(value, tuple):
            value = value[0] + share * (value[1] - value[0])
        chosen[entry.name] = round(value) if isinstance(entry.default, int) else value
    return kind(**chosen)


def load(name: str | Path) -> Scenario:
    """A built-in scenario by name, or one's own by the path of its TOML file.

    Raises AddressError.
    """
    text = str(name)
    if text in SCENARIOS:
        return SCENARIOS[text]
    path = Path(text)
    # Not pathlib's, which raises an error of a name that no file can have.
    if path.suffix.lower() == ".toml" or os.path.isfile(path):  # noqa: PTH113
        return _read(path)
    near = difflib.get_close_matches(text.lower(), SCENARIOS, n=1, cutoff=0.4)
    hint = Note("did you mean 'sim:{near}'? ", near=near[0]) if near else ""
    raise AddressError(
        "sim:{text}: no scenario has this name; {hint}The scenarios are "
        "{scenarios}, or the path of a scenario file ending in .toml.",
        text=text,
        hint=hint,
        scenarios=", ".join(SCENARIOS),
    )


def _read(path: Path) -> Scenario:
    reason = "it is larger than 1 MB"
    try:
        if path.exists() and not path.is_file():
            reason = "it is a directory, a device or a pipe, not a file"
        else:
            with path.open("rb") as file:
                data = file.read(_MOST_BYTES + 1)
            if len(data) <= _MOST_BYTES:
                return parse(data.decode("utf-8-sig"), path.stem, str(path))
    except UnicodeDecodeError as error:
        reason = Note("byte {start} is not UTF-8 text", start=error.start)
    except OSError as error:
        reason = error.strerror or "it cannot be read"
    raise AddressError(
        "{path}: {reason}; expected a scenario in TOML.", path=path, reason=Note(reason)
    )


def parse(text: str, name: str, place: str) -> Scenario:
    """A scenario from TOML text; `place` is for the error's sentence. Raises AddressError."""
    try:
        table = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # TOML's own; numbers and nests too large
        raise AddressError(
            "{place}: it is not TOML ({error}); expected key = value.", place=place, error=error
        ) from None
    known = (*_WORDS, *spec.SECTIONS, *spec.MOVES, "typed")
    for key in table:
        if key not in known:
            raise _refusal(place, key, "no such key is known", _near(key, known))
    base = _base(table, place)
    values = {key: dict(inner) for key, inner in base.values.items()} if base else {}
    for section, kind in spec.SECTIONS.items():
        given = _table(table, section, place)
        values[section] = values.get(section, {}) | _checked(kind, given, section, place)
    moves = dict(base.moves) if base else {}
    moves |= {key: _moves(table[key], key, place) for key in spec.MOVES if key in table}
    scenario = Scenario(
        name=name,
        title=_word(table, "title", name, place),
        paragraph=" ".join(_word(table, "paragraph", "", place).split()),
        rehearses=_choice(table, "rehearses", base.rehearses if base else "pass", REHEARSES, place),
        cause=_choice(table, "cause", base.cause if base else "none", CAUSES, place),
        speed_is=_choice(table, "speed_is", base.speed_is if base else "right", SPEED_IS, place),
        values=values,
        moves=moves,
        typed=_typed(table, base, place),
    )
    _check_together(scenario, place)
    return scenario


def _base(table: Mapping[str, Any], place: str) -> Scenario | None:
    name = table.get("base")
    if name is None:
        return None
    if not isinstance(name, str) or name not in SCENARIOS:
        raise _refusal(
            place, "base", Note("it is {name!r}", name=name), "one of " + ", ".join(SCENARIOS)
        )
    return SCENARIOS[name]


def _refusal(place: str, key: str, found: str, expected: str) -> AddressError:
    return AddressError(
        "{place}, key '{key}': {found}; expected {expected}.",
        place=place,
        key=key,
        found=found,
        expected=expected,
    )


def _near(key: str, known: tuple[str, ...]) -> str:
    near = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
    return f"'{near[0]}'" if near else "one of " + ", ".join(known)


def _table(table: Mapping[str, Any], key: str, place: str) -> Mapping[str, Any]:
    inner = table.get(key, {})
    if not isinstance(inner, dict):
        raise _refusal(place, key, Note("it is {inner!r}", inner=inner), f"a section [{key}]")
    return inner


def _word(table: Mapping[str, Any], key: str, default: str, place: str) -> str:
    value = table.get(key, default)
    if not isinstance(value, str):
        raise _refusal(place, key, Note("it is {value!r}", value=value), "text in quotes")
    return value


def _choice(
    table: Mapping[str, Any], key: str, default: str, known: Mapping[str, str], place: str
) -> str:
    value = table.get(key, default)
    if value not in known:
        raise _refusal(
            place, key, Note("it is {value!r}", value=value), "one of " + ", ".join(known)
        )
    return str(value)


def _numbered(items: list[Any]) -> enumerate[Any]:
    return enumerate(items, 1)


def _lowest(value: Drawn) -> float:
    return value[0] if isinstance(value, tuple) else float(value)


def _highest(value: Drawn) -> float:
    return value[1] if isinstance(value, tuple) else float(value)


def _checked(kind: type, given: Mapping[str, Any], section: str, place: str) -> dict[str, Drawn]:
    entries = {entry.name: entry for entry in fields(kind)}
    checked: dict[str, Drawn] = {}
    for key, value in given.items():
        full = f"{section}.{key}"
        if key not in entries:
            raise _refusal(place, full, "no such key is known", _near(key, tuple(entries)))
        checked[key] = _value(entries[key], value, full, place)
    return checked


def _value(entry: Field[Any], value: Any, full: str, place: str) -> Drawn:
    meta = entry.metadata
    if "words" in meta:
        if value not in meta["words"]:
            raise _refusal(
                place,
                full,
                Note("it is {value!r}", value=value),
                "one of " + ", ".join(meta["words"]),
            )
        return str(value)
    whole = isinstance(entry.default, int)
    what = "a whole number" if whole else "a number"
    expected = f"{what} from {meta['low']:g} to {meta['high']:g}"
    if not meta[spec.ALWAYS_SAME]:
        expected += ", or a pair [low, high] of them"
    pair = value if isinstance(value, list) else [value]
    for item in pair:
        right = isinstance(item, int if whole else (int, float)) and not isinstance(item, bool)
        if not right or not meta["low"] <= item <= meta["high"]:
            raise _refusal(place, full, Note("it is {value!r}", value=value), expected)
    if not isinstance(value, list):
        return float(value)
    if meta[spec.ALWAYS_SAME] or len(pair) != 2 or pair[0] > pair[1]:
        raise _refusal(place, full, Note("it is {value!r}", value=value), expected)
    return float(pair[0]), float(pair[1])


def checked_together(
    scenario: Scenario, given: Mapping[str, Mapping[str, Any]], place: str
) -> Scenario:
    """The scenario with other values in some sections. Raises AddressError for a wrong one."""
    values = {section: dict(inner) for section, inner in scenario.values.items()}
    for section, inner in given.items():
        checked = _checked(spec.SECTIONS[section], inner, section, place)
        values[section] = values.get(section, {}) | checked
    found = replace(scenario, values=values)
    _check_together(found, place)
    return found


def _check_together(scenario: Scenario, place: str) -> None:
    """What only several keys together can get wrong."""
    teeth = scenario.value("drive", "target_teeth")
    for side in ("left", "right"):
        for key in ("bent_tooth", "worn_tooth", "missing_tooth"):
            most = _highest(scenario.values.get(side, {}).get(key, 0))
            if most > teeth:
                expected = Note("at most {teeth:g}, the target wheel's teeth", teeth=teeth)
                raise _refusal(place, f"{side}.{key}", Note("it is {most:g}", most=most), expected)
    lap_m, _ = typed.lap_length(scenario)
    if not 1 <= lap_m <= 60:
        found = Note("with drive.rod_pitch_m it makes a lap of {lap_m:g} m", lap_m=lap_m)
        raise _refusal(place, "drive.lap_rods", found, "a lap of 1 to 60 m")
    speed_mps = scenario.value("ground", "ratio") * scenario.value("ground", "speed_mps")
    rate_hz = speed_mps / typed.metres_per_pulse(scenario)
    if rate_hz > MOST_PULSES_HZ:
        expected = Note(
            "at most {most_pulses_hz:g} pulses a second, as a counter can count",
            most_pulses_hz=MOST_PULSES_HZ,
        )
        raise _refusal(
            place,
            "drive",
            Note("it makes {rate_hz:.0f} pulses a second", rate_hz=rate_hz),
            expected,
        )


def _moves(value: Any, key: str, place: str) -> tuple[Mapping[str, Drawn], ...]:
    if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
        raise _refusal(
            place,
            key,
            Note("it is {value!r}", value=value),
            Note("sections [[{key}]] with at_s, to, over_s", key=key),
        )
    moves = [
        _checked(spec.Move, item, f"{key} {number}", place) for number, item in _numbered(value)
    ]
    end_s = 0.0
    for number, move in _numbered(moves):
        at_s, over_s = (
            move.get(name, default) for name, default in (("at_s", 0.0), ("over_s", 1.0))
        )
        if _lowest(at_s) < end_s:
            expected = Note("at least {end_s:g}, when the move before it has ended", end_s=end_s)
            raise _refusal(
                place, f"{key} {number}.at_s", Note("it is {at_s:g}", at_s=_lowest(at_s)), expected
            )
        end_s = _highest(at_s) + _highest(over_s)
    return tuple(moves)


def _typed(
    table: Mapping[str, Any], base: Scenario | None, place: str
) -> dict[str, dict[str, Any]]:
    merged = {key: dict(inner) for key, inner in base.typed.items()} if base else {}
    given = _table(table, "typed", place)
    for section, inner in given.items():
        if section not in typed.KEYS or not isinstance(inner, dict):
            expected = "sections [typed." + "], [typed.".join(typed.KEYS) + "]"
            raise _refusal(place, f"typed.{section}", "it is no section of these", expected)
        for key, value in inner.items():
            full = f"typed.{section}.{key}"
            if key not in typed.KEYS[section]:
                raise _refusal(place, full, "no such key is known", _near(key, typed.KEYS[section]))
            if not isinstance(value, str | int | float) or (
                isinstance(value, float) and not math.isfinite(value)
            ):
                raise _refusal(
                    place, full, Note("it is {value!r}", value=value), "a number or text in quotes"
                )
        merged[section] = merged.get(section, {}) | inner
    return merged


SCENARIOS: dict[str, Scenario] = {}
"""The built-in scenarios by name, 'healthy' first."""


def _load_library() -> None:
    paths = sorted(_LIBRARY.glob("*.toml"), key=lambda path: (path.stem != "healthy", path.stem))
    texts = {path.stem: path.read_text("utf-8") for path in paths}
    based = {name: tomllib.loads(text).get("base", "") for name, text in texts.items()}
    while texts:
        ready = [name for name in texts if not based[name] or based[name] in SCENARIOS]
        if not ready:
            raise RuntimeError(f"the scenarios {', '.join(texts)} stand on no known base")
        for name in ready:
            SCENARIOS[name] = parse(texts.pop(name), name, f"sim:{name}")


_load_library()
