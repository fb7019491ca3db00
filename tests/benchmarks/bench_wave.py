"""Finding the teeth of two channels at 48 kHz, against the time they took to come."""

import numpy as np
from timed import best_s

from drivers.wave.crossings import ToothFinder

RATE_HZ, FOR_S = 48_000, 120


def test_two_channels_at_48_khz(figures):
    time_s = np.arange(RATE_HZ * FOR_S) / RATE_HZ
    chance = np.random.default_rng(1)
    waves = [
        0.5 * np.sin(2 * np.pi * hz * time_s) + 0.005 * chance.standard_normal(time_s.size)
        for hz in (91.0, 240.0)
    ]

    def work():
        for wave in waves:
            finder = ToothFinder(RATE_HZ, 0.003)
            for at in range(0, wave.size, 1600):  # as it comes live, 30 times a second
                finder.feed(wave[at : at + 1600])
            finder.finish()

    share = best_s(work) / FOR_S
    print(f"\n2 channels × {RATE_HZ} Hz: {100 * share:.1f} % of a core live (at most 10 %)")
    figures.at_most("waveform of two channels, share of a core", share, 0.10, "")
