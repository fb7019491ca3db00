"""Answers and options as JSON's own types."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from workbench.base.errors import StoreError


def plain(value: Any) -> Any:
    """`value` in JSON's own types; NaN and infinities become null, never bare words."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return [plain(item) for item in value.tolist()]
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, bytes):  # where a damaged row has text: like no text, so it is found
        return {"bytes": value.hex()}
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def to_text(value: Any) -> str:
    """One line of JSON."""
    return json.dumps(plain(value), ensure_ascii=False, allow_nan=False)


def from_text(text: str) -> dict[str, Any]:
    """The object of a line of JSON. Raises StoreError where it is none: the row is damaged."""
    try:
        found = json.loads(text)
    except ValueError:
        found = None
    if not isinstance(found, dict):
        raise StoreError("A row of the store is damaged: its text is no JSON object.")
    return found
