"""The person's own store is none of a test's business."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def own_store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where a command keeps what it is told no other place for; it is not made yet."""
    store = tmp_path / "bench.db"
    monkeypatch.setenv("EVENPACE_STORE", str(store))
    return store
