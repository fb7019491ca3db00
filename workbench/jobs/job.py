"""The jobs there are: each a pure function from typed options to one typed answer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from typing import Any

from workbench.base.errors import StoreError

ROOMS = {
    "speed": "workbench.jobs.speed.compute",
    "calibrate": "workbench.jobs.calibrate.compute",
    "gap": "workbench.jobs.gap.compute",
    "pass": "workbench.jobs.passes.compute",
    "prepare": "workbench.jobs.prepare.compute",
}
"""Kind of a result -> the module whose `JOB` makes it; imported when it is asked for."""


@dataclass(frozen=True, slots=True)
class Job:
    """A kind of result: the types of its options and its answer, and what computes it.

    `compute(source, machine, options)` takes a recording, or a table's text, and raises
    WrongInput where nothing can be answered.
    """

    kind: str
    options: type
    answer: type
    compute: Callable[[Any, Any, Any], Any]


def job(kind: str) -> Job:
    """The job that makes results of a kind. Raises StoreError for one that is not known."""
    if kind not in ROOMS:
        raise StoreError("This program knows no results of the kind '{kind}'.", kind=kind)
    found: Job = import_module(ROOMS[kind]).JOB
    return found
