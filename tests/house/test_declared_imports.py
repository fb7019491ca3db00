"""The packages declare what they import."""

from __future__ import annotations

import ast
import sys

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

OURS = ("workbench", "drivers", "sim")
BOARD = ("drivers", "firmware")
"""The pulse counter's own program, which runs on the board and not here."""

DISTRIBUTION = {"can": "python-can", "serial": "pyserial", "PySide6": "pyside6-essentials"}
"""Module -> distribution, where the two have different names."""


def imported(root):
    """(file, top-level module) of every import in our packages."""
    for package in OURS:
        for path in sorted((root / package).rglob("*.py")):
            if path.relative_to(root).parts[:2] == BOARD:
                continue
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                names = []
                if isinstance(node, ast.Import):
                    names = [alias.name for alias in node.names]
                elif isinstance(node, ast.ImportFrom) and not node.level and node.module:
                    names = [node.module]
                for name in names:
                    yield path.relative_to(root), name.split(".")[0]


def test_every_import_is_declared(root, project):
    own = project["project"]
    lines = own["dependencies"] + [
        line
        for name, extra in own["optional-dependencies"].items()
        if name != "check"
        for line in extra
    ]
    declared = {canonicalize_name(Requirement(line).name) for line in lines}
    undeclared = set()
    seen = set()
    for path, module in imported(root):
        seen.add(module)
        if module in sys.stdlib_module_names or module in OURS:
            continue
        if canonicalize_name(DISTRIBUTION.get(module, module)) not in declared:
            undeclared.add(f"{path}: {module}")
    assert sorted(undeclared) == []
    assert {"numpy", "serial", "can", "sqlalchemy"} <= seen  # else the search found nothing
