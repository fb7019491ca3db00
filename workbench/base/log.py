"""The program's log: what went wrong in its own words, for whoever mends it."""

from __future__ import annotations

import logging
from logging.handlers import RotatingFileHandler
from pathlib import Path

LOG = logging.getLogger("evenpace")
LOG_BYTES = 1_000_000


def start_log(folder: Path) -> Path | None:
    """Write the program's log to a file in `folder`; None where none can be written."""
    path = folder / "evenpace.log"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handler = RotatingFileHandler(path, maxBytes=LOG_BYTES, backupCount=2, encoding="utf-8")
    except OSError:
        return None
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    LOG.addHandler(handler)
    LOG.setLevel(logging.INFO)
    return path
