"""Plays the cues of a pass: as tones where the computer can, as rhythms of its beep elsewhere.

In band rises in two notes; out of band falls, long, twice; lost is five short equal pips. They
differ in number, length and direction, so that neither a screen nor a good ear is needed.
"""

from __future__ import annotations

import importlib
import math
import shutil
import subprocess
import sys
import wave
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from platformdirs import user_cache_path
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QApplication

from drivers.contract import Clock
from workbench.base.errors import StoreError
from workbench.base.files import replacing
from workbench.models.passes.cues import Cue
from workbench.words.language import N_, _

Note = tuple[float, float]
"""Frequency in Hz (0: silence) and length in seconds."""

TONES: dict[Cue, tuple[Note, ...]] = {
    Cue.IN_BAND: ((660, 0.14), (990, 0.26)),
    Cue.OUT_OF_BAND: ((520, 0.30), (350, 0.45), (0, 0.20), (520, 0.30), (350, 0.45)),
    Cue.LOST: ((1250, 0.08), (0, 0.10)) * 5,
}
BEEPS: dict[Cue, tuple[float, ...]] = {
    Cue.IN_BAND: (0.0,),
    Cue.OUT_OF_BAND: (0.0, 0.9),
    Cue.LOST: (0.0, 0.3, 0.6, 0.9, 1.2),
}
"""Seconds after the cue's beginning at which the computer's own beep sounds."""

WORDS = {
    Cue.IN_BAND: (N_("In band: two notes, rising"), N_("In band: one beep")),
    Cue.OUT_OF_BAND: (
        N_("Out of band: two long notes falling, twice"),
        N_("Out of band: two slow beeps"),
    ),
    Cue.LOST: (N_("Lost signal: five short pips"), N_("Lost signal: five quick beeps")),
}
"""A cue, and how it sounds as tones and as beeps."""

RATE_HZ = 22_050
LOUD = 0.6
FADE_S = 0.008
"""A tone that begins or ends at once would click."""
LONGEST_S = 3.0

Player = Callable[[Path], "subprocess.Popen[bytes] | None"]


class CuePlayer:
    """`play` begins a cue, `look` (called every frame) goes on with it."""

    def __init__(self, clock: Clock, player: Player | None, folder: Path | None = None) -> None:
        self._clock, self._player = clock, player
        self._folder = folder or user_cache_path("evenpace") / "sounds"
        self._sounding: tuple[Cue, subprocess.Popen[bytes]] | None = None
        self._beeps_s: list[float] = []
        self._queue: list[tuple[float, Cue]] = []

    def words(self, cue: Cue) -> str:
        """How a cue sounds on this computer."""
        tones, beeps = WORDS[cue]
        return _(tones if self._player else beeps)

    def play(self, cue: Cue) -> None:
        """Begin a cue; one that still sounds ends."""
        self.stop()
        self._begin(cue)

    def try_all(self) -> Cue | None:
        """All three, one after the other; the first, which begins now."""
        self.stop()
        now_s = self._clock()
        self._queue = [(now_s + LONGEST_S * at, cue) for at, cue in enumerate(Cue)]
        return self.look()

    @property
    def trying(self) -> bool:
        """Whether some of `try_all` are still to come."""
        return bool(self._queue)

    def look(self) -> Cue | None:
        """Beeps and tries that are due; the cue of `try_all` that began now."""
        now_s = self._clock()
        self._reap()
        while self._beeps_s and now_s >= self._beeps_s[0]:
            self._beeps_s.pop(0)
            QApplication.beep()
        if self._queue and now_s >= self._queue[0][0]:
            cue = self._queue.pop(0)[1]
            self._begin(cue)
            return cue
        return None

    def stop(self) -> None:
        """Silence."""
        self._beeps_s, self._queue = [], []
        if self._sounding is not None:
            process = self._sounding[1]
            process.terminate()
            process.wait()
            self._sounding = None

    def _begin(self, cue: Cue) -> None:
        if self._player is not None:
            try:
                process = self._player(self._file(cue))
            except (OSError, StoreError, RuntimeError):
                self._player = None
            else:
                self._sounding = (cue, process) if process is not None else None
                return
        now_s = self._clock()
        self._beeps_s = [now_s + after_s for after_s in BEEPS[cue]]

    def _reap(self) -> None:
        """A player that failed is not asked again, and its cue is beeped instead."""
        if self._sounding is None:
            return
        cue, process = self._sounding
        if process.poll() is None:
            return
        self._sounding = None
        if process.returncode != 0:
            self._player = None
            self._begin(cue)

    def _file(self, cue: Cue) -> Path:
        """The cue as a WAV file, written when first wanted. Raises OSError, StoreError."""
        path = self._folder / f"{cue.name.lower().replace('_', '-')}.wav"
        if not path.exists():
            self._folder.mkdir(parents=True, exist_ok=True)
            with replacing(path, sync=False) as fresh:
                write_wav(TONES[cue], fresh)
        return path


def write_wav(notes: Sequence[Note], path: Path) -> None:
    """Notes as a mono WAV file of 16 bits. Raises OSError."""
    parts = []
    for frequency_hz, length_s in notes:
        at_s = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
        edge = np.minimum(np.minimum(at_s, length_s - at_s) / FADE_S, 1.0)
        parts.append(LOUD * edge * np.sin(2 * math.pi * frequency_hz * at_s))
    samples = np.round(32767 * np.concatenate(parts)).astype("<i2")
    with path.open("wb") as file, wave.open(file, "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(RATE_HZ)
        sound.writeframes(samples.tobytes())


def platform_player() -> Player | None:
    """This computer's own player of WAV files; None where only its beep is left."""
    if QGuiApplication.platformName() in ("offscreen", "minimal"):
        return None  # nobody sits before a screen that is not there
    if sys.platform == "win32":
        return _windows
    names = ("afplay",) if sys.platform == "darwin" else ("pw-play", "paplay", "aplay")
    found = next((path for path in map(shutil.which, names) if path), None)
    return None if found is None else lambda file: _run([found, str(file)])


def _run(command: Sequence[str]) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def _windows(file: Path) -> None:
    """Windows plays a file by itself, away from our thread. Raises RuntimeError."""
    sound = importlib.import_module("winsound")
    sound.PlaySound(str(file), sound.SND_FILENAME | sound.SND_ASYNC | sound.SND_NODEFAULT)
