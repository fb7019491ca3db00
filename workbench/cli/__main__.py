"""`python -m workbench.cli` and the console script: what a person starts."""

import logging
import os
import signal
import sys
import warnings
from collections.abc import Sequence
from typing import NoReturn


def run(argv: Sequence[str] | None = None) -> int:
    """`main`; without `argv` as a program, which owns its streams and what Ctrl-C does."""
    if argv is not None:
        from workbench.cli import main

        return main(argv)
    signal.signal(signal.SIGINT, _leave)
    # The warnings that Python and libraries have are for programmers.
    if not sys.warnoptions:
        warnings.simplefilter("ignore")
    logging.lastResort = logging.NullHandler()
    from workbench.cli import door, speech

    speech.use_steady_streams()
    try:
        args = door.understand()
        signal.signal(signal.SIGINT, signal.default_int_handler)
        return door.run(args)
    except KeyboardInterrupt:
        _leave()
    finally:
        signal.signal(signal.SIGINT, _leave)
        speech.end_streams()


def _leave(*_signal: object) -> NoReturn:
    """Before and after its work nothing is under way that would have to be ended."""
    os._exit(130)


if __name__ == "__main__":
    sys.exit(run())
