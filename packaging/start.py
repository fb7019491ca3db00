"""The one command of the README: sets Evenpace up where needed, then runs it.

Usage: python3 packaging/start.py [arguments of evenpace]
"""

import os
import sys

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

import python_version  # noqa: F401
import bench

sys.exit(bench.main(sys.argv[1:]))
