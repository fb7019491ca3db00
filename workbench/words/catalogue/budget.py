"""What an uncertainty budget says: its inputs, where each comes from, how U was found."""

from __future__ import annotations

from workbench.calibration.readout.true_speed import InputSays
from workbench.calibration.statistics.budget import BudgetSays, Distribution, Part
from workbench.words.language import N_, Template

SENTENCES: dict[str, Template] = {
    Distribution.NORMAL: N_("normal"),
    Distribution.RECTANGULAR: N_("rectangular"),
    Distribution.TRIANGULAR: N_("triangular"),
    Distribution.TWO_VALUED: N_("one of two values"),
    BudgetSays.FIRST_ORDER: N_("first order (GUM)"),
    BudgetSays.MONTE_CARLO: N_("Monte Carlo (JCGM 101)"),
    BudgetSays.MONTE_CARLO_AGREES: N_(
        "Checked by Monte Carlo (JCGM 101), because {why}: it agrees with first order."
    ),
    BudgetSays.MONTE_CARLO_DIFFERS: N_(
        "U by Monte Carlo (JCGM 101), because {why}; first order would give k·u = "
        "{U_first_order_rel:percent}."
    ),
    BudgetSays.BENDS_WITH: N_("the result bends with {quantity}"),
    BudgetSays.BENDS_TOGETHER: N_("the result bends with several inputs together"),
    BudgetSays.NOT_NORMAL_RULES: N_("inputs that are not normal rule, most of all {quantity}"),
    BudgetSays.NOT_NORMAL_TOGETHER: N_(
        "inputs that hang together and are not normal hold most of it"
    ),
    Part.LAP_LENGTH: N_("lap length"),
    Part.LAP_TIMING: N_("timing of laps"),
    Part.PULSE_COUNT: N_("pulse count"),
    Part.DRIVE_LINE: N_("drive line"),
    Part.DISPLAY: N_("reading the display"),
    Part.REFERENCE: N_("reference"),
    Part.REFERENCE_READING: N_("reading of the reference"),
    Part.CLOCK: N_("clock"),
    Part.SCATTER: N_("scatter"),
    Part.CHANGE_OVERS: N_("change-overs"),
    Part.PULSE_TIMING: N_("timing of pulses"),
    Part.WANDER: N_("wander of the belt"),
    Part.AVERAGING: N_("averaging of the display"),
    Part.ROUNDING: N_("way of rounding"),
    InputSays.READOUT_ERROR_AT_WORK: N_("error at work"),
    InputSays.LAP_LENGTH: N_("length of one lap"),
    InputSays.LAPS_TIME: N_("time of {laps:g} laps, {run}"),
    InputSays.PULSES_OF_RUN: N_("pulses, {run}"),
    InputSays.PULSES_TIME: N_("time of the pulses, {run}"),
    InputSays.METRES_PER_PULSE_BY_GEOMETRY: N_("belt travel a pulse by the drive line"),
    InputSays.BELT_CREEP: N_("creep of the belt on its roll"),
    InputSays.WEAR_OR_MUD: N_("wear and stretch of the belt, or mud on the roll"),
    InputSays.RODS_ON_SPROCKET: N_("rods on the sprocket, one for one"),
    InputSays.RECORDING_CLOCK: N_("clock of the recording"),
    InputSays.REFERENCE_CALIBRATION: N_("calibration of the reference"),
    InputSays.REFERENCE_READING: N_("reading of the reference, {run}"),
    InputSays.SHOWN_IN_RUN: N_("shown, {run}"),
    InputSays.WANDER_IN_RUN: N_("belt at the reading ÷ its mean, {run}"),
    InputSays.MOMENT_OF_READING: N_("moment of the reading, from the middle of its run"),
    InputSays.DISPLAY_AVERAGES: N_("lag of the display, which averages"),
    InputSays.WAY_OF_ROUNDING: N_("cut off the last digit, in steps"),
    InputSays.LINE_THROUGH_CHANGE_OVERS: N_("line through {count} change-overs"),
    InputSays.SCATTER_BEYOND: N_("scatter of the runs beyond these"),
    InputSays.FROM_ONE_TAPE: N_("measured once, same in every run"),
    InputSays.FROM_A_HAND: N_("hand timing, Am. J. Phys. 87, 2019, 110"),
    InputSays.FROM_A_LAP_PICKUP: N_("lap pickup, which sees the mark on the belt"),
    InputSays.FROM_A_COUNT: N_("a count is good to ±1"),
    InputSays.FROM_EDGES: N_("edges timed one by one"),
    InputSays.FROM_GEOMETRY: N_("drive line's geometry"),
    InputSays.FROM_ONE_PITCH: N_("lap and drive line from one pitch"),
    InputSays.FROM_CREEP_ALLOWED: N_("allowed for; common practice, no source"),
    InputSays.FROM_NO_LAPS: N_("pulses alone cannot show it; one-sided, GUM 4.3.7"),
    InputSays.FROM_CLOCK: N_("the clock's own accuracy"),
    InputSays.FROM_CLOCK_UNSAID: N_("pickup.clock_ppm is not given: as of a small board; chosen"),
    InputSays.FROM_REFERENCE: N_("typed in the run table; taken as shared by all runs"),
    InputSays.FROM_REFERENCE_REPEAT: N_("a tenth of the reference's uncertainty, chosen"),
    InputSays.FROM_HALF_A_STEP: N_("half a step of {step:g} {unit} either way"),
    InputSays.FROM_USUAL_WANDER: N_("usual of a steady belt; chosen"),
    InputSays.FROM_RECORDED_WANDER: N_("as recorded"),
    InputSays.FROM_ANY_MOMENT: N_("read at any moment of the run"),
    InputSays.FROM_USUAL_AVERAGING: N_("averages over up to 3 s; common practice, no source"),
    InputSays.FROM_ROUNDS_UNSAID: N_(
        "readout.rounds is not given: none, or half a step of {step:g} {unit}"
    ),
    InputSays.FROM_A_GATE: N_("typed in the run table"),
    InputSays.FROM_SCATTER_ABOUT_LINE: N_("scatter about the line"),
    InputSays.FROM_KEY_PRESSES: N_("spread of the key presses"),
    InputSays.FROM_LACK_OF_FIT: N_("scatter of {count} runs, Student's t; 3 % a run at most"),
}
