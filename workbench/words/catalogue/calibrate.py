"""What a calibration says."""

from __future__ import annotations

from workbench.calibration.readout.calibrate import ResultSays, SettleSays
from workbench.calibration.readout.change_overs import FlipSays
from workbench.calibration.readout.drive_line_check import DriveLineSays
from workbench.calibration.readout.recorded_runs import WindowSays
from workbench.calibration.readout.setting import SettingSays
from workbench.calibration.readout.steady_runs import SteadySays
from workbench.jobs.calibrate.answer import CalibrateSays
from workbench.words.catalogue import budget, run_table
from workbench.words.language import N_, Plural, Template

_ANSWER: dict[str, Template] = {
    ResultSays.READS_RIGHT: N_(
        "The readout is right at {at_mps:speed} within its uncertainty: {error_rel:+percent}."
    ),
    ResultSays.SHOWS_TOO_MUCH: N_(
        "The readout shows {error_rel:percent} too much at {at_mps:speed}."
    ),
    ResultSays.SHOWS_TOO_LITTLE: N_(
        "The readout shows {error_rel:percent} too little at {at_mps:speed}."
    ),
    ResultSays.TOO_UNSURE_TO_SAY: N_(
        "What the readout shows at {at_mps:speed} cannot be told: {error_rel:+percent}."
    ),
    ResultSays.NO_SUCH_ERROR: N_(
        "no readout is off by more than {most_rel:percent0}: a digit, a count, a length or a unit "
        "is wrong"
    ),
    CalibrateSays.BY_STEADY_RUNS: N_("steady runs, {ways}"),
    CalibrateSays.BY_STEADY_RUNS_RECORDED: N_("steady runs, readout recorded, {ways}"),
    CalibrateSays.BY_CHANGE_OVERS_PRESSED: N_("change-over points by key, {ways}"),
    CalibrateSays.BY_CHANGE_OVERS_RECORDED: N_("change-over points, readout recorded, {ways}"),
    CalibrateSays.LAPS_BY_HAND: N_("laps timed by hand"),
    CalibrateSays.LAPS_BY_LAP_PICKUP: N_("laps timed by a lap pickup"),
    CalibrateSays.LAPS_BY_MARK_RECORDED: N_("laps by the mark on the belt"),
    CalibrateSays.BY_INSTRUMENT: N_("another instrument"),
    CalibrateSays.PULSES_COUNTED: N_("pulses counted"),
    CalibrateSays.PULSES_TIMED: N_("pulses timed one by one"),
    CalibrateSays.OTHER_MACHINE_RECORDED: N_(
        "The recording was made of '{recorded}', the machine file is that of '{machine}': is "
        "this the right recording?"
    ),
    WindowSays.OTHER_TEETH_RECORDED: N_(
        "The signal repeats after {seen} teeth, but the machine file says {typed} "
        "(drive.target_teeth): count the teeth. Is it a recording of another machine?"
    ),
    CalibrateSays.AS_LEFT_NOT_AS_EXPECTED: N_(
        "{table}: after the change an error of {expected_rel:+percent} was expected and "
        "{found_rel:+percent} was found: was the new setting entered, and does the readout "
        "follow it?"
    ),
    WindowSays.STEADY_STRETCHES: N_("Steady stretches: {stretches}."),
    WindowSays.NO_STEADY_STRETCH: N_("It holds no steady stretch."),
    ResultSays.ROUNDS_UNSAID: N_(
        "The machine file does not say whether the display rounds its last digit or cuts off what "
        "follows it (readout.rounds): it may show half a step, {half_mps:speed}, less, which was "
        "allowed for. An error is that of the mean indication, the middle of what a shown number "
        "stands for."
    ),
    ResultSays.NO_RUN_AT_WORK: N_(
        "No run was near the middle of the working speeds, {work_mps:speed}: the answer there "
        "rests on the readout being in proportion."
    ),
    ResultSays.NO_CHANGE_OVER_AT_WORK: N_(
        "No change-over was near the middle of the working speeds, {work_mps:speed}: the answer "
        "there rests on the readout being in proportion."
    ),
}

