"""Makes what this system installs: a program that needs no Python.

Usage: python3 packaging/build.py [FOLDER]     (dist, where none is named)
"""

import os
import sys

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

import python_version  # noqa: F401
import builds

sys.exit(builds.main(sys.argv[1:]))
