"""The hash of a recording, a chain over all that was written of it.

It starts from what is known when the recording begins, takes in each block with the name
of its stream, and last the summary. One changed, missing or exchanged byte gives another
hash.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from workbench.records.codec import StreamKey
from workbench.records.jsonable import to_text


def chain_start(row: Mapping[str, Any]) -> bytes:
    """Digest of what a recording's row says when it begins."""
    names = ("name", "simulated", "started_utc", "started_host_s", "machine_text")
    return hashlib.sha256(to_text([row[name] for name in names]).encode()).digest()


def chain_block(digest: bytes, key: StreamKey, items: int, block_sha256: bytes) -> bytes:
    """Digest after one more block."""
    return hashlib.sha256(digest + _told(key, items) + block_sha256).digest()


@lru_cache(maxsize=1024)
def _told(key: StreamKey, items: int) -> bytes:
    return to_text([key.kind, key.input, key.name, key.quantity, items]).encode()


def chain_end(digest: bytes, summary: str) -> str:
    """The recording's hash as it stands, in hex."""
    return hashlib.sha256(digest + summary.encode()).hexdigest()
