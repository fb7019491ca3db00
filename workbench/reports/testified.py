"""What a report says of the ledger at its foot."""

from __future__ import annotations

from dataclasses import replace

from workbench.jobs.paper import paper_now
from workbench.records.store import open_store
from workbench.reports.document import Document


def testified(document: Document, store: str | None, number: int | None) -> Document:
    """The document of result `number` with the newest entry of its store's ledger; as it is
    where its answer is not kept. Raises WrongInput where it cannot be signed, StoreError."""
    if number is None:
        return document
    with open_store(store, make=False) as opened:
        return replace(document, ledger=str(paper_now(opened)))
