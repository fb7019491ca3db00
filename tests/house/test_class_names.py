"""One name, one class: who reads a name in one room has not to ask which of two is meant.

House rule, no source.
"""

import ast
from collections import defaultdict
from pathlib import Path

ROOT = Path(__file__).parents[2]
PLACES = ("workbench", "drivers", "sim")


def clashes(root):
    """Class names that two or more modules define, with those modules."""
    found = defaultdict(set)
    for place in PLACES:
        for path in sorted((root / place).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.ClassDef):
                    found[node.name].add(path.relative_to(root).as_posix())
    return {name: sorted(paths) for name, paths in found.items() if len(paths) > 1}


def test_no_two_rooms_give_one_name_to_different_classes():
    assert clashes(ROOT) == {}


def test_a_name_given_twice_is_found(tmp_path):
    for place, text in (("drivers", "class Table: ..."), ("sim", "def f():\n class Table: ...")):
        (tmp_path / place).mkdir()
        (tmp_path / place / "one.py").write_text(text)
    assert clashes(tmp_path) == {"Table": ["drivers/one.py", "sim/one.py"]}
