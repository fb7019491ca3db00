"""What a waveform says of how it was recorded: too low, cut off, or with automatic gain."""

from __future__ import annotations

import math

import numpy as np

from drivers.contract import Floats, Note
from drivers.wave.crossings import Crossings

LOW_LEVEL = 0.03
"""Of full scale: a tenth of the working speed would be lost in noise; chosen."""
_GROUP = 32
"""Teeth of which one height and one rate are taken, more than a turn of most wheels; chosen."""
_LEAST_GROUPS = 8
_RATE_MOVED, _RATE_STILL = math.log(1.4), math.log(1.1)
_DRIFTED = math.log(1.3)
_LEAST_SLOPE = 0.5


class LevelWatch:
    """One channel's level, seen as its samples and teeth go by. `full_scale` is the level at which
    the recorder cuts off, infinite where nobody knows."""

    def __init__(self, channel: str, rate_hz: float, full_scale: float) -> None:
        self._channel, self._rate_hz, self._full_scale = channel, rate_hz, full_scale
        self._highest, self._clipped = 0.0, 0
        self._log_rates: list[float] = []
        self._log_peaks: list[float] = []
        self._at, self._peak = np.empty(0), np.empty(0)

    def look(self, samples: Floats, teeth: Crossings) -> None:
        """Take note of some more samples (n,) and of the teeth that were over with them."""
        level = np.abs(samples)
        self._highest = max(self._highest, float(level.max(initial=0.0)))
        self._clipped += int(np.count_nonzero(level >= self._full_scale))
        self._at = np.append(self._at, teeth.at)
        self._peak = np.append(self._peak, teeth.peak)
        groups = (self._at.size - 1) // _GROUP
        if groups <= 0:
            return
        ends = np.arange(groups + 1) * _GROUP
        periods = np.diff(self._at[ends]) / _GROUP
        peaks = np.median(self._peak[: groups * _GROUP].reshape(groups, _GROUP), axis=1)
        self._log_rates += np.log(self._rate_hz / periods).tolist()
        self._log_peaks += np.log(peaks).tolist()
        self._at, self._peak = self._at[ends[-1] :], self._peak[ends[-1] :]

    def notes(self) -> list[Note]:
        """Sentences for the person, once all has gone by."""
        told = []
        if math.isfinite(self._full_scale) and self._highest < LOW_LEVEL * self._full_scale:
            told.append(
                Note(
                    "'{channel}' is hardly there: its highest sample is {share_pc:.1f} % of full "
                    "scale; turn the recorder's input up until the fastest run stays just below "
                    "full scale.",
                    channel=self._channel,
                    share_pc=100 * self._highest / self._full_scale,
                )
            )
        if self._clipped:
            told.append(
                Note(
                    "{count} samples of '{channel}' are cut off at full scale: the times of its "
                    "edges hold, the heights of its teeth do not; turn the recorder's input down.",
                    count=self._clipped,
                    channel=self._channel,
                )
            )
        if self.has_automatic_gain() and not self._clipped:
            told.append(
                Note(
                    "The height of '{channel}' does not go with its rate, as a pickup's must: the "
                    "recorder seems to have set its gain by itself, and heights tell nothing of "
                    "the gap. Switch off automatic gain, limiter and noise suppression in the "
                    "recorder or in the computer's sound settings.",
                    channel=self._channel,
                )
            )
        return told

    def has_automatic_gain(self) -> bool:
        """Whether the heights drift by themselves.

        A coil's voltage goes with the speed (Faraday's law): where the rate moved, the logarithms
        of height and rate must lie on a line of slope 1; where it stood, the height must stand.
        """
        rate, peak = np.array(self._log_rates), np.array(self._log_peaks)
        if rate.size < _LEAST_GROUPS:
            return False
        low, high = np.quantile(rate, (0.1, 0.9))
        if high - low > _RATE_MOVED:
            slope = float(np.polyfit(rate, peak, 1)[0])
            return slope < _LEAST_SLOPE
        quarter = rate.size // 4
        given = peak - rate
        drift = abs(float(np.median(given[:quarter]) - np.median(given[-quarter:])))
        return high - low < _RATE_STILL and drift > _DRIFTED
