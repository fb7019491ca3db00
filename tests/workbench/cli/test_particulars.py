"""For whom, by whom, under which conditions: said once to a command, kept, on every report."""

import json
import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from tests.workbench.invented import GAPS, SHOP, SHOP_RUNS_BY_HAND
from workbench.cli import main
from workbench.records.store import open_store

OPTIONS = {
    "--customer": "Miller & sons",
    "--field": "North field",
    "--job": "Order 7",
    "--by": "A. B.",
    "--conditions": "dry, oil at 40 °C",
    "--reference": "Tape no. 3, checked in spring",
    "--remarks": "Second visit",
}
SAID = [word for pair in OPTIONS.items() for word in pair]
PARTICULARS = {
    "customer": "Miller & sons",
    "field": "North field",
    "job": "Order 7",
    "by": "A. B.",
    "conditions": "dry, oil at 40 °C",
    "references": ["Tape no. 3, checked in spring"],
    "remarks": "Second visit",
}


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    folder = tmp_path_factory.mktemp("shop")
    for name, text in (("m.toml", SHOP), ("runs.csv", SHOP_RUNS_BY_HAND), ("gaps.csv", GAPS)):
        (folder / name).write_text(text)
    return folder


@pytest.fixture(scope="module", params=["calibrate", "gap", "pass"])
def told(request, shop):
    """A command, its source, and a store with its answer."""
    kind, store = request.param, str(shop / f"{request.param}.db")
    source = {"calibrate": "runs.csv", "gap": "gaps.csv"}.get(kind)
    open_store(store).close()
    if source is None:
        assert main(["record", "sim:healthy?pace=fast", "--for", "60s", "--store", store]) == 0
    source = str(shop / source) if source else "1"
    words = [kind, source, "--machine", str(shop / "m.toml"), "--store", store, *SAID]
    reports = [str(shop / f"{kind}-{ending}.{ending}") for ending in ("html", "json", "pdf")]
    for report in reports:
        assert main([*words, "--report", report]) in (0, 1)
    return kind, store, reports


def shown(page):
    return re.sub(r"<[^>]*>", " ", page.replace("&amp;", "&"))


def test_it_stands_on_every_report_at_once_and_made_again(told, shop):
    kind, store, reports = told
    again = str(shop / f"{kind}-again.html")
    assert main(["report", "1", "-o", again, "--store", store]) == 0
    for page in (reports[0], again):
        text = shown(Path(page).read_text("utf-8"))
        for word in (*OPTIONS.values(), "SN 4711", "Date and signature"):
            assert word in text, word
    report = json.loads(Path(reports[1]).read_text("utf-8"))
    assert report["data"]["particulars"] == PARTICULARS
    assert report["data"]["serial"] == "SN 4711"


def test_it_is_part_of_the_answer_and_of_its_verification(told, capsys):
    _kind, store, _reports = told
    capsys.readouterr()
    assert main(["verify", "1", "--store", store, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["particulars"] == PARTICULARS


def test_an_answer_says_it_too(shop, capsys):
    store = str(shop / "said.db")
    open_store(store).close()
    words = ["gap", str(shop / "gaps.csv"), "--store", store, "--json"]
    assert main([*words, *SAID]) == 0
    assert json.loads(capsys.readouterr().out)["particulars"] == PARTICULARS
    assert main(words) == 0
    assert "particulars" not in json.loads(capsys.readouterr().out)


def test_what_a_report_is_told_stays_with_the_result(shop, capsys):
    store, page = str(shop / "later.db"), shop / "later.html"
    open_store(store).close()
    assert main(["gap", str(shop / "gaps.csv"), "--store", store, "--by", "A. B."]) == 0
    word = ["report", "1", "--store", store, "-o", str(page)]
    assert main([*word, "--customer", "Miller"]) == 0
    assert main(word) == 0
    text = shown(page.read_text("utf-8"))
    assert "Miller" in text
    assert "A. B." in text
    assert main(["verify", "--store", store]) == 0
    with closing(sqlite3.connect(store)) as raw:
        raw.execute("UPDATE card SET said = replace(said, 'Miller', 'Smith')")
        raw.commit()
    capsys.readouterr()
    assert main(["verify", "--store", store]) == 3
    assert "by whom result 1 was made is not as" in capsys.readouterr().err
    assert main(["verify", "1", "--store", store]) == 1


def test_all_passes_are_judged_again_with_what_each_was_said_of(tmp_path, capsys):
    store = str(tmp_path / "passes.db")
    open_store(store).close()
    assert main(["record", "sim:healthy?pace=fast", "--for", "60s", "--store", store]) == 0
    assert main(["pass", "1", "--store", store, *SAID]) == 0
    capsys.readouterr()
    assert main(["pass", "--all", "--workers", "1", "--store", store, "--json"]) == 0
    number = json.loads(capsys.readouterr().out)["passes"][0]["result"]
    assert main(["verify", str(number), "--store", store, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["particulars"] == PARTICULARS
    assert main(["pass", "--all", "--store", store, "--by", "x"]) == 2
