"""What a person is told as the bench comes up."""

from __future__ import annotations

import shutil
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

from drivers.contract import Notes
from workbench.models.first_look import homeless, look_at_store
from workbench.models.settings import Settings
from workbench.records.store import open_store


def look(bench):
    look_at_store(bench, threading.Event(), again_s=0.0).join()
    said = list(bench.told)
    bench.told.clear()
    return said


def test_a_store_that_is_made_is_told(bench):
    assert look(bench) == [f"A new store was made for records: {bench.store}"]
    assert look(bench) == []


def test_what_a_killed_program_left_is_told_at_the_next_start(bench, edge_blocks):
    begun = datetime.now(UTC) - timedelta(seconds=300)
    moments = [begun, *[begun + timedelta(seconds=45)] * 9]
    with open_store(bench.store, now=lambda: moments.pop(0) if moments else begun) as store:
        ended = store.begin_recording("whole", started_host_s=0.0)
        ended.end(Notes(), "")
    moments = [begun, begun] + [begun + timedelta(seconds=45)] * 9
    with open_store(bench.store, now=lambda: moments.pop(0)) as store:
        writer = store.begin_recording("north field", started_host_s=0.0)
        writer.write([("counter:a", block) for block in edge_blocks(3)], Notes())
    assert look(bench) == [
        "Recording 2 (north field) was broken off. What was stored until then is kept: 45 s."
    ]


def test_a_recording_that_runs_elsewhere_is_not_called_broken_off(bench):
    with open_store(bench.store) as store:
        store.begin_recording("elsewhere", started_host_s=0.0)
        assert look(bench) == []


def test_a_store_that_cannot_be_opened_is_told(bench, tmp_path):
    (tmp_path / "store.db").write_text("this is no database")
    (said,) = look(bench)
    assert "not a database of recordings" in said


def test_a_home_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / "a file").touch()
    kept, lost = tmp_path / "settings.json", tmp_path / "a file" / "settings.json"
    assert homeless(Settings(kept), tmp_path) == ""
    assert "Settings are not kept" in homeless(Settings(lost), tmp_path)
    assert str(lost) in homeless(Settings(lost), tmp_path)
    assert "log cannot be written" in homeless(Settings(kept), None)


def test_where_an_earlier_store_is_kept_as_it_was_is_told(window, bench, screen_of):
    former = Path(__file__).parents[1] / "records" / "formats" / "format-0003.db"
    shutil.copy(former, bench.store)
    look_at_store(bench, threading.Event(), again_s=0.0).join()
    window.tick()
    said = screen_of(window).said
    assert "was brought from format 0003" in said
    assert f"{Path(bench.store).stem}-" in said
