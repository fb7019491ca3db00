"""What a report of a pass costs beside what it cannot do without: its pictures and typst, or the
page's template."""

from pkgutil import resolve_name

import pytest
from timed import seconds

from workbench.cli import main
from workbench.records.store import open_store
from workbench.reports.document import render
from workbench.reports.passes import report
from workbench.reports.stored import document_of
from workbench.words.words import Words


@pytest.fixture(scope="module")
def stored(tmp_path_factory):
    path = str(tmp_path_factory.mktemp("reports") / "bench.db")
    main(["record", "sim:bumped-valve?pace=fast", "--for", "120s", "--store", path])
    main(["pass", "1", "--store", path])
    with open_store(path) as store:
        return store.result(1)


@pytest.mark.parametrize(
    ("ending", "bare", "said"),
    [
        (".pdf", "typst.compile", "typst and its pictures"),
        (".html", "jinja2.Template.render", "the template and its pictures"),
    ],
)
def test_a_report_against_its_bare_parts(
    stored, tmp_path, monkeypatch, figures, ending, bare, said
):
    bare_s = [0.0]

    def timed(work):
        def worked(*what, **how):
            spent_s, made = seconds(lambda: work(*what, **how))
            bare_s[0] += spent_s
            return made

        return worked

    room, name = resolve_name(bare.rpartition(".")[0]), bare.rpartition(".")[2]
    monkeypatch.setattr(room, name, timed(getattr(room, name)))
    for name in ("picture_svg", "sketch_svg", "track_picture"):
        drawn = getattr(report, name).__wrapped__
        monkeypatch.setattr(report, name, timed(drawn))
    ratios = []
    for attempt in range(5):
        bare_s[0] = 0.0
        path = tmp_path / f"report{attempt}{ending}"
        whole_s, _ = seconds(lambda path=path: render(document_of(stored, Words()), path))
        ratios.append(whole_s / bare_s[0])
    print(f"\na report {ending}: {whole_s:.2f} s, {bare_s[0]:.2f} s of it {said}")
    figures.at_most(f"a report {ending}", min(ratios), 1.5, "×", said)
