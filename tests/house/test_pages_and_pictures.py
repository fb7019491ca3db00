"""README, guide and developers' page point at things that are there; the pictures can be drawn."""

from __future__ import annotations

import importlib
import re

import pytest
from PySide6.QtGui import QImage

LINK = re.compile(r"!?\[[^\]]*\]\((?P<target>[^)#:]+)\)")
PATH = re.compile(r"`(?P<path>(?:packaging|workbench|drivers|sim|tests)/[\w./-]+)`")
PAGES = ("README.md", "DEVELOPERS.md", "packaging/GUIDE.md")


@pytest.mark.parametrize("page", PAGES)
def test_every_link_and_path_leads_somewhere(root, page):
    text = (root / page).read_text(encoding="utf-8")
    linked = [(root / page).parent / found["target"] for found in LINK.finditer(text)]
    paths = [found["path"] for found in PATH.finditer(text)]
    named = [root / path for path in paths if "NAME" not in path]
    assert linked or named
    assert [str(path) for path in linked + named if not path.exists()] == []


def test_every_picture_of_the_guide_is_shown_and_made(root):
    shots = importlib.import_module("shots")
    kept = {path.stem for path in (root / "packaging/pictures").glob("*.png")}
    assert kept == set(shots.GUIDE)
    text = "".join((root / page).read_text(encoding="utf-8") for page in PAGES)
    assert [name for name in sorted(kept) if f"pictures/{name}.png" not in text] == []


def test_a_page_is_drawn_at_both_sizes_and_in_both_themes(tmp_path, qtbot):
    shots = importlib.import_module("shots")
    shots.draw(tmp_path, ["start"])
    drawn = sorted(path.stem for path in tmp_path.glob("*.png"))
    assert len(drawn) == 3 * 2 * 2
    for name in drawn:
        picture = QImage(str(tmp_path / f"{name}.png"))
        size = next(size for word, size in shots.SIZES.items() if f"-{word}-" in name)
        assert (picture.width(), picture.height()) == size


def test_an_unknown_scene_is_named(capsys):
    shots = importlib.import_module("shots")
    for words, status in ((["folder", "harvest"], 2), ([], 2), (["--help"], 0)):
        with pytest.raises(SystemExit) as ended:
            shots.main(words)
        assert ended.value.code == status
    assert "'harvest'" in capsys.readouterr().err
