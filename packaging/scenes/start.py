"""The first page: the demonstration, one's own machine, and signals that went away."""

from dataclasses import replace
from pathlib import Path


def first_start(studio):
    studio.window.show_page("Start")
    studio.run(24, step_s=0.1)


def own_machine(studio):
    own = replace(studio.bench.machine, name="Six-row digger, left belt", text="")
    studio.bench.use_machine(own, Path("six-row digger.toml"))
    studio.run(3, step_s=0.1)


def signal_lost(studio):
    studio.bench.live.stop()
    studio.now_s += 20
    studio.window.tick()


STATES = (first_start, own_machine, signal_lost)
