"""An answer as one JSON object for whoever asks: its numbers in SI, its statements worded."""

from __future__ import annotations

from typing import Any

from workbench.base.statements import Statement
from workbench.jobs.codec import new_converter, statements_in, to_plain
from workbench.words.words import Words


def json_view(answer: object, words: Words) -> dict[str, Any]:
    """The answer's own keys; each statement is a sentence in the person's language and units,
    '' where there is nothing to say.

    Under `statements` each stands once more as data, with the place `at` which it is said.
    """
    spoken = new_converter()
    spoken.register_unstructure_hook(Statement, words.say)
    spoken.register_unstructure_hook(Statement | None, lambda said: words.say(said) if said else "")
    view: dict[str, Any] = spoken.unstructure(answer)
    said = [{"at": at, **data} for at, data in statements_in(to_plain(answer))]
    return {**view, "statements": said} if said else view
