"""What is heard and read in the cab: each cue once, when it holds, by whatever can play it."""

from __future__ import annotations

import math
import subprocess
import sys
import wave
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from PySide6.QtWidgets import QApplication

from workbench.calibration.statistics.decision import Verdict
from workbench.gui.passes.cue_player import BEEPS, RATE_HZ, TONES, CuePlayer, write_wav
from workbench.match.live import Snapshot
from workbench.match.live_seconds import LiveAnswer, TractorState
from workbench.match.ratio import PaceLimits
from workbench.models.pace import PaceNow
from workbench.models.passes.cues import HOLD_S, REMIND_S, SPAN_S, WAITS_S, Cue, CueWatch
from workbench.models.passes.live import line

LIMITS = PaceLimits(0.95, 1.05)


STEP_S = 0.1


def snapshot(at_s, ratio=1.0, *, lost="", state=TractorState.STEADY, ground_mps=1.2):
    ground = math.nan if "ground" in lost else ground_mps
    belt = math.nan if "belt" in lost else ratio * ground_mps
    return Snapshot(
        time_s=at_s,
        state=state,
        belt_mps=belt,
        ground_mps=ground,
        separation_m=0.0,
        standing=LiveAnswer(ratio, 0.01, 0.02, more_s=14.0),
        belt_lost=lost == "belt",
        ground_lost=lost == "ground",
    )


class Drive:
    """Snapshots ten times a second, and the cues they bring, with their time."""

    def __init__(self):
        self.watch, self.now_s, self.heard = CueWatch(LIMITS), 0.0, []

    def go(self, for_s, ratio=1.0, **how):
        for _ in range(round(for_s / STEP_S)):
            self.now_s += STEP_S
            size = ratio(self.now_s) if callable(ratio) else ratio
            cue = self.watch.look(snapshot(self.now_s, size, **how))
            if cue is not None:
                self.heard.append((round(self.now_s, 1), cue))
        return [cue for _, cue in self.heard]


def test_each_cue_comes_once_when_its_state_has_held():
    drive = Drive()
    assert drive.go(10, 1.0) == [Cue.IN_BAND]
    assert drive.heard[0][0] == pytest.approx(HOLD_S, abs=0.2)
    drive.heard.clear()
    assert drive.go(10, 0.9) == [Cue.OUT_OF_BAND]
    assert 10 + HOLD_S <= drive.heard[0][0] <= 10 + HOLD_S + SPAN_S + 0.2
    drive.heard.clear()
    assert drive.go(10, 1.0) == [Cue.IN_BAND]


def test_a_ratio_that_breathes_about_a_limit_does_not_chatter():
    drive = Drive()

    def breathing(at_s):
        return 0.95 + 0.009 * math.sin(2 * math.pi * at_s / 7)

    heard = drive.go(REMIND_S * 8, breathing)
    assert len(set(heard)) == 1
    # The same without the room beyond the limit would change sides twice a period.
    sides = [breathing(STEP_S * at) < 0.95 for at in range(1200)]
    assert sum(a != b for a, b in pairwise(sides)) > 30


def test_a_single_odd_value_is_not_heard():
    drive = Drive()
    drive.go(10, 1.0)
    drive.go(1.0, 0.7)
    assert drive.go(10, 1.0) == [Cue.IN_BAND]


def test_a_lost_signal_is_heard_at_once_and_again():
    drive = Drive()
    drive.go(10, 1.0)
    drive.heard.clear()
    drive.go(2 * REMIND_S + 1, lost="ground", state=TractorState.LOST)
    assert [cue for _, cue in drive.heard] == [Cue.LOST] * 3
    assert drive.heard[0][0] == pytest.approx(10 + STEP_S)
    drive.heard.clear()
    assert drive.go(10, 1.0) == [Cue.IN_BAND]


def test_out_of_band_is_heard_again_in_band_is_not():
    drive = Drive()
    assert drive.go(4 * REMIND_S, 1.0) == [Cue.IN_BAND]
    drive.heard.clear()
    drive.go(2 * REMIND_S + HOLD_S + SPAN_S + 1, 1.2)
    assert [cue for _, cue in drive.heard] == [Cue.OUT_OF_BAND] * 3


@pytest.mark.parametrize(
    "state",
    [TractorState.APPROACH, TractorState.STOPPED, TractorState.HEADLAND, TractorState.WAITING],
)
def test_nothing_is_heard_while_speeding_up_turning_or_standing(state):
    assert Drive().go(30, 0.5, state=state) == []


