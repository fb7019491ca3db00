"""The machine file as a form: every entry kept as typed, checked at once, each for itself.

A draft is never lost in silence: what it replaces is put aside and can be brought back.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from workbench.base.errors import MachineFileError, Message, WrongInput
from workbench.base.machine import (
    LOW_AND_HIGH,
    Machine,
    default_of,
    keys,
    machine_sections,
    parse_machine,
)
from workbench.base.preparation import LISTS
from workbench.base.units import METRIC, US, UnitSystem
from workbench.models.machine import fields
from workbench.models.machine.fields import NAMES, NEEDED, NEEDED_FOR, ONLY_FOR
from workbench.models.observable import Observable
from workbench.words.language import _
from workbench.words.words import Words

DRAFT_PATH, DRAFT_LISTS = "path", "lists"


@dataclass(frozen=True, slots=True)
class FormEntry:
    """One entry: as typed and in which units, its value in SI, and what is wrong with it.

    `value` is None where the text cannot be read; a value may be wrong all the same.
    """

    typed: str
    units: UnitSystem
    value: Any
    said: str = ""


@dataclass(slots=True)
class Draft:
    """Everything a form holds; `kept` is what its file, or the machine shown, says, `lists` the
    tables of it that the form shows nothing of."""

    entries: dict[str, FormEntry] = field(default_factory=dict)
    kept: dict[str, Any] = field(default_factory=dict)
    path: Path | None = None
    lists: dict[str, list[dict[str, Any]]] = field(default_factory=dict)

    def content(self) -> dict[str, Any]:
        """What the entries say, however it was typed."""
        return {
            key: entry.typed if entry.value is None else entry.value
            for key, entry in self.entries.items()
        }

    @property
    def changed(self) -> bool:
        return self.content() != self.kept


class MachineForm(Observable):
    """Entries by key ('drive.target_teeth'), as text in the person's own units.

    `errors` holds a sentence for each wrong entry, `needed` the keys still to be filled;
    `machine` is the machine the form makes, None while something is wrong or missing.
    """

    def __init__(
        self, units: UnitSystem, machine: Machine | None = None, path: Path | None = None
    ) -> None:
        super().__init__()
        self.units = units
        self.errors: dict[str, str] = {}
        self.needed: list[str] = []
        self.machine: Machine | None = None
        self._draft = Draft()
        self._aside: Draft | None = None
        if machine is not None:
            self.show(machine, path)
        else:
            self._judge()

    @property
    def entries(self) -> dict[str, str]:
        """Every entry that is not empty, as the person reads it now."""
        return self._texts(self._draft)

    @property
    def path(self) -> Path | None:
        """The file this draft belongs to."""
        return self._draft.path

    @property
    def changed_since_kept(self) -> bool:
        """Whether the draft differs from its file, or from the machine it was filled from."""
        return self._draft.changed

    @property
    def saved(self) -> bool:
        """Whether a file holds just this."""
        return self.path is not None and not self._draft.changed

    @property
    def can_bring_back(self) -> bool:
        """Whether an unsaved draft was put aside."""
        return self._aside is not None

    def text(self, key: str) -> str:
        """An entry as the person reads it: as typed in the units it was typed in."""
        return self.entries.get(key, "")

    def value(self, key: str) -> Any:
        """An entry's value in SI, its default where it is empty, None where it is wrong."""
        entry = self._draft.entries.get(key)
        if entry is None:
            return default_of(key)
        return None if entry.said else entry.value

    def applies(self, key: str) -> bool:
        """Whether the key matters for the kind of drive chosen."""
        kind = self.text("drive.kind")
        return ONLY_FOR.get(key, kind) == kind

    def unit(self, key: str) -> str:
        """The unit of an entry, '' where it has none."""
        return fields.unit_of(key, self.units, str(self.value("readout.unit") or ""))

    def show(self, machine: Machine, path: Path | None = None) -> None:
        """Fill the form from a machine: with what its file says, or else with all of it."""
        sections: Mapping[str, Any] = (
            tomllib.loads(machine.text) if machine.text else machine_sections(machine)
        )
        flat: dict[str, Any] = {"name": machine.name, "serial": machine.serial}
        for section, values in sections.items():
            if isinstance(values, dict) and section not in LISTS:
                flat |= {f"{section}.{key}": value for key, value in values.items()}
        if not machine.serial:
            del flat["serial"]
        if not machine.text:
            flat = {key: value for key, value in flat.items() if value != default_of(key)}
        kinds = keys()
        entries = {key: self._entry(key, kinds[key](value)) for key, value in flat.items()}
        lists = {name: sections[name] for name in LISTS if name in sections}
        draft = Draft(entries, path=path, lists=lists)
        draft.kept = draft.content()
        self._replace(draft)

    def follow(self, machine: Machine | None, path: Path | None) -> bool:
        """Show the machine now in use, unless a changed draft stands; whether it is shown.

        A machine of the same name that came without a file is taken for a changed one of
        the file open here: saving writes it there.
        """
        if self._draft.changed and machine != self.machine:
            return False
        if machine is None or machine == self.machine:
            return machine is not None
        mine = self._draft
        self.show(machine, path)
        if path is None and mine.path is not None and self.text("name") == mine.kept.get("name"):
            self._draft.path, self._draft.kept = mine.path, mine.kept
            self.changed()
        return True

    def clear(self) -> None:
        """A new, empty machine."""
        self._replace(Draft())

    def duplicate(self) -> None:
        """The same once more, to be named; no file has it yet."""
        own = ("name", "serial")
        copy = {key: entry for key, entry in self._draft.entries.items() if key not in own}
        self._replace(Draft(copy, lists=self._draft.lists))

    def bring_back(self) -> None:
        """Show the draft that was put aside; the one shown now is put aside in its place."""
        if self._aside is not None:
            draft, self._aside = self._aside, None
            self._replace(draft)

    def use_units(self, units: UnitSystem) -> None:
        """Show every number in these units from now on."""
        self.units = units
        for key, entry in self._draft.entries.items():
            if entry.said and entry.value is not None:
                said = fields.wrong(key, entry.value, units)
                self._draft.entries[key] = FormEntry(entry.typed, entry.units, entry.value, said)
        self._judge()

    def type(self, key: str, text: str) -> None:
        """Take an entry as typed; '' leaves the key out. Wrong text stays and gets a sentence."""
        if text.strip():
            self._draft.entries[key] = self._read(key, text)
        else:
            self._draft.entries.pop(key, None)
        self._judge()

    def to_toml(self) -> str:
        """The form as a machine file; entries that are wrong are left out."""
        lines: list[str] = []
        section = ""
        for key in keys():
            entry = self._draft.entries.get(key)
            if entry is None or entry.said:
                continue
            head, _, tail = key.rpartition(".")
            if head != section:
                lines += ["", f"[{head}]"]
                section = head
            lines.append(f"{tail} = {_toml(entry.value)}")
        for name, tables in self._draft.lists.items():
            for table in tables:
                lines += ["", f"[[{name}]]"]
                lines += [f"{key} = {_toml(value)}" for key, value in table.items()]
        return "\n".join(lines) + "\n"

    def content(self) -> dict[str, Any]:
        """What the entries say now, for `was_saved`."""
        return self._draft.content()

    def was_saved(self, path: Path, content: dict[str, Any]) -> None:
        """That file now holds what the entries said when it was written."""
        self._draft.path, self._draft.kept = path, content
        self.changed()

    def to_remember(self) -> dict[str, str]:
        """The unsaved draft, shown or put aside, as texts by key; empty where there is none."""
        draft = self._draft if self._draft.changed else self._aside
        if draft is None or not draft.entries:
            return {}
        place = {DRAFT_PATH: str(draft.path)} if draft.path else {}
        if draft.lists:
            place[DRAFT_LISTS] = json.dumps(draft.lists, default=str)
        return place | {
            key: json.dumps([entry.typed, entry.units.name, entry.value])
            for key, entry in draft.entries.items()
        }

    def remember(self, texts: Mapping[str, object]) -> None:
        """Put a draft from an earlier start aside, so that it can be brought back."""
        known = {key: self._remembered(key, texts[key]) for key in NAMES if key in texts}
        entries = {key: entry for key, entry in known.items() if entry is not None}
        path = texts.get(DRAFT_PATH)
        if entries:
            place = Path(path) if isinstance(path, str) else None
            lists = json.loads(str(texts.get(DRAFT_LISTS, "{}")))
            self._aside = Draft(entries, path=place, lists=lists)
            self.changed()

    def _remembered(self, key: str, text: object) -> FormEntry | None:
        """An entry as `to_remember` told it; None where the settings hold something else."""
        try:
            typed, units_name, value = json.loads(str(text))
        except (ValueError, TypeError):
            return None
        if not isinstance(typed, str) or not isinstance(value, keys()[key] | None):
            return None
        units = METRIC if units_name == METRIC.name else US
        if value is None:
            return self._read(key, typed)
        return FormEntry(typed, units, value, fields.wrong(key, value, self.units))

    def _texts(self, draft: Draft) -> dict[str, str]:
        return {
            key: entry.typed
            if entry.value is None or entry.units is self.units
            else fields.show(key, entry.value, self.units)
            for key, entry in draft.entries.items()
        }

    def _replace(self, draft: Draft) -> None:
        if self._draft.changed and self._draft.entries:
            self._aside = self._draft
        self._draft = draft
        self._judge()

    def _entry(self, key: str, value: Any) -> FormEntry:
        return FormEntry(fields.show(key, value, self.units), self.units, value)

    def _read(self, key: str, text: str) -> FormEntry:
        try:
            value = fields.read(key, text.strip(), self.units)
        except WrongInput as error:
            return FormEntry(text, self.units, None, str(error))
        return FormEntry(text, self.units, value, fields.wrong(key, value, self.units))

    def _judge(self) -> None:
        """The machine, if the form makes one, and what keeps it from that."""
        entries = self._draft.entries
        self.errors = {k: e.said for k, e in entries.items() if e.said and self.applies(k)}
        for low_key, high_key in LOW_AND_HIGH:
            said = self._crossed(low_key, high_key)
            if said:
                self.errors.setdefault(high_key, said)
        wanted = [*NEEDED, *NEEDED_FOR.get(self.text("drive.kind"), ())]
        self.needed = [key for key in wanted if key not in entries]
        self.machine = None
        if not self.errors and not self.needed:
            try:
                self.machine = parse_machine(self.to_toml())
            except MachineFileError as error:
                values = {"found": error.found, "expected": error.expected}
                wrong = Message("{found}; expected {expected}.", **values)
                self.errors[error.key] = Words(self.units).say(wrong).capitalize()
        self.changed()

    def _crossed(self, low_key: str, high_key: str) -> str:
        """What is wrong where the lower of two limits is not below the higher; '' if it is."""
        low, high = self.value(low_key), self.value(high_key)
        typed = low_key in self._draft.entries or high_key in self._draft.entries
        if low is None or high is None or not typed or not high <= low:
            return ""
        shown = " ".join(filter(None, (fields.show(low_key, low, self.units), self.unit(low_key))))
        name = _(NAMES[low_key])[0].lower() + _(NAMES[low_key])[1:]
        return _("{names} must be more than the {name}, {shown}.").format(
            names=_(NAMES[high_key]), name=name, shown=shown
        )


def _toml(value: Any) -> str:
    if isinstance(value, date):
        return value.isoformat()
    if not isinstance(value, str):
        return repr(value)
    # JSON escapes all that TOML wants escaped, but for DEL.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
