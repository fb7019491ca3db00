"""What a person types into a field, as a number."""

from __future__ import annotations

import math

from workbench.base.errors import WrongInput


def typed_number(text: str, what: str, *, above: float = 0.0) -> float:
    """The number typed, larger than `above`; a decimal comma will do. Raises WrongInput."""
    plain = text.strip().replace(",", ".")
    try:
        value = float(plain) if "_" not in plain else math.nan
    except ValueError:
        value = math.nan
    if not plain:
        raise WrongInput(f"Type {what}.")
    if not (math.isfinite(value) and value > above):
        raise WrongInput(f"'{text.strip()}': type {what} as a number above {above:g}.")
    return value
