"""The desktop entry names what there is. Keys: the Desktop Entry Specification, version 1.5."""

from __future__ import annotations

import configparser
import tomllib
from pathlib import Path

from PySide6.QtGui import QIcon

ROOT = Path(__file__).resolve().parents[2]


def test_the_entry_starts_the_program_and_has_its_icon(qapp):
    file = configparser.ConfigParser(interpolation=None)
    file.optionxform = str
    file.read(ROOT / "packaging" / "evenpace.desktop", encoding="utf-8")
    entry = file["Desktop Entry"]
    scripts = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["scripts"]
    assert {"Type", "Name", "Exec"} <= entry.keys()
    assert entry["Exec"] in scripts
    icon = QIcon(str(ROOT / "workbench" / "gui" / "icons" / f"{entry['Icon']}.svg"))
    assert not icon.pixmap(48, 48).isNull()
