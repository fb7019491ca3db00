"""`python -m workbench.cli` and the console script: what a person starts."""

import sys
import warnings
from collections.abc import Sequence


def run(argv: Sequence[str] | None = None) -> int:
    """`main`, without the warnings that Python and libraries have for programmers."""
    if not sys.warnoptions:
        warnings.simplefilter("ignore")
    try:
        from workbench.cli import main

        return main(argv)
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    sys.exit(run())
