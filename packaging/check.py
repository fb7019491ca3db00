"""Sets up, then runs the linters, the types, the contracts and the tests.

Usage: python3 packaging/check.py [arguments of pytest, or --benchmarks]
"""

import os
import sys

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

import python_version  # noqa: F401
import checks

sys.exit(checks.main(sys.argv[1:]))
