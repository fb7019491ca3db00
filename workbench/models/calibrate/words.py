"""What the calibration page says: the next step, the laps, the answer, in trade words."""

from __future__ import annotations

import math
from enum import Enum, auto

from workbench.calibration.readout.calibrate import ResultSays
from workbench.calibration.readout.change_overs import LEAST_FLIPS
from workbench.calibration.readout.drive_line_check import DriveLineSays
from workbench.calibration.readout.lap_timer import LapTimer
from workbench.calibration.readout.recorded_runs import WindowSays
from workbench.calibration.readout.steady_runs import SteadySays
from workbench.calibration.statistics.decision import Verdict
from workbench.models.calibrate.job import CalibrateJob
from workbench.models.calibrate.runs import Reference, TakenRun
from workbench.words.language import N_, _, ngettext
from workbench.words.words import Words

ENOUGH_RUNS = 3
ENOUGH_FLIPS = 10
"""Flips each way that make a good ramp; chosen, see `calibration.readout`."""

MOST_LETTERS = 230
"""Of advice under an answer; a longer one stands on the certificate."""

STEPS = (
    N_("Bring the belt to a steady speed, empty, at working engine speed."),
    N_(
        "Time whole laps: press space each time the mark on the belt passes. A lap pickup counts "
        "by itself."
    ),
    N_("Type what the readout shows, and keep the run. Take three or more, at different speeds."),
    N_("Read the answer, enter the new setting, run again to prove it, save the certificate."),
)


class NextStep(Enum):
    """The one next thing to do."""

    MARK = auto()
    KEEP_RUN = auto()
    KEEP_RESULT = auto()
    USE_SETTING = auto()
    CERTIFICATE = auto()


def next_step(job: CalibrateJob) -> NextStep:
    """What the page's filled button does."""
    state, timer, answer = job.state, job.timer, job.answer
    if job.running:
        enough = timer is not None and timer.laps > 0 and (timer.done or timer.laps_wanted is None)
        laps = state.reference is Reference.LAPS
        return NextStep.KEEP_RUN if laps and enough else NextStep.MARK
    to_prove = state.setting_used and not job.left_runs
    if state.result is not None and answer is not None and not to_prove:
        wrong = answer.latest.verdict is not Verdict.PASS
        if wrong and answer.has_new_setting and not state.setting_used:
            return NextStep.USE_SETTING
        return NextStep.CERTIFICATE
    if settled(job):
        return NextStep.KEEP_RESULT
    return NextStep.KEEP_RUN if state.reference is Reference.READING else NextStep.MARK


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
        return _("Stop ramp (space)") if job.ramping else _("Start ramp (space)")
    if job.state.counting:
        return _("Counting laps …")
    if job.state.marks_s:
        return _("Mark lap (space)")
    return _("Start run (space)") if job.counts_itself else _("Mark first passing (space)")


def how_words(job: CalibrateJob) -> str:
    """What to do at the machine, where no laps are counted."""
    if job.state.reference is Reference.FLIPS:
        return _("Change the speed slowly, up and down; press ↑ or ↓ as the last digit changes.")
    if job.state.reference is Reference.READING:
        return _("Read the readout and the instrument at the same time.")
    return ""


def counter_words(job: CalibrateJob) -> str:
    """Who counts the laps of the run under way or of the next."""
    if job.state.reference is not Reference.LAPS:
        return ""
    return _("laps by pickup") if job.by_pickup else _("laps by hand")


def lap_words(job: CalibrateJob) -> str:
    """Laps done and needed, the time and the uncertainty so far."""
    timer = job.timer
    if timer is None:
        return _("The length of one lap is needed first; see Machine.")
    if job.state.counting and not job.pickup_sees():
        return _("The lap pickup sees the mark no more: choose laps marked by hand.")
    if job.state.counting and not timer.marks_s:
        return _("Waiting for the mark to pass the lap pickup.")
    if not job.running:
        return _needed_words(job, timer)
    if not timer.laps:
        return _("The first lap runs.")
    so_far = f"{timer.time_s:.1f} s, ± {200 * timer.u_rel:.2f} %"
    if timer.done:
        return _("{so_far}: enough. Type what is shown.").format(so_far=so_far)
    if timer.laps_wanted is None:
        told = _("{so_far} so far. {why}")
        return told.format(so_far=so_far, why=_cannot_reach(timer))
    more = timer.laps_left or 0
    return ngettext(
        "{so_far} so far, {more} more lap.", "{so_far} so far, {more} more laps.", more
    ).format(so_far=so_far, more=more)


def _needed_words(job: CalibrateJob, timer: LapTimer) -> str:
    needed = laps_needed(job)
    if needed is not None:
        return ngettext(
            "{laps} lap is needed at this speed.", "{laps} laps are needed at this speed.", needed
        ).format(laps=needed)
    if job.belt_mps() > 0:
        return _cannot_reach(timer)
    return _("Bring the belt to a steady speed.")


