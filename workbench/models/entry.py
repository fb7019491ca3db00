"""What a person types into a field, as a number."""

from __future__ import annotations

import math

from workbench.base.errors import Message, WrongInput


def typed_number(text: str, what: Message | str, *, above: float = 0.0) -> float:
    """The number typed, larger than `above`; a decimal comma will do. Raises WrongInput."""
    plain = text.strip().replace(",", ".")
    try:
        value = float(plain) if "_" not in plain else math.nan
    except ValueError:
        value = math.nan
    if not plain:
        raise WrongInput("Type {what}.", what=what)
    if not (math.isfinite(value) and value > above):
        raise WrongInput(
            "'{typed}': type {what} as a number above {above:g}.",
            typed=text.strip(),
            what=what,
            above=above,
        )
    return value
