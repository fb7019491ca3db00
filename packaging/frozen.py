"""What the build without Python starts: the same program as `evenpace`."""

import multiprocessing
import sys

from workbench.cli.__main__ import run

if __name__ == "__main__":
    multiprocessing.freeze_support()  # a worker's process is this program too
    sys.exit(run())
