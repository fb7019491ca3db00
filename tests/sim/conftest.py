"""Simulated runs that several tests look at, made once."""

import functools

import pytest

from sim.run import simulate


@pytest.fixture(scope="session")
def run():
    """A scenario's run: `run('healthy', seed=3, for_s=60)`."""
    return functools.cache(simulate)
