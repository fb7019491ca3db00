"""Evenpace in its own environment: a command, the bench on a screen, or a demo without one."""

from __future__ import annotations

import ctypes
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

import debian
from environment import RUN_LOCK, House, SetUpFailed, ensure, hand_over, say

HOUSE = House(Path(__file__).resolve().parent.parent)

# -P: what lies in the caller's folder must not stand in for a module.
EVENPACE = (str(HOUSE.python), "-P", "-m", "workbench.cli")

DEMO = ("calibrate", "sim:calibration-shop", "--for", "5min")


def main(arguments: Sequence[str]) -> int:
    """Set up and run evenpace with `arguments`; returns its exit status, 3 without set-up.

    Without arguments it opens the bench on the simulator, or where there is no screen
    calibrates a simulated readout and leaves the certificate in a file.
    """
    try:
        ensure(HOUSE, RUN_LOCK)
        if arguments or (has_screen() and debian.provide_qt_libraries(say)):
            return hand_over([*EVENPACE, *arguments])
        return demo()
    except SetUpFailed as error:
        say(str(error))
        return 3
    except KeyboardInterrupt:
        say("Interrupted; start again to go on.")
        return 130


def demo() -> int:
    """Calibrate a simulated readout without a screen; returns 0 once the certificate is there."""
    folder = Path(tempfile.mkdtemp(prefix="evenpace-demo-"))
    certificate = folder / "certificate.pdf"
    words = [*DEMO, "--report", str(certificate)]
    say("There is no screen here, so a simulated readout is calibrated:")
    say(f"  evenpace {' '.join(words)}")
    status = subprocess.call([*EVENPACE, *words])
    if not certificate.is_file():
        return status
    print(f"The certificate lies in {certificate}")
    return 0


def has_screen() -> bool:
    """Whether a window can be shown: anywhere but on Linux without a display that answers."""
    if sys.platform != "linux" or os.environ.get("QT_QPA_PLATFORM"):
        return True
    socket = Path(os.environ.get("XDG_RUNTIME_DIR", ""), os.environ.get("WAYLAND_DISPLAY", ""))
    return socket.is_socket() or _x_display_answers()


def _x_display_answers() -> bool:
    if not os.environ.get("DISPLAY"):
        return False
    try:
        x11 = ctypes.CDLL("libX11.so.6")
    except OSError:
        return True  # the system libraries are brought next
    x11.XOpenDisplay.restype = ctypes.c_void_p
    display = x11.XOpenDisplay(None)
    if not display:
        say(f"The display '{os.environ['DISPLAY']}' does not answer.")
        return False
    x11.XCloseDisplay(ctypes.c_void_p(display))
    return True
