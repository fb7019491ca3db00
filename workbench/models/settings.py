"""What the bench remembers between starts: units, theme, sounds, the last machine and inputs.

One small JSON file in the user's settings folder. A file that cannot be read counts as
none, and is set aside before it would be written over; one that cannot be written costs the
settings, never the work.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path

from workbench.base.errors import Message, StoreError, WrongInput
from workbench.base.files import exists, free_name, is_file, read_json, write_file
from workbench.base.units import METRIC, US, UnitSystem
from workbench.models.observable import Observable
from workbench.words.language import _

UNIT_SYSTEMS = {"us": US, "metric": METRIC}
THEMES = ("bright", "dark")


@dataclass(slots=True)
class Remembered:
    units: str = "us"
    theme: str = "bright"
    sounds: bool = True
    machine_file: str = ""
    inputs: list[str] = field(default_factory=list)
    window: str = ""
    machine_draft: dict[str, str] = field(default_factory=dict)
    folder: str = ""
    cab: bool = False
    said: dict[str, str] = field(default_factory=dict)
    key_file: str = ""


class Settings(Observable):
    """The settings in use; each change is told and written."""

    def __init__(self, path: Path | None = None) -> None:
        super().__init__()
        self.path, self._now, strange = path, Remembered(), False
        if path is not None:
            self._now, strange = _read(path)
        self.aside = (
            free_name(path.with_name("settings-set-aside.json")) if path and strange else None
        )
        """Where the file goes before the first change: another version's program, a newer one
        perhaps, wrote what this one does not know."""

    @property
    def units(self) -> UnitSystem:
        return UNIT_SYSTEMS[self._now.units]

    @property
    def now(self) -> Remembered:
        return self._now

    def change(self, **values: object) -> None:
        """Set some of `Remembered`'s values. Raises ValueError for one that cannot be."""
        wanted = asdict(self._now) | values
        problem = _problem(wanted)
        if problem:
            raise ValueError(problem)
        self._now = Remembered(**wanted)
        self.write()
        self.changed()

    def write(self) -> StoreError | None:
        """Keep them in their file; why it is not possible where it is not."""
        if self.path is None:
            return None
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            if self.aside is not None:
                self.path.rename(self.aside)
                self.aside = None
            write_file(self.path, json.dumps(asdict(self._now), indent=1), sync=False)
        except StoreError as error:
            return error
        except OSError as error:
            return StoreError(
                "{path} cannot be written: {why}.", path=self.path, why=error.strerror or error
            )
        return None


def default_path() -> Path:
    """Where the settings lie for this user."""
    from platformdirs import user_config_path

    return user_config_path("evenpace") / "settings.json"


def _read(path: Path) -> tuple[Remembered, bool]:
    """What the file holds, and whether it holds what this program does not know."""
    if not exists(path):
        return Remembered(), False
    try:
        found = read_json(path, Message("settings"))
    except WrongInput:
        return Remembered(), is_file(path)
    if not isinstance(found, dict):
        return Remembered(), True
    known = {entry.name for entry in fields(Remembered)}
    wanted = asdict(Remembered()) | {name: found[name] for name in known & found.keys()}
    if _problem(wanted):
        return Remembered(), True
    return Remembered(**wanted), not found.keys() <= known


def _problem(values: dict[str, object]) -> str:
    if values["units"] not in UNIT_SYSTEMS:
        return _("units are one of {unit_systems}, not {values!r}").format(
            unit_systems=", ".join(UNIT_SYSTEMS), values=values["units"]
        )
    if values["theme"] not in THEMES:
        return _("the theme is one of {themes}, not {values!r}").format(
            themes=", ".join(THEMES), values=values["theme"]
        )
    unknown = set(values) - {entry.name for entry in fields(Remembered)}
    if unknown:
        return _("no such setting: {unknown}").format(unknown=", ".join(sorted(unknown)))
    right = {
        "sounds": bool,
        "machine_file": str,
        "window": str,
        "folder": str,
        "key_file": str,
        "cab": bool,
        "inputs": list,
        "machine_draft": dict,
        "said": dict,
    }
    wrong = [name for name, kind in right.items() if not isinstance(values[name], kind)]
    return (
        _("{wrong} cannot be {values!r}").format(wrong=wrong[0], values=values[wrong[0]])
        if wrong
        else ""
    )