_ADVICE: dict[str, Template] = {
    SettleSays.SET_RIGHT_INSTEAD: N_(
        "The error lies so near its limit that no reasonable work would tell on which side: set "
        "the readout right instead."
    ),
    SettleSays.RUNS_CANNOT_SETTLE: N_(
        "More runs cannot settle it: the {part} is not known well enough. {step}"
    ),
    SettleSays.WOULD_SETTLE: N_("To settle it: {steps:and}."),
    SettleSays.MEASURE_LAP_AGAIN: N_(
        "Measure the lap again, with a better tape or over several laps."
    ),
    SettleSays.TIME_LAPS_TOO: N_("Time laps of the belt as well."),
    SettleSays.TIME_TEN_LAPS: N_(
        "Time ten laps of the belt: pulses alone cannot show wear. Or measure the pitch over many "
        "rods, or the clean roll, and enter the day."
    ),
    SettleSays.CHECK_ENTRIES: N_(
        "Check what was typed: the numbers shown, the laps, the machine's lengths and teeth."
    ),
    SettleSays.USE_BETTER_REFERENCE: N_("Use a better reference, or laps of the belt."),
    SettleSays.USE_BETTER_CLOCK: N_("Use a counter with a better clock."),
    SettleSays.READ_WHILE_STEADY: N_(
        "Let the belt warm up, and read the display when the speed has stood for ten seconds."
    ),
    SettleSays.SAY_HOW_IT_ROUNDS: N_(
        "Find out from the readout's manual or its maker whether it rounds its last digit or cuts "
        "off what follows it, and enter it in the machine file (readout.rounds)."
    ),
    SettleSays.SAY_ROUNDING_FIRST: N_(
        "say in the machine file whether the display rounds its last digit or cuts off what "
        "follows it (readout.rounds; its manual or its maker tells), which takes about "
        "{off_rel:percent1} off the uncertainty"
    ),
    SettleSays.SAY_WHOSE_CLOCK: N_(
        "say in the machine file what the counter's clock is good to (pickup.clock_ppm), which "
        "takes about {off_rel:percent1} off the uncertainty"
    ),
    SettleSays.RAMP_INSTEAD: N_(
        "take one slow ramp up and down with the display's change-over points, which tell more "
        "than many runs"
    ),
    SettleSays.RUNS_WITH_PULSES: Plural(
        "{count} more run like these, with the pulses recorded along: they tell how the belt "
        "wanders",
        "{count} more runs like these, with the pulses recorded along: they tell how the belt "
        "wanders",
    ),
    SettleSays.MORE_LAPS_A_RUN: Plural(
        "time {count} more lap in every run", "time {count} more laps in every run"
    ),
    SettleSays.COUNT_LONGER: N_("count pulses {times:.1f} times as long"),
    SettleSays.RAMP_MORE_OFTEN: N_("ramp up and down {count} times as often, and more slowly"),
    SettleSays.RUNS_AT_OTHER_SPEEDS: Plural(
        "{count} more run at another speed, a fast one if there is none (a step is less of it), "
        "or the change-over points of the display on a slow ramp",
        "{count} more runs at other speeds, fast ones first (a step is less of them), or the "
        "change-over points of the display on a slow ramp",
    ),
    SettleSays.RUNS_LIKE_THESE: Plural(
        "{count} more run like these", "{count} more runs like these"
    ),
}

_DRIVE_LINE: dict[str, Template] = {
    DriveLineSays.MOVES_MORE: N_(
        "The belt moves {difference_rel:percent} more for a pulse than the drive line's geometry "
        "says. Likely: {causes:or}. The laps were taken as true."
    ),
    DriveLineSays.MOVES_LESS: N_(
        "The belt moves {difference_rel:percent} less for a pulse than the drive line's geometry "
        "says. Likely: {causes:or}. The laps were taken as true."
    ),
    DriveLineSays.LAPS_MISCOUNTED: N_(
        "{run}: {laps:g} laps do not fit {pulses:g} pulses, which make {laps_by_pulses:.2f} laps "
        "by the other runs (miscounted?); its laps were left out."
    ),
    DriveLineSays.LAPS_DO_NOT_FIT: N_(
        "{run}: {laps:g} laps do not fit {pulses:g} pulses, which make {laps_by_pulses:.2f} laps "
        "by the other runs (a wrong time or count, or slip in this run alone?); its laps were "
        "left out."
    ),
    DriveLineSays.LAPS_FIT_NOWHERE: N_(
        "Laps and pulses disagree from run to run by up to {scatter_rel:percent1}, in more than "
        "half of the runs: slip that comes and goes, or counts that were not of one run."
    ),
}

_RUNS: dict[str, Template] = {
    SteadySays.LAP_LENGTH_UNKNOWN: N_(
        "The laps were left out: belt.lap_length_m is not in the machine file. Measure one lap "
        "of the belt along its pitch line."
    ),
    SteadySays.SHOWS_OTHER_UNIT: N_(
        "The readout shows {times:.3g} times the true speed: does it show {other}? The machine "
        "file says readout.unit = '{unit}'."
    ),
    SteadySays.RUN_IN_OTHER_UNIT: N_("{run}: shown {shown:g} {why}; it was left out."),
    SteadySays.LOOKS_LIKE_UNIT: N_("looks like {other}, the others like {unit}"),
    SteadySays.RUN_APART_KEPT: N_(
        "{run}: shown {shown:g} is {times_u:.1f} standard uncertainties from the line of the "
        "others (misread, or not steady?); it was kept. Repeat it."
    ),
    SteadySays.RUN_APART_LEFT_OUT: N_(
        "{run}: shown {shown:g} is {times_u:.1f} standard uncertainties from the line of the "
        "others (misread, or not steady?); it was left out."
    ),
    SteadySays.STANDS_APART: N_("stands apart from all other runs"),
    SteadySays.OFF_BY_FIXED: N_(
        "The readout is off by a fixed {offset_mps:+speed} besides its scale (is "
        "readout.rounds right? It makes half a step): one setting can be right at one "
        "speed only, here the middle of the working speeds."
    ),
    SteadySays.RUNS_SCATTER: N_(
        "The runs scatter more than their uncertainties allow (lack of fit, p = "
        "{probability:.2g}): the uncertainty was widened to cover it. Was every run steady?"
    ),
    SteadySays.ONE_ROUNDING: N_(
        "The runs agree more closely than the display's steps let them by chance: what was "
        "rounded off may be the same in all, so they count as one reading. Set speeds without "
        "looking at the readout, or use its change-over points."
    ),
    SteadySays.ONE_RUN: N_(
        "One run only: nothing shows whether it was a good one. Make three or more."
    ),
    SteadySays.ONE_SPEED: N_(
        "All runs were at about {at_mps:speed}: whether the readout errs by the same share at "
        "other speeds is not known."
    ),
    SteadySays.TWO_RUNS: N_("Two runs only: a third would show whether they hang together."),
}

