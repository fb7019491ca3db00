"""Draws every page of the bench in its typical states as a PNG, without a screen.

Each file is named page-state-size-theme.png. The simulator runs by a clock that this program
turns, so that minutes of run take seconds.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import python_version  # noqa: F401
from bench import HOUSE
from environment import RUN_LOCK, SetUpFailed, ensure, hand_over, say

if TYPE_CHECKING:
    from drivers.contract import Clock, Driver, Item

SIZES = {"small": (1024, 600), "large": (1920, 1080)}
SCENES = ("start", "machine", "prepare", "signals", "calibrate", "gap", "passing", "records")
GUIDE = (
    "start-first_start-small-bright",
    "machine-form-small-bright",
    "prepare-belt-small-bright",
    "signals-missed_edges-small-bright",
    "calibrate-kept-small-bright",
    "calibrate-certificate-small-bright",
    "gap-verdict-small-bright",
    "gap-bent_tooth-small-bright",
    "passing-running_verdict-small-dark",
    "passing-answer_fail-small-bright",
    "records-season_ratio-small-bright",
)
"""The pictures that README and guide show."""

COLOURS = 128
"""Enough for flat surfaces and smooth letters; the files are a third of the size."""

BEHIND_S = 20.0
"""So long the simulator's threads may need for one step of the clock before we give up."""


def main(words: Sequence[str]) -> int:
    """Set up where needed, then draw; returns the exit status. Raises SystemExit as argparse
    does."""
    parser = argparse.ArgumentParser(prog="packaging/shots.py", description=__doc__)
    parser.add_argument("folder", metavar="DIR", nargs="?", help="where the pictures go")
    parser.add_argument(
        "scenes",
        metavar="SCENE",
        nargs="*",
        help=f"pages to draw: {' '.join(SCENES)} (default: all)",
    )
    parser.add_argument(
        "--guide", action="store_true", help="make the pictures of README and guide anew"
    )
    args = parser.parse_args(words)
    unknown = [name for name in args.scenes if name not in SCENES]
    if unknown:
        parser.error(f"there is no scene {unknown[0]!r}; there is {' '.join(SCENES)}")
    if args.guide == bool(args.folder):
        parser.error("name a folder, or --guide; one of them")
    if Path(sys.prefix).resolve() != HOUSE.python.parent.parent.resolve():
        try:
            ensure(HOUSE, RUN_LOCK)
        except SetUpFailed as error:
            say(str(error))
            return 3
        return hand_over([HOUSE.python, __file__, *words])
    os.environ["QT_QPA_PLATFORM"] = "offscreen"
    sys.path.insert(0, str(HOUSE.root))
    if args.guide:
        draw_guide()
    else:
        draw(Path(args.folder), args.scenes or SCENES)
    return 0


def draw_guide() -> None:
    """The guide's pictures, in few colours, where they belong."""
    from PIL import Image

    with tempfile.TemporaryDirectory() as place:
        draw(Path(place), SCENES)
        for name in GUIDE:
            picture = Image.open(Path(place) / f"{name}.png").convert("RGB")
            few = picture.quantize(COLOURS, dither=Image.Dither.NONE)
            few.save(HOUSE.root / "packaging/pictures" / f"{name}.png", optimize=True)


def draw(folder: Path, scenes: Sequence[str]) -> None:
    """The pictures of these scenes, each with a bench of its own."""
    from PySide6.QtWidgets import QApplication

    folder.mkdir(parents=True, exist_ok=True)
    QApplication.instance() or QApplication([])
    QApplication.setStyle("Fusion")
    for scene in scenes:
        states: Sequence[Callable[[Studio], None]]
        states = importlib.import_module(f"scenes.{scene}").STATES
        for theme in ("bright", "dark"):
            with tempfile.TemporaryDirectory() as place:
                studio = Studio(theme, Path(place) / "records.db")
                try:
                    for state in states:
                        state(studio)
                        studio.take(folder, f"{scene}-{state.__name__}")
                finally:
                    studio.close()


class Studio:
    """A bench, its window, and a clock that is turned by hand."""

    def __init__(self, theme: str, store: Path) -> None:
        from workbench.gui.app import make_window
        from workbench.models.bench import Bench
        from workbench.models.settings import Settings

        self.now_s, self.theme = 1000.0, theme
        settings = Settings()
        settings.change(theme=theme)
        self.bench = Bench(
            settings,
            self.clock,
            store=str(store),
            opener=open_by_hand_clock,
            computer_clock=lambda: 0.0,
        )
        self.bench.use_inputs(["sim:valve-off?seed=4"])
        self.window = make_window(self.bench)
        self.window.timer.stop()
        self.window.show()

    def clock(self) -> float:
        return self.now_s

    def show(self, page: str, *, caution_read: bool = True) -> Any:
        """A page, its background work done; with its caution read unless told otherwise."""
        from workbench.gui.parts.basics import CautionCard

        made = self.window.page(page)
        for caution in made.findChildren(CautionCard):
            if caution.isVisible() and caution_read:
                caution.understood.click()
        self.rest()
        return made

    def use(self, address: str) -> None:
        """Another input, with the machine it brings."""
        self.bench.machine = None
        self.bench.use_inputs([address])

    def run(self, for_s: float, step_s: float = 0.5) -> None:
        """Let simulated time pass, a frame at each step."""
        self._catch_up()
        for _ in range(round(for_s / step_s)):
            self.now_s += step_s
            self._catch_up()
            self.window.tick()

    def _catch_up(self) -> None:
        end_s = time.monotonic() + BEHIND_S
        while self._behind():
            if time.monotonic() > end_s:
                raise SystemExit("the simulator did not come up to the clock")
            time.sleep(0.001)

    def _behind(self) -> bool:
        recording = self.bench.recording
        if recording.running and recording.number is None and not recording.failed:
            return True
        return any(not status.last_host_s >= self.now_s for status in self.bench.live.statuses())

    def rest(self) -> None:
        """Until no page works in the background."""
        from PySide6.QtCore import QCoreApplication, QThread

        if not self.bench.recording.running:
            self.bench.recording.wait()
        for _ in range(3):
            for worker in self.window.findChildren(QThread):
                worker.wait()
            QCoreApplication.processEvents()
            self.window.tick()

    def take(self, folder: Path, name: str) -> None:
        """The window at every size."""
        from PySide6.QtCore import QCoreApplication

        for size, (width, height) in SIZES.items():
            self.window.resize(width, height)
            for _ in range(6):
                QCoreApplication.processEvents()
                self.window.tick()
            path = folder / f"{name}-{size}-{self.theme}.png"
            self.window.grab().save(str(path))
            print(path)

    def close(self) -> None:
        from PySide6.QtCore import QCoreApplication, QEvent

        self.window.close()
        self.window.deleteLater()
        QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


def open_by_hand_clock(address: str, clock: Clock) -> Driver:
    """An input whose `read` does not wait for a clock that stands still between steps."""
    from drivers.catalogue import open_input

    driver = open_input(address, clock)
    read = driver.read

    def read_at_once(_timeout_s: float) -> list[Item]:
        items = read(0.0)
        if not items:
            time.sleep(0.001)
        return items

    driver.read = read_at_once  # type: ignore[method-assign, assignment]
    return driver


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
