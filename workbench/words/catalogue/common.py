"""What several jobs say: verdicts and their reasons, states, what is brought in."""

from __future__ import annotations

from workbench.calibration.statistics.decision import DecisionSays, Verdict
from workbench.jobs.importing import ImportSays
from workbench.live.session import InputState
from workbench.words.language import N_, Template

SENTENCES: dict[str, Template] = {
    Verdict.PASS: N_("pass"),
    Verdict.CONDITIONAL_PASS: N_("conditional pass"),
    Verdict.CONDITIONAL_FAIL: N_("conditional fail"),
    Verdict.FAIL: N_("fail"),
    Verdict.CANNOT_TELL: N_("cannot tell"),
    InputState.IDLE: N_("idle"),
    InputState.OPENING: N_("opening"),
    InputState.RUNNING: N_("running"),
    InputState.RECONNECTING: N_("reconnecting"),
    InputState.ENDED: N_("ended"),
    ImportSays.STORED_ALREADY: N_(
        "The same file is in the store already, as recording {recording}."
    ),
    DecisionSays.NO_VALUE: N_("there is no value to judge"),
    DecisionSays.WELL_OUTSIDE: N_("outside the limits by more than its uncertainty"),
    DecisionSays.TOO_UNSURE: N_("the uncertainty is wider than the limits"),
    DecisionSays.WELL_INSIDE: N_("inside the limits by more than its uncertainty"),
    DecisionSays.JUST_INSIDE: N_("inside the limits, by less than U"),
    DecisionSays.JUST_OUTSIDE: N_("outside the limits, by less than U"),
}