_RECORDINGS: dict[str, Template] = {
    FlipSays.FLIP_AT_LINE: N_("line {line}"),
    FlipSays.A_FLIP: N_("a flip"),
    FlipSays.NO_BELT_SPEED_AT_FLIP: N_("{flip}: no belt speed around {time_s:g} s; left out."),
    FlipSays.UP_WHILE_SLOWING: N_(
        "{flip}: the display is said to flip up while the belt slowed; left out."
    ),
    FlipSays.DOWN_WHILE_SPEEDING_UP: N_(
        "{flip}: the display is said to flip down while the belt sped up; left out."
    ),
    FlipSays.FLIP_STANDS_APART: N_(
        "{flip}: the flip to {shown:g} at {time_s:g} s stands apart from all others (a late "
        "press?); it was left out."
    ),
    FlipSays.FLIPS_GO_ONE_WAY: N_(
        "All flips go one way: lag and error cannot be told apart, so a lag of 0 to {most_s:time} "
        "is allowed for. Ramp the belt up and down."
    ),
    FlipSays.DISPLAY_OFF_BY_FIXED: N_(
        "The display is off by a fixed {offset_mps:+speed} besides its scale (is "
        "readout.rounds right? It makes half a step)."
    ),
    WindowSays.FROM_TO: N_("{from_s:g} to {to_s:g} s"),
    WindowSays.TURNS_TOO_FEW: N_(
        "{place}: fewer than three turns of the target wheel from {stretch}."
    ),
    WindowSays.SPEED_CHANGED_LEFT_OUT: N_(
        "{place}: the speed changed by {change_rel:+percent1} from {stretch}; the run was left out."
    ),
    WindowSays.SPEED_CHANGED_KEPT: N_(
        "{place}: the speed changed by {change_rel:+percent1} from {stretch}; it was kept."
    ),
    WindowSays.MARKS_NOT_ONCE_A_LAP: N_(
        "{place}: the marks of the laps do not come once a lap of pulses; laps left out."
    ),
    WindowSays.PULSES_BETWEEN_MARKS_LOST: N_(
        "The pulses between the marks of the laps are not whole: no laps used."
    ),
}

_SETTING: dict[str, Template] = {
    SettingSays.READS_LOWER: N_(
        "readout.reads is '{reads}', but a setting in {unit} reads lower when raised "
        "('inverse'). The new setting follows readout.reads: check it before use."
    ),
    SettingSays.READS_HIGHER: N_(
        "readout.reads is '{reads}', but a setting in {unit} reads higher when raised "
        "('direct'). The new setting follows readout.reads: check it before use."
    ),
    SettingSays.SETTING_NOT_GIVEN: N_(
        "readout.setting is not in the machine file: no new setting is given."
    ),
    SettingSays.ERROR_NOT_TOLD: N_("No new setting is given while the error cannot be told."),
    SettingSays.SETTING_STEP_NOT_GIVEN: N_(
        "readout.setting_step is not given: the new setting is not rounded."
    ),
    SettingSays.SETTING_OUT_OF_RANGE: N_(
        "The setting that fits, {exact:.5g}, lies outside what the readout takes "
        "({range}): it was not proposed. Look for the cause of the error first."
    ),
    SettingSays.RANGE_FROM: N_("from {low:g}"),
    SettingSays.RANGE_UP_TO: N_("up to {high:g}"),
    SettingSays.RANGE_FROM_TO: N_("from {low:g} to {high:g}"),
    SettingSays.NO_STEP_IN_RANGE: N_("No multiple of the step {step:g} lies in the range."),
    SettingSays.SETTING_BY_PULSES: N_(
        "By the belt's travel a pulse the setting would be {by_pulses:.4g}, by the shown "
        "values {by_shown:.4g}: the readout does not use every pulse as its setting says (another "
        "pickup, another number of teeth, a factor of its own?). Trust the shown values."
    ),
}

SENTENCES: dict[str, Template] = {
    **_ANSWER,
    **_ADVICE,
    **_DRIVE_LINE,
    **_RUNS,
    **_RECORDINGS,
    **_SETTING,
    **run_table.SENTENCES,
    **budget.SENTENCES,
}
