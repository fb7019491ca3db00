"""`evenpace`: every job without a screen.

Each command is a module with `add_arguments(parser)` and `run(args) -> int`; it is
imported only when it is the one called, so `--help` stays fast. One JSON object or a
table for people goes to stdout, everything else to stderr.
"""

from __future__ import annotations

from collections.abc import Sequence

DONE, FAILED, WRONG, BROKEN = 0, 1, 2, 3
"""Exit status: done; the answer is a fail; the input or the call was wrong; a device or the
store failed."""

INTERRUPTED = 130
"""What a shell reports of a program ended by Ctrl-C."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status. Raises SystemExit where argparse does."""
    from workbench.cli.door import run, understand

    return run(understand(argv))
