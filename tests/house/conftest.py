"""What the tests of the house share: the scripts under packaging/, which no package holds."""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="session")
def root() -> Path:
    """The folder of the checkout."""
    return ROOT


@pytest.fixture(scope="session")
def project() -> dict:
    """pyproject.toml, parsed."""
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


@pytest.fixture(autouse=True)
def scripts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Lets a test import the set-up scripts by name."""
    monkeypatch.syspath_prepend(str(ROOT / "packaging"))
    for name in (
        *("bench", "builds", "checks", "debian", "environment", "manual", "python_version"),
        "shots",
    ):
        sys.modules.pop(name, None)
