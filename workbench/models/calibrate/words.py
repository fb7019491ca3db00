"""What the calibration page says: the next step, the laps, the answer, in trade words."""

from __future__ import annotations

import math
from collections.abc import Mapping
from enum import StrEnum
from typing import Any

from workbench.base.units import percent
from workbench.calibration.readout.reference import LapTimer
from workbench.models.calibrate.job import FEWEST_FLIPS, CalibrateJob
from workbench.models.calibrate.runs import Reference, TakenRun

ENOUGH_RUNS = 3
ENOUGH_FLIPS = 10
"""Flips each way that make a good ramp; chosen, see `calibration.readout`."""

MOST_LETTERS = 230
"""Of advice under an answer; a longer one stands on the certificate."""

STEPS = (
    "Bring the belt to a steady speed, empty, at working engine speed.",
    "Time whole laps: press space each time the mark on the belt passes. A lap pickup counts "
    "by itself.",
    "Type what the readout shows, and keep the run. Take three or more, at different speeds.",
    "Read the answer, enter the new setting, run again to prove it, save the certificate.",
)


class Step(StrEnum):
    """The one next thing to do."""

    MARK = "mark"
    KEEP_RUN = "keep run"
    KEEP_RESULT = "keep result"
    USE_SETTING = "use setting"
    CERTIFICATE = "certificate"


def latest(answer: Mapping[str, Any]) -> Mapping[str, Any]:
    """The part of the answer that speaks of the readout as it is now."""
    left: Mapping[str, Any] | None = answer.get("as_left")
    return left or answer


def has_new_setting(answer: Mapping[str, Any] | None) -> bool:
    """Whether the answer proposes a number for the readout."""
    return answer is not None and math.isfinite(answer["setting_new"])


def next_step(job: CalibrateJob) -> Step:
    """What the page's filled button does."""
    state, timer = job.state, job.timer
    if job.running:
        enough = timer is not None and timer.laps > 0 and (timer.done or timer.laps_wanted is None)
        laps = state.reference is Reference.LAPS
        return Step.KEEP_RUN if laps and enough else Step.MARK
    to_prove = state.setting_used and not job.left_runs
    if state.result is not None and job.answer is not None and not to_prove:
        wrong = latest(job.answer)["verdict"] != "pass"
        if wrong and has_new_setting(job.answer) and not state.setting_used:
            return Step.USE_SETTING
        return Step.CERTIFICATE
    if settled(job):
        return Step.KEEP_RESULT
    return Step.KEEP_RUN if state.reference is Reference.READING else Step.MARK


def settled(job: CalibrateJob) -> bool:
    """Whether there are runs enough for an answer that stands."""
    if job.answer is None or (job.state.setting_used and not job.left_runs):
        return False
    if job.state.ramp is not None and not job.state.setting_used:
        return True
    return sum(not run.dropped for run in job.series) >= ENOUGH_RUNS


def mark_words(job: CalibrateJob) -> str:
    """The button of the one key."""
    if job.state.reference is Reference.FLIPS:
        return "Stop ramp (space)" if job.ramping else "Start ramp (space)"
    if job.state.counting:
        return "Counting laps …"
    if job.state.marks_s:
        return "Mark lap (space)"
    return "Start run (space)" if job.counts_itself else "Mark first passing (space)"


def how_words(job: CalibrateJob) -> str:
    """What to do at the machine, where no laps are counted."""
    if job.state.reference is Reference.FLIPS:
        return "Change the speed slowly, up and down; press ↑ or ↓ as the last digit changes."
    if job.state.reference is Reference.READING:
        return "Read the readout and the instrument at the same time."
    return ""


def counter_words(job: CalibrateJob) -> str:
    """Who counts the laps of the run under way or of the next."""
    if job.state.reference is not Reference.LAPS:
        return ""
    by_pickup = job.state.counting or (job.counts_itself and not job.state.marks_s)
    return "laps by pickup" if by_pickup else "laps by hand"


def lap_words(job: CalibrateJob) -> str:
    """Laps done and needed, the time and the uncertainty so far."""
    timer, running = job.timer, job.running
    if timer is None:
        return "The length of one lap is needed first; see Machine."
    if job.state.counting and not job.pickup_sees():
        return "The lap pickup sees the mark no more: choose laps marked by hand."
    if job.state.counting and not timer.marks_s:
        return "Waiting for the mark to pass the lap pickup."
    if not running:
        return _needed_words(job)
    if not timer.laps:
        return "The first lap runs."
    so_far = f"{timer.time_s:.1f} s, ± {200 * timer.u_rel:.2f} %"
    if timer.done:
        return f"{so_far}: enough. Type what is shown."
    so_far += " so far"
    if timer.laps_wanted is None:
        return f"{so_far}. {_cannot_reach(timer)}"
    more = timer.laps_left or 0
    return f"{so_far}, {more} more {'lap' if more == 1 else 'laps'}."