def test_a_signal_that_never_comes_is_heard_as_lost_after_a_while():
    drive = Drive()
    assert drive.go(WAITS_S - 1, lost="belt", state=TractorState.WAITING) == []
    assert drive.go(3, lost="belt", state=TractorState.WAITING) == [Cue.LOST]


def test_a_standing_digger_whose_belt_gives_no_pulses_is_silent():
    assert Drive().go(30, lost="belt", ground_mps=0.0, state=TractorState.LOST) == []


def test_the_sentence_says_how_much_longer():
    now = snapshot(0, 0.982)
    pace = PaceNow(0, 0, 0.982, 1, belt_lost=False, ground_lost=False)
    job = type("Job", (), {"now": now, "pace_now": lambda self: pace})()

    def rest(**standing):
        job.now = replace(now, standing=replace(now.standing, **standing))
        return line(job).rest

    assert line(job).sentence == "Belt is 1.8 % slow (± 2.0 %). 14 s more would settle it."
    assert rest(more_s=300.0) == "5 min more would settle it."
    assert rest(more_s=math.inf) == "More of the same would not settle it."
    assert rest(verdict=Verdict.PASS) == "That is a pass: stop when it suits."
    job.now = replace(now, state=TractorState.HEADLAND)
    assert "turning" in line(job).headline


def test_without_a_player_the_cues_are_rhythms_of_the_beep(clock, monkeypatch):
    beeps = []
    monkeypatch.setattr(QApplication, "beep", lambda: beeps.append(round(clock.now_s - start, 2)))
    rhythms = {}
    for cue in Cue:
        player, start = CuePlayer(clock, None), clock.now_s
        beeps.clear()
        player.play(cue)
        for _ in range(60):
            player.look()
            clock.now_s += 0.05
        assert beeps == pytest.approx(BEEPS[cue], abs=0.06)
        rhythms[cue] = tuple(beeps)
    # Told apart without a look or an ear for pitch: each has a number of beeps of its own.
    assert len({len(rhythm) for rhythm in rhythms.values()}) == len(Cue)


def test_a_player_that_fails_is_replaced_by_beeps(clock, monkeypatch, tmp_path):
    beeps = []
    monkeypatch.setattr(QApplication, "beep", lambda: beeps.append(1))
    played, failing = [], []

    def bad(path):
        played.append(path.name)
        failing.append(subprocess.Popen([sys.executable, "-c", "raise SystemExit(1)"]))
        return failing[-1]

    player = CuePlayer(clock, bad, tmp_path)
    player.play(Cue.OUT_OF_BAND)
    assert "twice" in player.words(Cue.OUT_OF_BAND)
    failing[0].wait()
    player.look()
    clock.now_s += 2
    player.look()
    assert beeps == [1, 1]
    player.play(Cue.LOST)
    assert played == ["out-of-band.wav"]
    assert "quick beeps" in player.words(Cue.LOST)
    player.stop()


def test_a_new_cue_ends_the_one_that_still_sounds(clock, tmp_path):
    made = []

    def long(_path):
        made.append(subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"]))
        return made[-1]

    player = CuePlayer(clock, long, tmp_path)
    player.play(Cue.IN_BAND)
    player.play(Cue.LOST)
    assert made[0].poll() is not None
    assert made[1].poll() is None
    player.stop()
    assert made[1].poll() is not None


def test_trying_the_sounds_plays_each_in_turn(clock, monkeypatch):
    monkeypatch.setattr(QApplication, "beep", lambda: None)
    player, heard = CuePlayer(clock, None), []
    heard.append(player.try_all())
    while player.trying:
        clock.now_s += 0.1
        heard.append(player.look())
    assert [cue for cue in heard if cue] == list(Cue)
    player.stop()


def test_tones_are_what_they_are_said_to_be(tmp_path):
    for cue, notes in TONES.items():
        path = tmp_path / f"{cue.name}.wav"
        write_wav(notes, path)
        with wave.open(str(path)) as sound:
            assert sound.getparams()[:3] == (1, 2, RATE_HZ)
            data = np.frombuffer(sound.readframes(sound.getnframes()), dtype="<i2")
        assert data.size / RATE_HZ == pytest.approx(sum(length for _, length in notes), abs=1e-3)
        assert np.abs(np.diff(data.astype(float))).max() < 8000  # no click
        at = 0
        for frequency_hz, length_s in notes:
            part = data[at : (at := at + round(length_s * RATE_HZ))].astype(float)
            strongest = np.abs(np.fft.rfft(part)).argmax() * RATE_HZ / part.size
            assert strongest == pytest.approx(frequency_hz, abs=RATE_HZ / part.size)
