"""The language a person reads: `_()` for a fixed text, and the catalogues it looks into.

A catalogue is a compiled gettext file, `workbench/words/locale/LANGUAGE/LC_MESSAGES/
evenpace.mo`; English is the language of the message ids and needs none. The language is that
of the thread or task that asks, so a report can be made in another one than the screen's.
"""

from __future__ import annotations

import gettext
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import NamedTuple, TypeAlias

ENGLISH = "en"
DOMAIN = "evenpace"
LOCALE = Path(__file__).with_name("locale")


class Plural(NamedTuple):
    """A template in one form for one thing and in another for several, of which `by` counts."""

    one: str
    other: str
    by: str = "count"


Template: TypeAlias = str | Plural


def N_(text: str) -> str:  # noqa: N802, gettext's own name
    """Marks a text for the catalogues; it is translated where it is shown."""
    return text


@dataclass(frozen=True, slots=True)
class Language:
    """A language's code ('en', 'pt_BR') and its catalogue."""

    code: str
    catalogue: gettext.NullTranslations

    @property
    def decimal(self) -> str:
        """The sign between whole and part of a number."""
        if self.code == ENGLISH:
            return "."
        from babel.numbers import get_decimal_symbol

        return get_decimal_symbol(self.code)


@cache
def language(code: str = ENGLISH) -> Language:
    """The language of that code. Raises KeyError for one without a catalogue."""
    if code not in languages():
        raise KeyError(code)
    if code == ENGLISH:
        return Language(code, gettext.NullTranslations())
    return Language(code, gettext.translation(DOMAIN, LOCALE, [code]))


@cache
def languages() -> tuple[str, ...]:
    """Codes of the languages there are, English first."""
    found = (path.parts[-3] for path in LOCALE.glob(f"*/LC_MESSAGES/{DOMAIN}.mo"))
    return (ENGLISH, *sorted(found))


_current: ContextVar[Language | None] = ContextVar("language", default=None)
_default = [language()]
"""What holds where nothing else was chosen, in every thread."""


def current() -> Language:
    """The language of whoever asks."""
    return _current.get() or _default[0]


def use(code: str) -> None:
    """The language of the program from now on. Raises KeyError."""
    _default[0] = language(code)


@contextmanager
def in_language(code: str) -> Iterator[None]:
    """Another language for what is done inside. Raises KeyError."""
    token = _current.set(language(code))
    try:
        yield
    finally:
        _current.reset(token)


def _(text: str) -> str:
    """`text` in the person's language."""
    return current().catalogue.gettext(text) if text else ""


def ngettext(one: str, other: str, count: int) -> str:
    """The form of a text that fits a count, in the person's language."""
    return current().catalogue.ngettext(one, other, count)
