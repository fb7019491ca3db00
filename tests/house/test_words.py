"""All that is said comes from the catalogues, in the person's language and units."""

from __future__ import annotations

import ast
import importlib
import re
import string
from enum import StrEnum
from pathlib import Path

import pytest

from workbench.base.statements import PlusMinus, Statement
from workbench.base.units import METRIC, US
from workbench.words.catalogue import sentences
from workbench.words.language import Plural, in_language, language
from workbench.words.words import Words

SPOKEN = {
    *("_", "N_", "ngettext", "Plural", "label", "button", "say"),
    *("WrongInput", "StoreError", "StoreBusy", "BenchError", "Message", "message", "refused"),
    *("Note", "CodecError", "_step", "DeviceError"),
}
"""What takes a message for the catalogues."""

FOR_PROGRAMMERS = {
    *("ValueError", "KeyError", "TypeError", "RuntimeError", "NotImplementedError"),
    *("AssertionError", "debug", "info", "warning", "error", "exception", "critical"),
    *("setStyleSheet", "exec_driver_sql", "execute", "text", "compile", "as_written", "Thread"),
}
"""Calls whose words no person reads: they are logged, or name a thing to a library."""

FOR_MATPLOTLIB = {"textcoords", "xycoords", "loc"}
"""Arguments that name a thing to the library."""

SENTENCE = re.compile(r"[A-Za-z]{2,}['’]?[a-z]*[,.:;!?)]*\s+[(‘']?[A-Za-z]{2,}")
"""Two words in a row."""

ALLOWED = {
    "workbench/base/ends.py": "what the first versions stored, to be understood",
    "workbench/jobs/passes/pulse_rates.py": "a source's label, as a driver gives it",
    "workbench/records/database.py": "SQL and SQLite's own options",
    "workbench/records/schema.py": "SQL",
    "workbench/records/migrate.py": "SQL",
    "workbench/records/migrations/r0003_ledger.py": "SQL",
    "workbench/records/migrations/r0004_columns.py": "SQL",
    "workbench/words/language.py": "it is the door to the catalogues",
    "workbench/gui/theme.py": "a style sheet",
    "workbench/gui/parts/kind_icons.py": "drawings",
    "workbench/reports/drawing.py": "names of fonts and of the library's systems",
}

NO_SENTENCES = {
    *("end points", "flat if alone", "gap table", "prepare table"),
    *("readings on the bench", "readings at the machine", "readings as left", "as left"),
}
"""Names of methods and kinds, and what is stored with a recording or a table: it stays as it is
in every language."""


def trees(root: Path, *rooms: str):
    for room in rooms:
        for path in sorted((root / room).rglob("*.py")):
            yield path.relative_to(root).as_posix(), ast.parse(path.read_text(encoding="utf-8"))


def called(node: ast.Call) -> str:
    return node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")