def _cannot_reach(timer: LapTimer) -> str:
    own = f"± {200 * timer.u_lap_rel:.2f} %"
    return _("The lap's length alone gives {uncertainty}: ask for less.").format(uncertainty=own)


def laps_needed(job: CalibrateJob) -> int | None:
    """Laps that the uncertainty asked for needs, at the speed of the run or of the belt now."""
    timer = job.timer
    if timer is None:
        return None
    return timer.laps_wanted if timer.laps else timer.needed_at(job.belt_mps())


def flip_words(job: CalibrateJob, shown: str) -> str:
    """The flips so far, and between which digits the next ones lie."""
    flips, machine = job.state.flips, job.machine
    up = sum(rose for _at_s, _shown, rose in flips)
    count = _("{up} up, {down} down; {enough} each way are good.")
    if len(flips) < LEAST_FLIPS and not job.ramping:
        count = _("{enough} flips up and as many down are good.")
    count = count.format(up=up, down=len(flips) - up, enough=ENOUGH_FLIPS)
    if not job.ramping or machine is None:
        return count
    step = machine.readout.step
    try:
        now = flips[-1][1] if flips else float(shown.replace(",", "."))
    except ValueError:
        return _("Type what the readout shows now, once; then press ↑ or ↓ at each flip.")
    digits = max(0, -math.floor(math.log10(step) + 1e-9)) + 1
    above, below = f"{now + step / 2:.{digits}f}", f"{now - step / 2:.{digits}f}"
    points = _("Next flip ↑ at {above}, ↓ at {below}. {count}")
    return points.format(above=above, below=below, count=count)


def laps_of(run: TakenRun) -> str:
    """How the run's true speed was found: '6 by pickup', '6 by hand', 'instrument'."""
    if not run.laps:
        return _("instrument")
    return (_("{laps} by pickup") if run.by_pickup else _("{laps} by hand")).format(laps=run.laps)


def setting_words(job: CalibrateJob) -> tuple[str, str]:
    """The new setting in large type, and beside it what to do with it."""
    answer, new = job.answer, job.state.new_setting
    if answer is None or not answer.has_new_setting:
        return "", ""
    now, unit = answer.setting_now, answer.setting_unit
    what = _("in place of {setting:g}").format(setting=now)
    if job.state.setting_used:
        big, what = f"{new:g}", _("entered in place of {setting:g}").format(setting=now)
    elif abs(answer.setting_new - now) < 1e-9:
        big, what = f"{now:g}", _("stays as it is")
    else:
        big = _("Set {setting:g}").format(setting=answer.setting_new)
    return big, f"{unit}\n{what}".strip()


CONTRADICTIONS = (
    DriveLineSays.MOVES_MORE,
    DriveLineSays.MOVES_LESS,
    DriveLineSays.LAPS_FIT_NOWHERE,
    WindowSays.OTHER_TEETH_RECORDED,
    SteadySays.SHOWS_OTHER_UNIT,
    SteadySays.LOOKS_LIKE_UNIT,
    ResultSays.NO_SUCH_ERROR,
)
"""What cannot both be true: laps against the drive line, teeth, the setting against what is
shown. It is said at once and large."""


def contradiction_words(job: CalibrateJob, words: Words) -> str:
    """The first thing that cannot be, '' where all fits together."""
    warnings = job.answer.latest.warnings if job.answer else ()
    found = (one for one in warnings if one.what in CONTRADICTIONS)
    return "  ".join(f"▲ {words.say(one)}" for one in found)


def advice_words(job: CalibrateJob, words: Words) -> str:
    """What would settle it, and what is odd about the runs, one sentence each at most."""
    answer = job.answer
    if answer is None:
        return ""
    last, step = answer.latest, next_step(job)
    if step is NextStep.USE_SETTING:
        enter = _(
            "Stop the belt and enter {setting:g} as the readout's manual says; then use it here."
        )
        return enter.format(setting=answer.setting_new)
    if step is NextStep.KEEP_RESULT and last.advice is None and not last.warnings:
        if job.state.setting_used:
            return _("Keep the result: as found and as left stand on one certificate.")
        return _("Keep the result; what to do at the readout comes next.")
    more = ENOUGH_RUNS - sum(not run.dropped for run in job.series)
    told = [] if last.advice is None else [words.say(last.advice)]
    if job.state.ramp is None and 0 < more < ENOUGH_RUNS:
        runs = ngettext(
            "{more} more run at other speeds.", "{more} more runs at other speeds.", more
        )
        told = [runs.format(more=more)]
    told += words.say_all([one for one in last.warnings if one.what not in CONTRADICTIONS][:1])
    return " ".join(told) if sum(map(len, told)) <= MOST_LETTERS else told[0]
