"""A simulated machine on pseudo-terminals, to be opened like a real one.

    python -m sim.terminal gap-too-wide --seed 3

prints the addresses (`counter:/dev/pts/4`, `gnss:/dev/pts/5`) and speaks there in real
time until it is stopped. Pseudo-terminals exist on Linux and macOS only.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from types import TracebackType
from typing import Self

from drivers.contract import Clock, InputError
from sim.driver import read_seed
from sim.wire import Wire


class PseudoTerminal:
    """A pair of terminals: `port` for a driver to open, `send` for the device behind it."""

    def __init__(self) -> None:
        import tty  # not on Windows

        self._ours, theirs = os.openpty()
        tty.setraw(theirs)
        os.set_blocking(self._ours, False)
        # Kept open: the last to close the far end would end the terminal.
        self._theirs = theirs
        self.port = os.ttyname(theirs)

    def send(self, data: bytes) -> None:
        """Send; what nobody reads is lost, as on a serial line."""
        with suppress(BlockingIOError):
            while data:
                data = data[os.write(self._ours, data) :]

    def close(self) -> None:
        os.close(self._ours)
        os.close(self._theirs)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def speak(
    wire: Wire,
    counter: Callable[[bytes], None],
    gnss: Callable[[bytes], None],
    for_s: float,
    clock: Clock = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
) -> None:
    """Send a run as it happens by `clock`, for `for_s` seconds."""
    start_s = clock()
    sent_s = 0.0
    while sent_s < for_s:
        slot = wire.slot()
        sent_s = slot.to_s
        sleep(max(0.0, start_s + sent_s - clock()))
        counter(slot.counter)
        gnss(slot.nmea)


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m sim.terminal", description=__doc__)
    parser.add_argument("scenario", help="a scenario's name, or the path of one's own TOML file")
    parser.add_argument("--seed", default="0")
    args = parser.parse_args()
    try:
        wire = Wire(args.scenario, read_seed("--seed", args.seed))
        counter, gnss = PseudoTerminal(), PseudoTerminal()
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    except ModuleNotFoundError:
        print(
            "Pseudo-terminals exist on Linux and macOS only; use sim: addresses.", file=sys.stderr
        )
        return 2
    with counter, gnss, suppress(KeyboardInterrupt):
        print(f"counter:{counter.port}\ngnss:{gnss.port}", flush=True)
        speak(wire, counter.send, gnss.send, float("inf"))
    return 0


if __name__ == "__main__":
    sys.exit(main())