def words_of(node: ast.expr) -> str:
    """The fixed words of a text or an f-string, '' for anything else."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(
            part.value if isinstance(part, ast.Constant) else "\0" for part in node.values
        )
    return ""


def bypassing(tree: ast.Module):
    """(line, words) of every sentence that is not handed to the catalogues."""
    free: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            free |= {id(one) for one in ast.walk(node.value)}  # a docstring
        if isinstance(node, ast.Call) and called(node) in FOR_PROGRAMMERS:
            free |= {id(one) for one in ast.walk(node)}
        if isinstance(node, ast.Call) and called(node) in SPOKEN:
            free |= {
                id(part)
                for argument in node.args
                if isinstance(argument, ast.Constant)
                for part in ast.walk(argument)
            }
        if isinstance(node, ast.ClassDef) and "StrEnum" in map(ast.unparse, node.bases):
            free |= {id(one.value) for one in node.body if isinstance(one, ast.Assign)}  # a name
        if isinstance(node, ast.keyword) and node.arg in FOR_MATPLOTLIB:
            free |= {id(one) for one in ast.walk(node.value)}
        if isinstance(node, ast.Assert):
            free |= {id(one) for one in ast.walk(node)}
        if isinstance(node, ast.JoinedStr):
            free |= {id(part) for part in node.values}
    for node in ast.walk(tree):
        words = words_of(node)
        if words in NO_SENTENCES or words.startswith(("evenpace ", "<span")):
            continue
        if id(node) not in free and SENTENCE.search(words):
            yield node.lineno, words_of(node)


def test_no_sentence_bypasses_the_catalogues(root):
    found = [
        f"{path}:{line}: {words[:60]!r}"
        for path, tree in trees(root, "workbench")
        if path not in ALLOWED
        for line, words in bypassing(tree)
    ]
    assert found == []


@pytest.mark.parametrize(
    ("code", "caught"),
    [
        ('say(f"The gap is {gap} wide")', True),
        ('x = "The gap is wide"', True),
        ('raise WrongInput(f"{path} is empty today")', True),
        ('_(f"The gap is {gap}")', True),
        ('x = _("The gap is {gap} wide").format(gap=gap)', False),
        ('raise WrongInput("{path} is empty today", path=path)', False),
        ('"""The gap is wide."""', False),
        ('x = "belt_speed_mps"', False),
    ],
)
def test_the_check_itself_sees_what_bypasses(code, caught):
    assert bool(list(bypassing(ast.parse(code)))) is caught


def enumerations():
    """Every enumeration of statements, and its members."""
    root = Path(__file__).resolve().parents[2]
    for path, tree in trees(root, "workbench"):
        names = [
            node.name
            for node in tree.body
            if isinstance(node, ast.ClassDef) and node.name.endswith("Says")
        ]
        if names and not path.endswith("base/statements.py"):
            module = importlib.import_module(path.removesuffix(".py").replace("/", "."))
            yield from (getattr(module, name) for name in names)


def test_every_statement_has_its_words_and_a_name_of_its_own():
    members = [member for kind in enumerations() for member in kind]
    assert len(members) > 5
    assert [member for member in members if member not in sentences()] == []
    assert len({str(member) for member in members}) == len(members)


def placeholders(template) -> set[str]:
    texts = template[:2] if isinstance(template, Plural) else (template,)
    named = {name for text in texts for _, name, _, _ in string.Formatter().parse(text) if name}
    return named | ({template.by} if isinstance(template, Plural) else set())


def test_every_statement_is_made_with_what_its_words_need(root):
    kinds: dict[str, type[StrEnum]] = {kind.__name__: kind for kind in enumerations()}
    checked, lacking = 0, []
    for path, tree in trees(root, "workbench"):
        for node in ast.walk(tree):
            if not (isinstance(node, ast.Call) and called(node) == "statement" and node.args):
                continue
            what = node.args[0]
            if not (isinstance(what, ast.Attribute) and isinstance(what.value, ast.Name)):
                continue
            kind = kinds.get(what.value.id)
            given = {keyword.arg for keyword in node.keywords}
            if kind is None or None in given:
                continue
            missing = placeholders(sentences()[kind[what.attr]]) - given
            checked += 1
            lacking += [f"{path}:{node.lineno}: {name}" for name in missing]
    assert lacking == []
    assert checked > 5


def test_messages_for_translators_hold_every_template(root):
    messages = importlib.import_module("messages")
    known = set()
    for _, _, message in messages.messages(root):
        known |= {message} if isinstance(message, str) else set(message)
    for template in sentences().values():
        for text in template[:2] if isinstance(template, Plural) else (template,):
            assert text in known


@pytest.fixture
def reversed_language(tmp_path, monkeypatch):
    """A language in which every message is marked, and numbers have a decimal comma."""
    from babel.messages.catalog import Catalog
    from babel.messages.mofile import write_mo

    from workbench.words import language as languages

    catalogue = Catalog(locale="de")
    for template in {*sentences().values()}:
        if isinstance(template, Plural):
            catalogue.add(template[:2], tuple(f"⟦{text}⟧" for text in template[:2]))
        elif template:
            catalogue.add(template, f"⟦{template}⟧")
    path = tmp_path / "de" / "LC_MESSAGES" / "evenpace.mo"
    path.parent.mkdir(parents=True)
    with path.open("wb") as file:
        write_mo(file, catalogue)
    monkeypatch.setattr(languages, "LOCALE", tmp_path)
    for cached in (languages.language, languages.languages):
        cached.cache_clear()
    yield "de"
    monkeypatch.undo()
    for cached in (languages.language, languages.languages):
        cached.cache_clear()


def test_a_statement_follows_language_and_units(reversed_language):
    said = Statement(
        "pulses_missed", {"channel": "left", "count": 3, "total": 800, "share_rel": 0.00375}
    )
    assert Words().say(said).startswith("Channel 'left': 3 missed pulses in 800 (0.38 %)")
    with in_language(reversed_language):
        assert "⟦" in Words().say(said)
        assert "0,38 %" in Words().say(said)
        assert Words(METRIC).number("speed", 1.25, 0.02) == "4,500 ± 0,072 km/h"
    with pytest.raises(KeyError):
        language("xx")


@pytest.mark.parametrize(
    ("kind", "value", "metric", "us"),
    [
        # Exact factors: NIST SP 811, appendix B (from memory).
        ("speed", PlusMinus(1.2, 0.0024), "4.3200 ± 0.0086 km/h", "2.6843 ± 0.0054 mph"),
        ("gap", 0.0016, "1.60 mm", "0.063 in"),
        ("length", -3.048, "−3.0 m", "−10.0 ft"),
        ("temperature", 40.0, "40 °C", "104 °F"),
        ("percent1", 0.059, "5.9 %", "5.9 %"),
        ("+percent1", 0.059, "+5.9 %", "+5.9 %"),
        ("angle", 72.4, "72°", "72°"),
    ],
)
def test_quantities_follow_the_units(kind, value, metric, us):
    for units, shown in ((METRIC, metric), (US, us)):
        assert Words(units).fill(f"{{value:{kind}}}", {"value": value}) == shown
