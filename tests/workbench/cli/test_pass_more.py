"""`evenpace pass` beyond its ratio: report, track, moves, course, and every stored pass again."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.workbench.cli.calling import another_hand, answer_of, parser_refusal, refusal
from workbench.cli import main
from workbench.records.store import open_store

ROOT = Path(__file__).parents[3]


def test_a_fail_with_report_and_track(capsys, tmp_path):
    page, track = tmp_path / "pass.html", tmp_path / "way.geojson"
    status, answer = answer_of(
        capsys, "pass", "sim:valve-off", "--seed", "3", "--report", str(page), "--track", str(track)
    )
    assert status == 1
    assert answer["verdict"] in ("fail", "conditional fail")
    assert answer["causes"][0]["cause"] == "valve-off"
    text = page.read_text()
    for says in ("Ratio belt ÷ ground", "Flow control set off", "while standing", "SIMULATED"):
        assert says.lower() in text.lower()
    assert json.loads(track.read_text())["type"] == "FeatureCollection"


def test_pdf_and_json_reports_are_made(capsys, tmp_path):
    for ending in (".pdf", ".json"):
        path = tmp_path / f"pass{ending}"
        main(["pass", "sim:healthy", "--report", str(path)])
        assert path.stat().st_size > 10_000
    document = json.loads((tmp_path / "pass.json").read_text())
    assert document["data"]["causes"][0]["cause"] == "none"


def test_ground_by_quality_and_why(capsys):
    _, answer = answer_of(capsys, "pass", "sim:gnss-dropouts", "--seed", "3")
    assert answer["ground"] == "radar"
    assert "radar (radar, 100 % of its messages with a value" in answer["ground_why"]
    assert "trusted most; there was also" in answer["ground_why"]
    assert "gnss" in answer["ground_why"]


def test_laps_that_contradict_the_pulses_are_told(capsys):
    _, answer = answer_of(capsys, "pass", "sim:slipping-belt", "--seed", "2")
    assert any("By its laps the belt travels" in warning for warning in answer["warnings"])


def test_moves_of_the_flow_control_teach_its_response(capsys, tmp_path):
    """The opening is cut by a fifth at 40 s: four steps, so a twentieth each."""
    scenario = tmp_path / "two-steps.toml"
    scenario.write_text('base = "healthy"\n[[valve]]\nat_s = 40\nto = 0.8\nover_s = 1\n')
    _, answer = answer_of(capsys, "pass", f"sim:{scenario}", "--for", "90s", "--moved", "40s=-4")
    advice = answer["advice"]
    assert advice["ratio_per_step"] == pytest.approx(0.05, abs=2 * advice["u_ratio_per_step"])


def test_wrong_calls_get_a_sentence(capsys, tmp_path):
    table = tmp_path / "pass.csv"
    rows = [f"{t / 10},{s},1.2\n" for t in range(400) for s in ("belt", "ground")]
    table.write_text("time_s,source,speed_mps\n" + "".join(rows))
    assert main(["pass", str(table), "--track", str(tmp_path / "way.geojson")]) == 2
    printed = capsys.readouterr()
    assert "Ratio belt" in printed.out  # the answer was ready
    assert "no positions" in printed.err
    assert "name a RECORDING" in refusal(capsys, "pass")
    assert "steady seconds" in refusal(capsys, "pass", str(table), "--moved", "39.5s=1")
    assert "an end after its beginning" in parser_refusal(
        capsys, "pass", str(table), "--course", "30,20,10"
    )
    assert "for example 38s=-2" in parser_refusal(capsys, "pass", str(table), "--moved", "soon")
    assert "for example 12,48" in parser_refusal(capsys, "pass", str(table), "--oil", "cold")
    assert "a report ends in" in refusal(
        capsys, "pass", str(table), "--report", str(tmp_path / "pass.doc")
    )
    assert "goes with one recording" in refusal(capsys, "pass", "7", "--all")
    said = refusal(capsys, "pass", "--all", "--reference", "tape no. 3")
    assert "--reference goes with one recording" in said
    empty = str(tmp_path / "empty.db")
    open_store(empty).close()
    assert "holds no pass" in refusal(capsys, "pass", "--all", "--store", empty)


def test_every_stored_pass_again_and_over_the_season(capsys, tmp_path):
    store = str(tmp_path / "bench.db")
    for seed in (1, 2):
        address = f"sim:valve-off?pace=fast&seed={seed}"
        assert main(["record", address, "--for", "40s", "--store", store]) == 0
        capsys.readouterr()
        _, first = answer_of(capsys, "pass", str(seed), "--ground", "radar", "--store", store)
    name = "Demonstration digger, flow control set too low"
    status, answer = answer_of(
        capsys, "pass", "--all", "--machine", name, "--workers", "1", "--store", store
    )
    assert status == 0
    assert [one["recording"] for one in answer["passes"]] == [1, 2]
    assert answer["passes"][1]["ratio"] == pytest.approx(first["ratio"], rel=1e-9)
    assert answer["passes"][1]["result"] > first["result"]
    assert len(answer["season"]["ratio"]["visits"]) == 2
    assert main(["verify", str(answer["passes"][0]["result"]), "--store", store]) == 0
    path = tmp_path / "again.html"
    assert main(["report", str(first["result"]), "-o", str(path), "--store", store]) == 0
    assert "Test pass" in path.read_text()


def test_a_stored_pass_that_cannot_be_judged_again_is_no_success(capsys, tmp_path):
    store = tmp_path / "bench.db"
    for number in ("1", "2"):
        address = f"sim:valve-off?pace=fast&seed={number}"
        assert main(["record", address, "--for", "40s", "--store", str(store)]) == 0
        capsys.readouterr()
        answer_of(capsys, "pass", number, "--ground", "radar", "--store", str(store))
    another_hand(store, "UPDATE piece SET data = x'00' WHERE recording = 1")
    status, answer = answer_of(capsys, "pass", "--all", "--workers", "1", "--store", str(store))
    assert status == 3
    assert [one.get("result") for one in answer["passes"]] == [None, 3]
    assert "1 of 2 passes could not be judged again" in answer["error"]


CLUSTER = """
import sys
from distributed import LocalCluster

