"""What each statement says: from an enumeration's member to its template, in English.

The templates are the message ids of the translations. One module a job; `common` holds what
several jobs say.
"""

from __future__ import annotations

from functools import cache
from importlib import import_module

from workbench.words.language import Template

ROOMS = ("cautions", "common", "speed", "calibrate", "gap", "passes", "prepare", "season")


@cache
def sentences() -> dict[str, Template]:
    """Every statement's template by its name. Raises ValueError where two have one name."""
    found: dict[str, Template] = {}
    for room in ROOMS:
        module = import_module(f"workbench.words.catalogue.{room}")
        own: dict[str, Template] = module.SENTENCES
        if twice := found.keys() & own.keys():
            raise ValueError(f"{room}: said twice: {', '.join(sorted(twice))}")
        found |= own
    return found
