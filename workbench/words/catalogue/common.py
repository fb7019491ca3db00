"""What several jobs say: verdicts, states, what is brought in, why laps and pulses differ."""

from __future__ import annotations

from workbench.base.ends import EndSays
from workbench.calibration.readout.drive_line_check import DriveLineSays
from workbench.calibration.statistics.decision import DecisionSays, Verdict
from workbench.jobs.channels import ClockSays
from workbench.jobs.importing import ImportSays
from workbench.live.health import DoubtSays
from workbench.live.session import InputState
from workbench.words.language import N_, Template

SENTENCES: dict[str, Template] = {
    ClockSays.CLOCK_UNSAID: N_(
        "Nobody says what the clock that stamped the pulses of this table is good to: ± "
        "{U_rel:percent1} was allowed for it. Enter it on Machine (pickup.clock_ppm in the machine "
        "file), 50 for a usual crystal."
    ),
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
    EndSays.STOPPED_BY_PERSON: N_("stopped by the person"),
    EndSays.OTHER_INPUTS_CHOSEN: N_("other inputs were chosen"),
    EndSays.OTHER_MACHINE_CHOSEN: N_("another machine was chosen"),
    EndSays.PROGRAM_CLOSED: N_("the program was closed"),
    EndSays.STORE_FAILED: N_("the store failed"),
    EndSays.PASS_OVER: N_("the pass is over"),
    EndSays.RUN_OVER: N_("the run is over"),
    EndSays.RAMP_OVER: N_("the ramp is over"),
    EndSays.RAMP_DROPPED: N_("the ramp was dropped"),
    EndSays.TIME_OVER: N_("the time is over"),
    EndSays.ALL_READ: N_("all was read"),
    DoubtSays.MISSES_TEETH: N_("misses teeth"),
    DoubtSays.EXTRA_PULSES: N_("extra pulses"),
    DoubtSays.SCATTERS: N_("scatters too much"),
    ImportSays.STORED_ALREADY: N_(
        "The same file is in the store already, as recording {recording}."
    ),
    DecisionSays.NO_VALUE: N_("there is no value to judge"),
    DecisionSays.WELL_OUTSIDE: N_("outside the limits by more than its uncertainty"),
    DecisionSays.TOO_UNSURE: N_("the uncertainty is wider than the limits"),
    DecisionSays.WELL_INSIDE: N_("inside the limits by more than its uncertainty"),
    DecisionSays.JUST_INSIDE: N_("inside the limits, by less than U"),
    DecisionSays.JUST_OUTSIDE: N_("outside the limits, by less than U"),
    DriveLineSays.COUNTS_TWICE: N_("every tooth counts twice (both edges counted?)"),
    DriveLineSays.COUNTS_HALF: N_("only every second tooth counts"),
    DriveLineSays.OTHER_TARGET_TEETH: N_(
        "the target wheel has {teeth} teeth, not {typed} (drive.target_teeth)"
    ),
    DriveLineSays.OTHER_SPROCKET_TEETH: N_(
        "the drive sprocket has {teeth} teeth, not {typed} (drive.sprocket_teeth)"
    ),
    DriveLineSays.TURNED_OVER: N_(
        "the ratio between the shafts is the other way up (drive.turns_per_target_turn)"
    ),
    DriveLineSays.ON_DRIVE_SHAFT: N_(
        "the target wheel sits on the drive shaft itself (drive.turns_per_target_turn)"
    ),
    DriveLineSays.RODS_JUMP: N_(
        "the belt moves {share_rel:percent1} less than the sprocket drives: rods jumping teeth, "
        "or a wrong lap length or pitch"
    ),
    DriveLineSays.SLIPS: N_(
        "the belt slips {share_rel:percent1} on its drive roll, or the roll is worn "
        "{worn_m:gap} smaller"
    ),
    DriveLineSays.PITCH_LONGER: N_(
        "the rods' pitch is {share_rel:percent1} longer than entered (a worn, stretched belt or "
        "chain), or the lap length is wrong"
    ),
    DriveLineSays.ROLL_THICKER: N_(
        "the roll works as if {thicker_m:gap} thicker all round: mud or lagging on it, or a "
        "pitch line farther out than entered (drive.pitch_line_offset_m)"
    ),
}
