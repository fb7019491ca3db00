"""Settings: what is remembered, and files that are wrong."""

from __future__ import annotations

import pytest

from workbench.models.bench import Bench
from workbench.models.settings import Remembered, Settings


def test_what_is_changed_is_there_at_the_next_start(tmp_path):
    path = tmp_path / "deep" / "settings.json"
    Settings(path).change(units="metric", theme="dark", inputs=["sim:healthy"])
    again = Settings(path)
    assert (again.units.speed, again.now.theme, again.now.inputs) == (
        "km/h",
        "dark",
        ["sim:healthy"],
    )


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", "7", '{"units": "cubits"}', '{"inputs": "sim:healthy"}', "\x00\xff" * 40],
)
def test_a_broken_file_counts_as_none(tmp_path, text):
    path = tmp_path / "settings.json"
    path.write_text(text, encoding="utf-8")
    settings = Settings(path)
    assert settings.now == Remembered()
    settings.change(theme="dark")
    assert settings.now == Settings(path).now
    assert (tmp_path / "settings-set-aside.json").read_text(encoding="utf-8") == text


def test_settings_of_a_later_program_keep_what_is_known(tmp_path):
    path = tmp_path / "settings.json"
    path.write_text('{"theme": "dark", "not yet known": 1}', encoding="utf-8")
    settings = Settings(path)
    assert settings.now.theme == "dark"
    assert path.exists()  # nothing is touched before something is changed
    settings.change(units="metric")
    settings.change(units="us")
    assert [one.name for one in tmp_path.glob("*aside*")] == ["settings-set-aside.json"]
    assert "not yet known" in (tmp_path / "settings-set-aside.json").read_text(encoding="utf-8")
    assert Settings(path).aside is None


def test_a_person_is_told_of_settings_that_are_set_aside(tmp_path, clock):
    path = tmp_path / "settings.json"
    path.write_text('{"theme": "dark", "inputs": ["file:none.csv"], "new": 1}', encoding="utf-8")
    bench = Bench(Settings(path), clock, store=str(tmp_path / "bench.db"))
    bench.start()
    assert any("settings-set-aside.json" in said for said in bench.told)
    bench.close()


def test_a_place_that_cannot_be_written_costs_the_settings_only(tmp_path):
    (tmp_path / "file").write_text("")
    settings = Settings(tmp_path / "file" / "settings.json")
    settings.change(theme="dark")
    assert settings.now.theme == "dark"


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match="bright, dark"):
        Settings().change(theme="pink")
