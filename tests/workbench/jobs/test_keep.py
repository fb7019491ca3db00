"""Answers into the store and back, whole and typed."""

from __future__ import annotations

import math

import numpy as np
import pytest

from workbench.base.errors import StoreError
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.calibrate.answer import CalibrateAnswer
from workbench.jobs.keep import add, answer_of, any_answer, options_of
from workbench.jobs.passes.answer import PassAnswer, PassOptions, Series


@pytest.fixture
def answer(whole):
    two = np.array([0.0, math.nan])
    series = Series(two, two, two, two, two)
    return whole(PassAnswer, verdict=Verdict.FAIL, ratio=0.9, series=series)


def test_answer_and_options_come_back_as_they_were(store, answer):
    number = add(store, "pass", answer, PassOptions(belt="left"))
    stored = store.result(number)
    again = any_answer(stored)
    assert (again.verdict, again.ratio) == (Verdict.FAIL, 0.9)
    assert math.isnan(again.series.belt_mps[1])
    assert options_of(stored) == PassOptions(belt="left")
    with pytest.raises(StoreError, match="holds no answer"):
        answer_of(stored, CalibrateAnswer)
