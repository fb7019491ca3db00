"""What is doubtful says so wherever it is shown, and nothing is judged by it."""

from __future__ import annotations

import re

import pytest
from PySide6.QtWidgets import QComboBox, QLabel

from drivers.contract import ChannelKind
from workbench.base.units import US
from workbench.gui.parts.basics import CautionCard
from workbench.gui.parts.pace_strip import PaceStrip
from workbench.live.health import DoubtSays
from workbench.models.pace import PaceModel
from workbench.models.passes.job import PassJob
from workbench.models.passes.live import Health, readings
from workbench.models.signals.advice import advice

JUDGED = re.compile(
    r"belt slow|belt fast|falls back|runs ahead|They keep pace|\d (ft|m) (ahead|behind)"
)


def shown(window, page):
    made = window.page(page)
    for caution in made.findChildren(CautionCard):
        if not caution.is_read:
            caution.understood.click()
    for _ in range(12):
        window.tick()
    return made


def all_words(widget):
    return "\n".join(one.text() for one in widget.findChildren(QLabel) if one.isVisibleTo(widget))


@pytest.mark.parametrize("scenario", ["gap-too-wide", "missing-tooth"])
def test_a_pickup_that_misses_teeth_is_doubtful_on_every_page(window, bench, pass_time, scenario):
    bench.machine = None
    bench.use_inputs([f"sim:{scenario}?seed=3"])
    pass_time(30, step_s=0.5, look=window.tick)
    assert PaceModel(bench).belt().doubt is DoubtSays.MISSES_TEETH
    assert "misses" in advice(bench, 0.0).text or "sees no tooth" in advice(bench, 0.0).text
    for name in ("Start", "Signals", "Calibrate", "Pass"):
        page = shown(window, name)
        assert "misses teeth" in all_words(window.header), name
        assert not JUDGED.search(all_words(page)), name
        strips = [one for one in page.findChildren(PaceStrip) if one.isVisible()]
        assert all(one.words() == "belt misses teeth" for one in strips)
    calibrate = all_words(shown(window, "Calibrate"))
    assert "▲ misses teeth" in calibrate
    assert "● steady" not in calibrate
    choices = [
        box.itemText(at)
        for box in shown(window, "Pass").findChildren(QComboBox)
        for at in range(box.count())
    ]
    assert any(one.startswith("left (pulses, ▲ misses teeth") for one in choices)


def test_a_pass_by_a_doubtful_pickup_says_no_slow_belt(bench, pass_time):
    bench.use_inputs(["sim:gap-too-wide?seed=3"])
    pass_time(20, step_s=0.5)
    belt, ground, difference = readings(PassJob(bench), US)
    assert (belt.health, belt.note) == (Health.DOUBTFUL, "▲ misses teeth")
    assert ground.health is Health.LIVE
    assert (difference.health, difference.band) == (Health.DOUBTFUL, None)


@pytest.mark.parametrize("scenario", ["healthy", "valve-off", "hall-pickup", "bent-tooth"])
def test_a_sound_pickup_is_never_doubtful(bench, pass_time, scenario):
    bench.use_inputs([f"sim:{scenario}?seed=4"])
    doubts = []
    pass_time(70, step_s=0.5, look=lambda: doubts.append(PaceModel(bench).now().doubtful))
    assert not any(doubts)


def test_a_run_up_is_no_belt_ahead(window, bench, pass_time):
    """A belt is started before the tractor drives off: that is no separation."""
    bench.machine = None
    bench.use_inputs(["sim:healthy?seed=4"])
    page, said, strip = shown(window, "Start"), [], window.page("Start").findChild(PaceStrip)

    def look():
        window.tick()
        said.append((strip.words(), all_words(page)))

    pass_time(40, step_s=0.25, look=look)
    before = [(tapes, words) for tapes, words in said if tapes == "counts once both are steady"]
    assert before
    assert not any(JUDGED.search(words) for _tapes, words in before)
    apart_ft = [
        float(found[1]) for tapes, _ in said if (found := re.search(r"belt ([\d.]+) ft", tapes))
    ]
    assert apart_ft
    assert max(apart_ft) < 3.0  # 2 % of 25 s at working speed, common practice, no source
    assert any("They keep pace" in words for _tapes, words in said)


def test_a_lost_signal_and_none_lost_do_not_stand_side_by_side(window, bench, clock, pass_time):
    bench.recording.start("test")
    pass_time(3, step_s=0.5, look=window.tick)
    assert "none lost" in window.header.light.text()
    bench.live.stop()
    clock.now_s += 5
    window.tick()
    assert "ground ○ lost" in window.header.inputs.text()
    assert "none lost" not in window.header.light.text()
    assert "signal lost" in window.header.light.text()
    bench.recording.stop()


def test_a_belt_that_stands_keeps_no_speed(bench, pass_time):
    bench.use_inputs(["sim:calibration-shop?seed=4"])
    pass_time(20, step_s=0.5)
    stands = [one for one in bench.live.streams.values() if one.kind is not ChannelKind.BELT]
    ground = [one for one in stands if not one.is_pulses]
    assert ground
    assert not any(one.keeps_speed(bench.clock(), 6.0, 0.01) for one in ground)