def _needed_words(job: CalibrateJob) -> str:
    needed, timer = laps_needed(job), job.timer
    if needed is None:
        if timer is None or not job.belt_mps() > 0:
            return "Bring the belt to a steady speed."
        return _cannot_reach(timer)
    return f"{needed} {'lap is' if needed == 1 else 'laps are'} needed at this speed."


def _cannot_reach(timer: LapTimer) -> str:
    own = 200 * timer.u_lap_length_m / timer.lap_length_m
    return f"The lap's length alone gives ± {own:.2f} %: ask for less."


def laps_needed(job: CalibrateJob) -> int | None:
    """Laps that the uncertainty asked for needs, at the speed of the run or of the belt now."""
    from workbench.calibration.readout.recorded_runs import U_MARK_M
    from workbench.calibration.readout.reference import laps_needed as needed
    from workbench.calibration.readout.runs import HAND_INTERVAL_U_S

    timer, speed_mps = job.timer, job.belt_mps()
    if timer is None:
        return None
    if timer.laps:
        return timer.laps_wanted
    if not speed_mps > 0:
        return None
    by_pickup = job.state.counting or (job.counts_itself and not job.state.marks_s)
    u_s = math.sqrt(2) * U_MARK_M / speed_mps if by_pickup else HAND_INTERVAL_U_S
    return needed(timer.wanted_u_rel, speed_mps, timer.lap_length_m, timer.u_lap_length_m, u_s)


def flip_words(job: CalibrateJob, shown: str) -> str:
    """The flips so far, and between which digits the next ones lie."""
    flips, machine = job.state.flips, job.machine
    up = sum(rose for _, _, rose in flips)
    words = f"{up} up, {len(flips) - up} down; {ENOUGH_FLIPS} each way are good."
    if len(flips) < FEWEST_FLIPS and not job.ramping:
        words = f"{ENOUGH_FLIPS} flips up and as many down are good."
    if not job.ramping or machine is None:
        return words
    step = machine.readout.step
    try:
        now = flips[-1][1] if flips else float(shown.replace(",", "."))
    except ValueError:
        return "Type what the readout shows now, once; then press ↑ or ↓ at each flip."
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    above, below = now + step / 2, now - step / 2
    points = f"Next flip ↑ at {above:.{digits + 1}f}, ↓ at {below:.{digits + 1}f}."
    return f"{points} {words}"


def laps_of(run: TakenRun) -> str:
    """How the run's true speed was found: '6 by pickup', '6 by hand', 'instrument'."""
    if run.laps:
        return f"{run.laps} by {'pickup' if run.by_pickup else 'hand'}"
    return "instrument"


def setting_words(job: CalibrateJob) -> tuple[str, str]:
    """The new setting in large type, and beside it what to do with it."""
    answer, new = job.answer, job.state.new_setting
    if answer is None or not has_new_setting(answer):
        return "", ""
    unit, now = str(answer["setting_unit"]), answer["setting_now"]
    if job.state.setting_used:
        return f"{new:g}", f"{unit}\nentered in place of {now:g}".strip()
    if abs(answer["setting_new"] - now) < 1e-9:
        return f"{now:g}", f"{unit}\nstays as it is".strip()
    return f"Set {answer['setting_new']:g}", f"{unit}\nin place of {now:g}".strip()


def advice_words(job: CalibrateJob) -> str:
    """What would settle it, and what is odd about the runs, one sentence each at most."""
    answer = job.answer
    if answer is None:
        return ""
    last = latest(answer)
    if next_step(job) is Step.USE_SETTING:
        new = f"{answer['setting_new']:g}"
        return f"Stop the belt and enter {new} as the readout's manual says; then use it here."
    if next_step(job) is Step.KEEP_RESULT and not (last["advice"] or last["warnings"]):
        if job.state.setting_used:
            return "Keep the result: as found and as left stand on one certificate."
        return "Keep the result; what to do at the readout comes next."
    left = sum(not run.dropped for run in job.series)
    words = [str(last["advice"]), *map(str, last["warnings"][:1])]
    if job.state.ramp is None and 0 < left < ENOUGH_RUNS:
        more = ENOUGH_RUNS - left
        words[0] = f"{more} more {'run' if more == 1 else 'runs'} at other speeds."
    told = [word for word in words if word]
    return " ".join(told) if sum(map(len, told)) <= MOST_LETTERS else "".join(told[:1])


def error_words(result: Mapping[str, Any]) -> str:
    """'−3.9 ± 1.2', in per cent."""
    error = percent(result["error"], 1, signed=True).removesuffix(" %")
    return f"{error} ± {200 * result['u_error']:.1f}"