if __name__ == "__main__":
    with LocalCluster(2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        print(cluster.scheduler_address, flush=True)
        sys.stdin.readline()
"""


@pytest.fixture
def cluster(tmp_path):
    """The address of a dask scheduler with two processes of this machine."""
    script = tmp_path / "cluster.py"
    script.write_text(CLUSTER)
    command = [sys.executable, str(script)]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT
    ) as process:
        yield process.stdout.readline().strip()
        process.communicate("end")


def test_a_cluster_gives_byte_for_byte_what_one_process_gives(capsys, tmp_path, cluster):
    """Outside: dask's scheduler and workers."""
    pytest.importorskip("distributed")
    one, many = tmp_path / "one.db", tmp_path / "many.db"
    for number, scenario in enumerate(("valve-off", "healthy", "bumped-valve"), 1):
        address = f"sim:{scenario}?pace=fast&seed={number}"
        assert main(["record", address, "--for", "40s", "--store", str(one)]) == 0
        main(["pass", str(number), "--store", str(one)])
        capsys.readouterr()
    for ending in ("", ".head"):
        shutil.copy(f"{one}{ending}", f"{many}{ending}")
    _, answer = answer_of(capsys, "pass", "--all", "--workers", "1", "--store", str(one))
    again = [sys.executable, "-m", "workbench.cli", "pass", "--all", "--json"]
    far = subprocess.run(
        [*again, "--store", str(many), "--scheduler", cluster],
        capture_output=True,
        check=True,
        cwd=ROOT,
    )
    assert _but_numbers(json.loads(far.stdout)["passes"]) == _but_numbers(answer["passes"])
    assert _newest_answers(many) == _newest_answers(one)


def _but_numbers(passes):
    """Which is done first decides its number."""
    return [{key: value for key, value in one.items() if key != "result"} for one in passes]


def _newest_answers(path):
    with open_store(str(path)) as store:
        return {one.recording: one.answer_json for one in reversed(store.results())}


def test_ctrl_c_ends_a_judging_again_with_a_word(capsys, tmp_path, monkeypatch):
    store = str(tmp_path / "bench.db")
    for number in ("1", "2"):
        assert main(["record", "sim:healthy?pace=fast", "--for", "40s", "--store", store]) == 0
        main(["pass", number, "--store", store])
    capsys.readouterr()

    def tell(share):
        assert share == 0.5
        raise KeyboardInterrupt

    monkeypatch.setattr("workbench.jobs.season.again.tell", tell)
    assert main(["pass", "--all", "--workers", "1", "--store", store]) == 130
    assert capsys.readouterr() == ("", "evenpace pass: stopped.\n")
