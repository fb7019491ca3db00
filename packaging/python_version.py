"""Imported first by start.py and check.py: stops a Python that is too old with a sentence.

These three files hold only what every Python since 2.7 can read, so that an old one gets
that far.
"""

import sys

NEEDED = (3, 11)

if sys.version_info[:2] < NEEDED:
    sys.stderr.write(
        "Evenpace needs Python %d.%d or newer; this is Python %d.%d (%s).\n"
        "Install a newer one and run the same command with it, for example "
        "'python3.11 %s'.\n"
        % (
            NEEDED[0],
            NEEDED[1],
            sys.version_info[0],
            sys.version_info[1],
            sys.executable,
            sys.argv[0],
        )
    )
    sys.exit(2)
