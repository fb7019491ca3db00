"""A test pass: before, during and after."""

import tempfile
from pathlib import Path

import sim

NO_GROUND = """
[sensors]
wheel = 0
radar = 0
gnss = 0
"""


def caution(studio):
    studio.use("sim:valve-off?seed=4")
    studio.run(15)
    studio.show("Pass", caution_read=False)


def ready(studio):
    studio.show("Pass")


def running_early(studio):
    drive(studio, "sim:healthy?seed=4", 26)


def running_verdict(studio):
    finish(studio)
    drive(studio, "sim:valve-off?seed=4", 45)


def lost(studio):
    studio.bench.live.stop()
    studio.now_s += 5


def answer_pass(studio):
    finish(studio)
    drive(studio, "sim:healthy?seed=1", 120)
    finish(studio)


def answer_fail(studio):
    drive(studio, "sim:valve-off?seed=4", 60)
    finish(studio)


def answer_field(studio):
    studio.window.page("Pass")._after._on_field.click()


def answer_unclear(studio):
    drive(studio, "sim:healthy?seed=4", 14)
    finish(studio)


def preview(studio):
    drive(studio, "sim:bumped-valve?seed=2", 90)
    finish(studio)
    studio.window.page("Pass")._others["preview"].click()
    studio.rest()


def old_recordings(studio):
    page = studio.window.page("Pass")
    page._go_back()
    page._go_back()
    page._others["old"].click()
    studio.rest()


def no_ground(studio):
    studio.window.page("Pass")._go_back()
    healthy = Path(sim.__file__).parent / "library" / "healthy.toml"
    with tempfile.TemporaryDirectory() as folder:
        scenario = Path(folder) / "belt-alone.toml"
        scenario.write_text(healthy.read_text(encoding="utf-8") + NO_GROUND, encoding="utf-8")
        studio.use(f"sim:{scenario}?seed=4")
        studio.run(5)


def drive(studio, address, for_s):
    """A pass on a scenario, so long."""
    page = studio.show("Pass")
    if page.judged is not None:
        page._go_back()
    studio.use(address)
    studio.run(3)
    page._start.click()
    studio.run(for_s)


def finish(studio):
    """End the pass that runs and wait for its answer."""
    page = studio.show("Pass")
    if page.job.running:
        page._start.click()
        studio.rest()


STATES = (
    caution,
    ready,
    running_early,
    running_verdict,
    lost,
    answer_pass,
    answer_fail,
    answer_field,
    answer_unclear,
    preview,
    old_recordings,
    no_ground,
)
