"""Waveforms of a simulated pickup, made once."""

import pytest

from sim.waveform import write_wav


@pytest.fixture(scope="session")
def recorded(tmp_path_factory):
    """(the WAV of a scenario, its run): 30 s of a bent tooth, both pickups."""
    path = tmp_path_factory.mktemp("sound") / "bent.wav"
    return path, write_wav(path, "bent-tooth", seed=3, for_s=30.0)
