"""`--lang` and $EVENPACE_LANG hold in all that a command says, its help and errors included."""

from __future__ import annotations

import pytest
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo

from workbench.cli import main
from workbench.records.store import open_store
from workbench.words import language as languages


@pytest.fixture(autouse=True)
def german(tmp_path, monkeypatch, own_store):
    """A catalogue of a few messages; afterwards all speak English again."""
    catalogue = Catalog(locale="de")
    catalogue.add("a recording's number", "Nummer einer Aufnahme")
    catalogue.add(
        "There is no recording {number} in the store.", "Es gibt keine Aufnahme {number}."
    )
    path = tmp_path / "locale" / "de" / "LC_MESSAGES" / "evenpace.mo"
    path.parent.mkdir(parents=True)
    with path.open("wb") as file:
        write_mo(file, catalogue)
    open_store().close()
    monkeypatch.setattr(languages, "LOCALE", tmp_path / "locale")
    for cached in (languages.language, languages.languages):
        cached.cache_clear()
    yield
    monkeypatch.undo()
    for cached in (languages.language, languages.languages):
        cached.cache_clear()
    languages.use("en")


@pytest.mark.parametrize("words", [["--lang", "de"], ["--lang=de"], []])
def test_an_error_and_the_help_are_in_the_language(capsys, monkeypatch, words):
    if not words:
        monkeypatch.setenv("EVENPACE_LANG", "de")
    assert main(["export", "7", "-o", "x.csv", *words]) == 2
    assert capsys.readouterr().err == "evenpace export: Es gibt keine Aufnahme 7.\n"
    with pytest.raises(SystemExit):
        main(["export", *words, "--help"])
    assert "Nummer einer Aufnahme" in capsys.readouterr().out


def test_a_call_without_it_speaks_english_again(capsys):
    main(["export", "7", "-o", "x.csv", "--lang", "de"])
    main(["export", "7", "-o", "x.csv"])
    assert "There is no recording 7" in capsys.readouterr().err


@pytest.mark.parametrize("words", [["--lang", "xx"], ["--lang=xx"], ["--help", "--lang", "xx"]])
def test_an_unknown_language_is_a_sentence(capsys, words):
    assert main(["verify", *words]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == "evenpace: there is no language 'xx'; there is en, de.\n"
