"""The list of all that is kept, read from cards, against reading every answer whole."""

import json

from timed import seconds

from workbench.models.records.listing import Filter, all_entries, filtered
from workbench.records.store import open_store

RESULTS = 200
SERIES = {"time_s": [round(0.1 * at, 1) for at in range(3000)]}
"""About what the series of a judged pass take, some tens of kilobytes."""


def test_a_list_reads_cards_and_not_answers(tmp_path, figures):
    path = str(tmp_path / "bench.db")
    with open_store(path) as store:
        for at in range(RESULTS):
            head = {"verdict": "pass", "ratio": 1.0}
            answer = json.dumps({**head, "series": [SERIES, SERIES]})
            store.add_result("pass", answer, "{}", table=str(at), table_name="table")
        whole_s, results = seconds(lambda: [json.loads(one.answer_json) for one in store.results()])
    all_entries(path)  # imports are no part of it
    list_s, entries = seconds(lambda: all_entries(path))
    filter_s, found = seconds(lambda: filtered(entries, Filter(words="pass 2026")))
    print(
        f"{RESULTS} results: list {1e3 * list_s:.0f} ms, every answer {1e3 * whole_s:.0f} ms, "
        f"{whole_s / list_s:.0f} times; filter {1e3 * filter_s:.1f} ms"
    )
    assert len(results) == len(entries) == RESULTS
    figures.at_least("list of what is kept", whole_s / list_s, 4, "×", "every answer read")
    filtered_ms = 1e3 * filter_s * 5000 / RESULTS
    figures.at_most("a key typed over 5 000 entries", filtered_ms, 50, "ms")
    assert len(found) <= RESULTS
