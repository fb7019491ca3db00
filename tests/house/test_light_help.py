"""`evenpace --help` answers without waiting for the libraries that the commands need."""

from __future__ import annotations

import json
import subprocess
import sys

HEAVY = {"numpy", "scipy", "can", "cantools", "serial", "rich", "PySide6", "pyqtgraph"} | {
    "sqlalchemy", "alembic", "matplotlib", "jinja2", "typst", "pyproj", "pynmeagps", "pyubx2",
}  # fmt: skip

PROGRAM = """
import json, sys
from workbench.cli import main
try:
    main(["--help"])
finally:
    print(json.dumps(sorted(sys.modules)), file=sys.stderr)
"""


def test_help_imports_no_heavy_library():
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=True
    )
    assert "pass" in done.stdout
    modules = set(json.loads(done.stderr.splitlines()[-1]))
    assert "workbench.cli" in modules
    assert sorted(HEAVY & modules) == []
