"""What a report testifies to, and whether its store still says so."""

from __future__ import annotations

import json
import sys
from base64 import urlsafe_b64decode
from dataclasses import replace

import pytest

from workbench.base.errors import WrongInput
from workbench.cli import main
from workbench.jobs.paper import SignedHead, broken, new_key, paper_in, paper_now, paper_of
from workbench.records.ledger import Head
from workbench.records.store import open_store

TABLE = "pickup,angle_deg,gap_m\nleft,0,0.0016\nleft,90,0.0017\nleft,180,0.0018\n"


@pytest.fixture
def shop(tmp_path, monkeypatch):
    """A folder with a gap table and a store of its own; no key."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("EVENPACE_STORE", str(tmp_path / "bench.db"))
    monkeypatch.delenv("EVENPACE_KEY", raising=False)
    (tmp_path / "gaps.csv").write_text(TABLE)
    return tmp_path


@pytest.fixture
def key(shop, monkeypatch):
    """The public half of the shop's key, which is in use."""
    pytest.importorskip("cryptography")
    public = new_key(shop / "shop.key")
    monkeypatch.setenv("EVENPACE_KEY", str(shop / "shop.key"))
    return public


def verified(capsys, *words):
    capsys.readouterr()
    status = main(["verify", *words, "--json"])
    said = capsys.readouterr()
    return status, json.loads(said.out) if said.out else {}, said.err


@pytest.mark.parametrize("ending", ["json", "html"])
def test_a_store_matches_the_paper_made_from_it_until_it_is_written_anew(shop, capsys, ending):
    paper = f"gaps.{ending}"
    assert main(["gap", "gaps.csv", "--report", paper]) in (0, 1)
    assert main(["gap", "gaps.csv"]) in (0, 1)  # what is done later changes nothing
    status, found, _ = verified(capsys, "--paper", paper)
    assert (status, found["verified"]) == (0, True)
    assert found["paper"].startswith("2:")
    assert found["head"].startswith("3:")
    for left in shop.glob("bench.db*"):
        left.unlink()
    for _ in range(3):  # another story, whole in itself
        assert main(["gap", "gaps.csv"]) in (0, 1)
    assert verified(capsys)[0] == 0
    status, found, said = verified(capsys, "--paper", paper)
    assert (status, found["verified"]) == (3, False)
    assert "no longer matches its paper: entry 2 of the ledger" in said
    assert verified(capsys, "--head", str(paper_in(shop / paper)))[0] == 3


def test_every_way_to_a_report_testifies(shop, capsys):
    """At once with the answer, and later from the store: each with the newest entry."""
    main(["gap", "gaps.csv", "--report", "now.json"])
    main(["report", "1", "-o", "later.json"])
    with open_store() as store:
        head = str(store.head())
    for name in ("now.json", "later.json"):
        report = json.loads((shop / name).read_text(encoding="utf-8"))
        assert report["ledger"] == head
        assert head in report["testimony"]
    main(["gap", "sim:bent-tooth", "--for", "40s", "--report", "rehearsal.json"])
    assert json.loads((shop / "rehearsal.json").read_text(encoding="utf-8"))["ledger"] == ""
    with pytest.raises(WrongInput, match="says nothing of a ledger"):
        paper_in(shop / "rehearsal.json")


def test_what_a_person_typed_is_no_testimony(shop):
    forged = f'<footer data-ledger="9:{64 * "0"}">'
    typed = forged.replace('"', '""')
    (shop / "gaps.csv").write_text(TABLE.replace("left", f'"{typed}"'))
    for name in ("gaps.html", "gaps.json"):
        assert main(["gap", "gaps.csv", "--report", name]) in (0, 1)
    assert "data-ledger=&#34;9:0" in (shop / "gaps.html").read_text(encoding="utf-8")
    assert paper_in(shop / "gaps.html").head.number == 2
    assert paper_in(shop / "gaps.json").head.number == 3


