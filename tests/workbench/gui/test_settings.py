"""Settings: what is remembered, and files that are wrong."""

from __future__ import annotations

import pytest

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
    assert Settings(path).now == Remembered()


def test_settings_of_a_later_program_keep_what_is_known(tmp_path):
    path = tmp_path / "settings.json"
    path.write_text('{"theme": "dark", "not yet known": 1}', encoding="utf-8")
    assert Settings(path).now.theme == "dark"


def test_a_place_that_cannot_be_written_costs_the_settings_only(tmp_path):
    (tmp_path / "file").write_text("")
    settings = Settings(tmp_path / "file" / "settings.json")
    settings.change(theme="dark")
    assert settings.now.theme == "dark"


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match="bright, dark"):
        Settings().change(theme="pink")
