"""Statements, verdicts and errors in sentences: a person's language and units, last of all."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import tzinfo
from enum import StrEnum
from typing import Any, Protocol, runtime_checkable
from unicodedata import category

from workbench.base.numbers import Formatter, Quantity, quantities
from workbench.base.statements import PlusMinus, Statement
from workbench.base.units import METRIC, UnitSystem
from workbench.words.catalogue import sentences
from workbench.words.language import Language, Plural, Template, _, current
from workbench.words.moments import day_text, local, moment_text, zone_text


@runtime_checkable
class Worded(Protocol):
    """What carries its own template, as every error does."""

    @property
    def template(self) -> str: ...
    @property
    def values(self) -> Mapping[str, Any]: ...


def printable(text: str) -> str:
    """A name as it may be shown: what steers a terminal or a printer is a dot."""
    if text.isprintable():
        return text
    return "".join("·" if category(sign)[0] == "C" and sign != "\n" else sign for sign in text)


class Words:
    """One person's words: `units`, a language, the one in use where none is named, and the
    `zone` of the clock on the wall, the computer's own where none is named."""

    def __init__(
        self,
        units: UnitSystem = METRIC,
        language: Language | None = None,
        zone: tzinfo | None = None,
    ) -> None:
        self.units, self._language, self._zone = units, language, zone
        self._formatters: dict[str, Formatter] = {}

    @property
    def language(self) -> Language:
        return self._language or current()

    def say(self, said: Statement | StrEnum | Worded | str) -> str:
        """A statement or an error as a sentence, an enumeration's member as its word; any
        other text as it is."""
        if isinstance(said, Statement):
            template = said.values.get("template") or sentences()[said.what]
            assert isinstance(template, str | Plural)
            return self.fill(template, {k: v for k, v in said.values.items() if k != "template"})
        if isinstance(said, StrEnum):
            return self.fill(sentences()[said], {})
        if isinstance(said, Worded):
            return self.fill(said.template, said.values)
        return printable(str(said))

    def say_all(self, said: Iterable[Statement | Worded]) -> list[str]:
        """Each as a sentence."""
        return [self.say(one) for one in said]

    def fill(self, template: Template, values: Mapping[str, Any]) -> str:
        """A template in the person's language with its values."""
        catalogue = self.language.catalogue
        if isinstance(template, Plural):
            text = catalogue.ngettext(template.one, template.other, int(values[template.by]))
        else:
            text = catalogue.gettext(template) if template else ""
        return self._formatter().vformat(text, (), values) if values else text

    def quantity(self, kind: str) -> Quantity:
        """How a kind of quantity ('speed', 'gap' …) is shown to this person."""
        return quantities(self.units)[kind]

    def number(self, kind: str, value: float, U: float = math.nan, *, signed: bool = False) -> str:
        """'2.71 ± 0.02 mph': a quantity of a kind with its unit."""
        spec = f"+{kind}" if signed else kind
        return self._formatter().format_field(("", PlusMinus(value, U)), spec)

    def joined(self, parts: Sequence[str], way: str = "") -> str:
        """'a, b and c'; with 'or' as the way 'a; or b; or c', with 'and' 'a; and b', with 'apart'
        'a; b', with 'then' one sentence after the other."""
        between = {"or": _("; or "), "and": _("; and "), "apart": _("; "), "then": " "}
        if way in between:
            return between[way].join(parts)
        if len(parts) < 2:
            return "".join(parts)
        return _("{parts} and {last}").format(parts=", ".join(parts[:-1]), last=parts[-1])

    def moment(self, when_utc: str, form: str = "") -> str:
        """'5 Nov 2026, 14:05', with 'zone' as the form 'CET (UTC+01:00)' behind it, with 'day'
        '5 Nov'."""
        at = local(when_utc, self._zone)
        if form != "day":
            text = moment_text(when_utc, self._zone, self.language)
            return f"{text} {zone_text(at)}" if form == "zone" and at else text
        return day_text(at, self.language) if at else when_utc[:10]

    def _formatter(self) -> Formatter:
        language = self.language
        if language.code not in self._formatters:
            self._formatters[language.code] = Formatter(
                self.units,
                decimal=language.decimal,
                word=self.say,
                joined=self.joined,
                moment=self.moment,
            )
        return self._formatters[language.code]


def recording_goes_on(delayed: Worded | None) -> str:
    """What is said where a recording's store takes nothing just now, and where it does again."""
    if delayed is None:
        return _("The store takes everything again; nothing was lost.")
    why = Words().say(delayed)
    told = _("{why} The recording goes on: what comes in waits until it can be stored.")
    return told.format(why=why)
