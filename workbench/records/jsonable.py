"""Answers and options as JSON's own types."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

import numpy as np


def plain(value: Any) -> Any:
    """`value` in JSON's own types; NaN and infinities become null, never bare words."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return [plain(item) for item in value.tolist()]
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def to_text(value: Any) -> str:
    """One line of JSON."""
    return json.dumps(plain(value), ensure_ascii=False, allow_nan=False)
