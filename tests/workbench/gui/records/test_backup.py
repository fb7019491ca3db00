"""Back up and restore on Records: all that is kept, to a folder and back."""

from __future__ import annotations

import pytest
from PySide6.QtWidgets import QFileDialog

from drivers.contract import Notes
from workbench.gui.records.buttons import Action
from workbench.records.store import open_store


@pytest.fixture
def kept(bench):
    """A store with one recording."""
    with open_store(bench.store) as store:
        store.begin_recording("north field", started_host_s=0.0).end(Notes(), "over")
    return bench.store


@pytest.fixture
def stick(tmp_path, monkeypatch):
    folder = tmp_path / "stick"
    folder.mkdir()
    monkeypatch.setattr(QFileDialog, "getExistingDirectory", lambda *_a, **_k: str(folder))
    chosen = lambda *_a, **_k: (str(next(folder.iterdir())), "")  # noqa: E731
    monkeypatch.setattr(QFileDialog, "getOpenFileName", chosen)
    return folder


@pytest.fixture
def records(window, screen_of):
    window.resize(1366, 768)
    window.show_page("Records")
    screen = screen_of(window)
    screen.settle()
    return screen


def do(window, records, action):
    window.current.buttons.menu_actions[action].trigger()
    records.settle()


def test_all_that_is_kept_is_backed_up_and_restored(window, bench, kept, stick, records):
    do(window, records, Action.BACK_UP)
    (copy,) = stick.iterdir()
    assert f"A copy is at {copy}" in records.said
    assert "1 recordings and 0 results" in records.said
    assert bench.settings.now.folder == str(stick)  # where the next dialogue begins
    with open_store(kept) as store:
        store.hide(1)
    do(window, records, Action.RESTORE)
    assert f"Restored from {copy.name}" in records.said
    assert "set aside in" in records.said
    with open_store(kept, make=False) as store:
        assert [one.name for one in store.recordings()] == ["north field"]
    assert len(window.current.list.shown) == 1


def test_an_empty_store_offers_to_restore(window, bench, stick, records):
    assert "More" not in records.offers
    with open_store(str(stick / "copy.db")) as store:
        store.begin_recording("south field", started_host_s=0.0).end(Notes(), "over")
    (stick / "copy.db.head").unlink()
    records.press("Restore a backup")
    records.settle()
    assert "Restored from copy.db" in records.said
    with open_store(bench.store, make=False) as store:
        assert [one.name for one in store.recordings()] == ["south field"]
    assert "Restore a backup" not in records.offers


def test_nothing_is_restored_while_a_recording_runs(window, bench, kept, stick, records, pass_time):
    do(window, records, Action.BACK_UP)
    bench.use_inputs(["sim:healthy"])
    bench.recording.start()
    pass_time(2)
    do(window, records, Action.RESTORE)
    assert "A recording is under way; stop it on Signals first." in records.said
    bench.recording.stop()


def test_what_is_no_backup_is_left_alone(window, kept, stick, records):
    (stick / "runs.csv").write_text("shown,true\n")
    do(window, records, Action.RESTORE)
    assert "is no store of recordings" in records.said
    with open_store(kept, make=False) as store:
        assert len(store.recordings()) == 1
