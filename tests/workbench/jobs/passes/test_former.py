"""A pass stored by the program that kept finished sentences opens, is reported and verified.

Its answer had every number under today's key, sentences in the readout's units in place of
statements, and null for what there was none of.
"""

from __future__ import annotations

import json

import pytest

from drivers.catalogue import open_input
from workbench.base.cautions import Caution
from workbench.base.machine import parse_machine
from workbench.base.statements import is_as_written
from workbench.base.units import METRIC, US
from workbench.jobs.keep import answer_of, judge, judged_before
from workbench.jobs.passes.answer import PassAnswer, PassOptions
from workbench.jobs.source import stored_source
from workbench.jobs.verify import verify
from workbench.match.hypotheses import Cause
from workbench.records.jsonable import to_text
from workbench.records.store import open_store
from workbench.reports.document import render_html
from workbench.reports.stored import document_of
from workbench.words.passes import pass_words
from workbench.words.view import json_view
from workbench.words.words import Words

NONE = dict.fromkeys(("stands_apart", "wheel_slip_against", "belt_against_ground", "course"))
OPTIONS = '{"belt": null, "ground": "radar", "oil_c": [20, 55], "moved": null, "course": null}'


@pytest.fixture(scope="module")
def former(tmp_path_factory):
    """(store's address, number of a result as it was kept then)."""
    address = str(tmp_path_factory.mktemp("former") / "store.db")
    source = "sim:valve-off?seed=4&pace=fast"
    driver = open_input(source)
    machine = parse_machine(driver.machine_text)
    with open_store(address) as store:
        begun_s = driver.clock()
        writer = store.begin_recording(
            "north field", started_host_s=begun_s, simulated=True, machine=machine
        )
        driver.open()
        while driver.clock() < begun_s + 40:
            writer.write([(source, item) for item in driver.read(1.0)], driver.notes)
        driver.close()
        writer.end(driver.notes, "over")
    options = PassOptions(ground="radar", oil_c=(20, 55))
    answer, _ = judge("pass", stored_source(1, None, address), options)
    then = NONE | json_view(answer, Words(US))
    del then["statements"]
    with open_store(address) as store:
        number = store.add_result("pass", to_text(then), OPTIONS, recording=1, machine=machine)
    return address, number


def test_it_opens_with_its_numbers_and_its_own_sentences(former):
    address, number = former
    with open_store(address) as store:
        answer = answer_of(store.result(number), PassAnswer)
    assert answer.causes[0].cause is Cause.VALVE_OFF
    assert is_as_written(answer.causes[0].title)
    assert Caution.HANDS_OFF in answer.cautions
    words = pass_words(answer, Words(METRIC))
    assert words.to_do[0].startswith("Run the belt ")
    assert "km/h" in words.detail


def test_it_is_verified_number_by_number(former):
    address, number = former
    with open_store(address) as store:
        found = verify(store, number)
    assert found.verified, found.differences
    assert "reason" in found.not_compared
    assert "ratio" not in found.not_compared


def test_a_changed_number_is_found(former):
    address, number = former
    with open_store(address) as store:
        stored = store.result(number)
        wrong = store.add_result(
            "pass",
            json.dumps(json.loads(stored.answer_json) | {"separation_m": 1.0}),
            OPTIONS,
            recording=1,
            machine=stored.machine(),
        )
        assert [one.field for one in verify(store, wrong).differences] == ["separation_m"]


def test_it_is_reported_and_judged_again_as_before(former):
    address, number = former
    with open_store(address) as store:
        page = render_html(document_of(store.result(number), Words(US)))
    assert "Flow control set off by a constant factor" in page
    assert judged_before("pass", 1, address)[0] == PassOptions(ground="radar", oil_c=(20, 55))