def test_a_testimony_is_typed_as_it_stands_on_the_page():
    head = Head(81, "e09a4f46050d56dd" + "0" * 48)
    assert paper_of(str(head)) == SignedHead(head)
    assert paper_of(f" 81:{head.sha256[:28]}\u200b\n{head.sha256[28:]}").head == head
    assert paper_of("81:e09a4f46050d56dd").head.sha256 == "e09a4f46050d56dd"
    for wrong in ("", "81", "81:e09a", "81:" + "g" * 64, f"{head}:short"):
        with pytest.raises(WrongInput, match="expected for example"):
            paper_of(wrong)


def test_a_key_signs_every_report_and_a_forged_one_is_told(shop, key, capsys, monkeypatch):
    """Ed25519 as RFC 8032 has it: checked here by the library, from the key file alone."""
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    main(["gap", "gaps.csv", "--report", "gaps.html"])
    paper = paper_in(shop / "gaps.html")
    assert paper.key == key
    private = load_pem_private_key((shop / "shop.key").read_bytes(), None)
    signature = private.sign(f"evenpace ledger {paper.head}".encode())
    assert urlsafe_b64decode(f"{paper.signature}==") == signature
    assert paper_of(str(paper)) == paper
    with open_store() as store:
        assert paper_now(store).signature == paper.signature  # it is the same each time
        assert list(broken(paper, store)) == []
        other = replace(paper, signature=paper.signature[::-1])
        assert "one of its parts was altered" in str(*broken(other, store))
        unsigned = SignedHead(paper.head)
        assert "not signed by your key: it says 'none'" in str(*broken(unsigned, store))
        monkeypatch.setenv("EVENPACE_KEY", str(shop / "other.key"))
        new_key(shop / "other.key")
        assert "not signed by your key" in str(*broken(paper, store))
        monkeypatch.delenv("EVENPACE_KEY")
        assert list(broken(paper, store)) == []
    status, found, _ = verified(capsys, "--paper", "gaps.html")
    assert (status, found["paper"]) == (0, str(paper))


def test_a_new_key_is_a_new_file_for_its_owner_alone(shop, key, capsys):
    assert main(["verify", "--new-key", "mine.key"]) == 0
    assert "mine.key" in capsys.readouterr().out
    if sys.platform != "win32":
        assert (shop / "mine.key").stat().st_mode & 0o077 == 0
    for name in ("mine.key", "no/folder/x"):
        assert main(["verify", "--new-key", name]) == 2
        assert "cannot be made" in capsys.readouterr().err


@pytest.mark.parametrize("content", [None, b"", b"no key", b"\xff\xfe", b"x" * 20_000])
def test_a_key_that_is_none_is_a_sentence_before_the_work(shop, key, capsys, content):
    if content is None:
        (shop / "shop.key").unlink()
    else:
        (shop / "shop.key").write_bytes(content)
    assert main(["gap", "gaps.csv", "--report", "gaps.pdf"]) == 2
    assert "expected a key as `evenpace verify --new-key FILE` makes it" in capsys.readouterr().err
    assert not (shop / "bench.db").exists()


def test_without_the_library_a_sentence_says_so(shop, capsys, monkeypatch):
    monkeypatch.setitem(sys.modules, "cryptography.hazmat.primitives", None)
    monkeypatch.setenv("EVENPACE_KEY", "shop.key")
    for words in (["gap", "gaps.csv", "--report", "gaps.pdf"], ["verify", "--new-key", "x"]):
        assert main(words) == 2
        assert "install evenpace with its extra 'signing'" in capsys.readouterr().err
    assert not (shop / "bench.db").exists()


@pytest.mark.parametrize(
    "words", [["1", "--all"], ["1", "--head", "1:x"], ["--all", "--new-key", "x"]]
)
def test_one_thing_at_a_time(shop, capsys, words):
    assert main(["verify", *words]) == 2
    assert "one of them" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["no.json", "gaps.csv", "."])
def test_what_is_no_report_is_a_sentence(shop, capsys, name):
    main(["gap", "gaps.csv"])
    status, _, said = verified(capsys, "--paper", name)
    assert status == 2
    assert "expected a report saved as .json or .html" in said
