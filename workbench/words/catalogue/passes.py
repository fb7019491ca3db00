"""What a test pass says."""

from __future__ import annotations

from workbench.jobs.passes.answer import PassSays
from workbench.jobs.passes.history import HistorySays
from workbench.match.advice import AdviceSays
from workbench.match.findings import EvidenceSays
from workbench.match.hypotheses import Cause, CauseSays, CheckSays
from workbench.match.ratio import BandSays, PaceSays
from workbench.match.sources import GroundKind, SourceSays
from workbench.match.trend import Mismatch
from workbench.words.language import N_, Plural, Template

SENTENCES: dict[str, Template] = {
    Cause.NONE: N_("Belt and ground keep pace, and nothing stands out"),
    Cause.VALVE_OFF: N_("Flow control set off by a constant factor"),
    Cause.OIL_WARMING: N_("Oil warming: it thins, the motor leaks more, the belt slows"),
    Cause.ENGINE_DROOP: N_("Engine droops under load, and the belt with it"),
    Cause.BELT_SLIP: N_("Belt slips on its drive roll"),
    Cause.ROLL_BUILD_UP: N_("Something built up on the drive roll: each turn moves more belt"),
    Cause.VALVE_MOVED: N_("Flow control bumped or stuck at a moment"),
    Cause.BELT_NOT_FOLLOWING: N_("Ground speed varies, and the belt follows nothing"),
    Cause.WHEEL_SLIP: N_("The wheels slip, so wheel speed reads high"),
    Cause.WRONG_SETTING: N_("Wrong number set in the readout"),
    CauseSays.WRONG_TEETH_TYPED: N_("Wrong number of teeth in the machine file"),
    Cause.LOSING_PULSES: N_("Pulses get lost, the more the slower the belt"),
    Cause.EXTRA_PULSES: N_("Pulses that no tooth made"),
    Cause.DAMAGED_WHEEL: N_("A bent, worn or missing tooth on the target wheel"),
    Cause.GNSS_UNUSABLE: N_("Satellite speed drops out or is too noisy"),
    Cause.NOT_CLEAR: N_("Something else, or several things at once"),
    CheckSays.CHECK_NOTHING: N_("Nothing; take another pass when something is changed."),
    CheckSays.STEP_THE_FLOW_CONTROL: N_(
        "Move the flow control by a known step (a click, a turn) and drive the pass again."
    ),
    CheckSays.WARM_THE_OIL: N_(
        "Warm the oil up, set the flow control again, and drive the pass again; write down the "
        "oil temperature at its start and end."
    ),
    CheckSays.WATCH_THE_ENGINE: N_(
        "Watch engine speed in heavy ground: more throttle, a lower gear, or a flow control "
        "that does not follow the engine."
    ),
    CheckSays.LOOK_FOR_BELT_SLIP: N_(
        "With the engine off: belt tension, a wet or worn roll, a belt that drags."
    ),
    CheckSays.CLEAN_THE_ROLL: N_(
        "With the engine off: look at the roll, clean it, and measure its diameter."
    ),
    CheckSays.SEE_WHETHER_THE_FLOW_CONTROL_HOLDS: N_(
        "See whether the flow control's lever or knob is held where it was set."
    ),
    CheckSays.HOLD_THE_GROUND_SPEED: N_(
        "Hold the ground speed: one gear, one throttle; or a belt drive that follows the ground."
    ),
    CheckSays.TAKE_ANOTHER_GROUND: N_(
        "Take the ground speed from radar or satellite, or drive a taped course."
    ),
    CheckSays.CALIBRATE_THE_READOUT: N_(
        "Calibrate the readout: time ten laps of the belt and compare."
    ),
    CheckSays.COUNT_THE_TEETH: N_(
        "Count the target wheel's teeth with the engine off, and mend the machine file."
    ),
    CheckSays.LOOK_AT_PICKUP_AND_PLUG: N_(
        "With the engine off: the pickup's gap, its plug, its cable; the gap check tells more."
    ),
    CheckSays.LOOK_AT_CABLE_AND_SHIELD: N_(
        "With the engine off: the pickup's cable, its shield and plug, the ignition leads near it."
    ),
    CheckSays.LOOK_AT_THE_TOOTH: N_(
        "With the engine off: look at the tooth that the gap check names."
    ),
    CheckSays.GIVE_THE_ANTENNA_SKY: N_(
        "Mount the antenna with a free view of the sky, or use radar or wheel speed here."
    ),
    CheckSays.DRIVE_A_LONGER_PASS: N_(
        "Drive a longer pass at one gear and throttle, with engine speed and oil temperature "
        "recorded."
    ),
    EvidenceSays.BELT_FAST_OVER_ALL: N_(
        "Ratio belt ÷ ground {ratio:ratio}: the belt is {away_rel:percent1} fast over the whole."
    ),
    EvidenceSays.BELT_SLOW_OVER_ALL: N_(
        "Ratio belt ÷ ground {ratio:ratio}: the belt is {away_rel:percent1} slow over the whole."
    ),
    EvidenceSays.SECOND_HALF_AGAINST_FIRST: N_(
        "The belt's own speed in the second half against the first: {change_rel:+percent1}."
    ),
    EvidenceSays.OIL_WARMED: N_("The oil went from {from_c:temperature} to {to_c:temperature}."),
    EvidenceSays.OIL_NOT_RECORDED: N_(
        "Oil temperature was not recorded; the belt slowed as warming oil makes it."
    ),
    EvidenceSays.BELT_CHANGED_WITH_OIL: N_(
        "The belt's speed changed by {change_rel:+percent1} along with it."
    ),
    EvidenceSays.ENGINE_SPEED_FELL: N_(
        "Engine speed fell by {fall_rel:percent1} from its usual highest."
    ),
    EvidenceSays.BELT_FOLLOWED_ENGINE: N_(
        "For each per cent of engine speed the belt changed by {each_percent:.2f} %."
    ),
    EvidenceSays.LAPS_AGAINST_PULSES: N_(
        "By its laps the belt travels {difference_rel:+percent1} against what its pulses say."
    ),
    EvidenceSays.BELT_CHANGED_AT_ONCE: N_(
        "About {at_s:seconds} into the recording the belt's speed changed by "
        "{change_rel:+percent1} at once, and stayed."
    ),
    EvidenceSays.GROUND_VARIED_ALONE: N_(
        "Ground speed varied by {scatter_rel:percent1} (standard deviation) without the belt."
    ),
    EvidenceSays.WHEEL_AGAINST_GROUND: N_(
        "Wheel speed reads {difference_rel:+percent1} against {source}."
    ),
    EvidenceSays.SETTING_SHOWS: N_(
        "The number set makes the readout show {difference_rel:+percent1} against the machine "
        "file's drive line."
    ),
    EvidenceSays.READOUT_SHOWED: N_(
        "The readout showed {difference_rel:+percent1} against the belt by pulses."
    ),
    EvidenceSays.PATTERN_OF_TEETH: N_(
        "The pulses' pattern repeats after {seen} teeth (probability {confidence:.3f}); the "
        "machine file says {typed}."
    ),
    EvidenceSays.PULSES_NOT_SEEN: N_("{count} of {total} pulses were not seen."),
    EvidenceSays.MISSED_AT_SPEED: N_(
        "They were missed at belt speeds around {missed_mps:speed}; the usual speed was "
        "{usual_mps:speed}."
    ),
    EvidenceSays.OTHER_PICKUP_COUNTED: N_(
        "The second pickup counted {difference_rel:+percent1} against this one's pulses."
    ),
    EvidenceSays.MESSAGES_WITHOUT_FIX: N_(
        "{share_rel:percent0} of {source}'s messages came without a fix."
    ),
    EvidenceSays.SATELLITE_SPEED_NOISY: N_(
        "One of its speeds is good to {noise_rel:percent0} only."
    ),
    AdviceSays.LEAVE_BOTH: N_("Leave belt and ground speed as they are."),
    AdviceSays.BY_LATEST_STRETCH: N_(
        "Advice by the latest stretch, from {from_s:seconds} into the recording on: ratio {ratio}."
    ),
    AdviceSays.TOO_UNSURE_TO_CHANGE: N_(
        "The ratio is too unsure to say what to change: drive a longer pass."
    ),
    AdviceSays.LEAVE_UNTIL_ANOTHER_PASS: N_(
        "Until then leave the flow control as it is; set the belt by the pass after that."
    ),
    AdviceSays.LEAVE_UNTIL_JUDGED_AGAIN: N_(
        "Change neither belt nor ground speed by this pass: the ratio is not the true one. Mend "
        "that first, then judge again."
    ),
    AdviceSays.JUDGE_AGAIN_WITH: N_(
        "Judge again with {source}: by it the ratio belt ÷ ground is {ratio}."
    ),
    AdviceSays.TAKE_A_SURER_GROUND: N_(
        "The ratio is too unsure to say what to change, and more of the same would not settle it: "
        "take the ground speed from a surer source, or drive a taped course."
    ),
    AdviceSays.RUN_BELT_FASTER: N_(
        "Run the belt {change_rel:percent1} faster, or drive at {target_mps:speed} instead of "
        "{ground_mps:speed}."
    ),
    AdviceSays.RUN_BELT_SLOWER: N_(
        "Run the belt {change_rel:percent1} slower, or drive at {target_mps:speed} instead of "
        "{ground_mps:speed}."
    ),
    AdviceSays.STEP_OF_FLOW_CONTROL: N_(
        "One step of the flow control changes the ratio belt ÷ ground by {step_rel:+percent}: "
        "{steps:+ratio} steps to go."
    ),
    AdviceSays.CHANGE_BELT_NOT_GROUND: N_(
        "{target_mps:speed} lies outside the working range of {low_mps:speed} to "
        "{high_mps:speed}: change the belt, not the ground speed."
    ),
    AdviceSays.GROUND_TOO_SLOW: N_(
        "At {ground_mps:speed} the ground speed is below the working range (from "
        "{low_mps:speed}): losses tend to come at the front, where the blades hand the crop to "
        "the conveyor."
    ),
    AdviceSays.GROUND_TOO_FAST: N_(
        "At {ground_mps:speed} the ground speed is above the working range (up to "
        "{high_mps:speed}): losses tend to come at the rear, where the conveyor hands the crop "
        "on."
    ),
    AdviceSays.FAST_BELT_BUNCHES: N_("A belt faster than the ground tends to bunch the plants."),
    AdviceSays.SLOW_BELT_RIPS: N_("A belt slower than the ground tends to rip the vines."),
    PaceSays.BELT_WITHOUT_VALUE: N_(
        "the belt source has no value in any of its {messages} messages"
    ),
    PaceSays.GROUND_WITHOUT_VALUE: N_(
        "the ground source has no value in any of its {messages} messages"
    ),
    PaceSays.NO_TIME_IN_COMMON: N_("the two sources have no time in common"),
    PaceSays.HARDLY_MOVED: N_(
        "the ground source moved faster than {least_mps:speed} for {moved_s:time} only; at "
        "least {least_s:seconds} are needed"
    ),
    PaceSays.HARDLY_STEADY: N_(
        "the tractor was steadily at work for {steady_s:time} only; at least {least_s:seconds} "
        "are needed"
    ),
    PaceSays.RATIO_BUT_FOR_WEAR: N_(
        "Belt speed and ratio may be up to {wear_rel:percent1} more than pulses and drawing tell, "
        "where rods are worn or a roll carries mud: pulses alone cannot show it, and the verdict "
        "allows for it. Time ten laps of the belt, or measure the pitch over many rods, or the "
        "clean roll, and enter the day."
    ),
    PaceSays.NO_LAG_FOUND: N_(
        "No lag between the sources could be found, because the speeds hardly changed "
        "together; none was taken out."
    ),
    PaceSays.TIMES_WITHOUT_VALUE: N_(
        "For {holes_rel:percent0} of the time one of the sources had no value."
    ),
    PaceSays.LEFT_OUT: N_(
        "{left_out_s:seconds} of approach, headland or standstill are left out of ratio and "
        "separation."
    ),
    BandSays.IN_BAND: N_("in band"),
    BandSays.BELT_SLOW: N_("belt slow"),
    BandSays.BELT_FAST: N_("belt fast"),
    BandSays.LEFT_OUT_OF_BAND: N_("left out"),
    PassSays.GROUND_ASKED_FOR: N_("it was chosen for this pass"),
    PassSays.ONLY_GROUND: N_("{source} is the only one"),
    PassSays.MOST_TRUSTED_GROUND: N_("{source} is trusted most; there was also {others}"),
    PassSays.NO_BELT_KNOWN: N_(
        "nothing in this recording is known to be the belt; it holds {held}"
    ),
    PassSays.NO_GROUND_KNOWN: N_(
        "nothing in this recording is known to be the ground; it holds {held}"
    ),
    PassSays.NO_SPEED_HELD: N_("no speed source"),
    PassSays.SOURCE_HELD: N_("{source} ({label}: {values})"),
    PassSays.VALUES_HELD: Plural(
        "{count} value, {low_mps:speed} to {high_mps:speed}",
        "{count} values, {low_mps:speed} to {high_mps:speed}",
    ),
    PassSays.NO_VALUE_HELD: Plural(
        "no value in {messages} message", "no value in {messages} messages", by="messages"
    ),
    PassSays.NO_TIMES: N_(
        "the recording holds no times, so the two cannot be compared; it holds {held}"
    ),
    GroundKind.GNSS: N_("gnss"),
    GroundKind.RADAR: N_("radar"),
    GroundKind.UNNAMED: N_("unnamed"),
    GroundKind.WHEEL: N_("wheel"),
    GroundKind.SELECTED: N_("selected"),
    GroundKind.WATER: N_("through water"),
    SourceSays.QUALITY_OF_SOURCE: N_(
        "{source} ({kind}, {share_rel:percent0} of its messages with a value, mean good to "
        "{mean_rel:percent1})"
    ),
    SourceSays.SOURCE_AT_REST: N_(
        "{source} ({kind}, {share_rel:percent0} of its messages with a value)"
    ),
    PassSays.MORE_WOULD_SETTLE: N_(
        "{reason}; about {more_s:seconds} more of the same would settle it"
    ),
    PassSays.MORE_WOULD_NOT_SETTLE: N_("{reason}; more of the same would not settle it"),
    PassSays.LAPS_CONTRADICT_PULSES: N_(
        "By its laps the belt travels {difference_rel:+percent1} against what its pulses say: "
        "the ratio by pulses is wrong by as much, if the lap length is right."
    ),
    Mismatch.CONSTANT: N_("constant"),
    Mismatch.GROUND_SPEED: N_("ground speed"),
    Mismatch.TIME: N_("time"),
    Mismatch.ENGINE_SPEED: N_("engine speed"),
    Mismatch.OIL_TEMPERATURE: N_("oil temperature"),
    Mismatch.NOTHING_RECORDED: N_("nothing recorded"),
    HistorySays.FIRST_PASS_KEPT: N_(
        "This is the first pass kept of this machine; later ones are held against it."
    ),
    HistorySays.ONE_EARLIER_PASS: N_(
        "One earlier pass of this machine: ratio belt ÷ ground {ratio:ratio}."
    ),
    HistorySays.EARLIER_PASSES: N_(
        "{count} earlier passes of this machine: ratio belt ÷ ground {low:ratio} to {high:ratio}, "
        "mean {mean:ratio}."
    ),
    HistorySays.CHANGED_SINCE_LAST: N_(
        "Since the last one ({last_utc}) the ratio has changed by {change_rel:+percent1}: "
        "something was moved, or has moved."
    ),
    HistorySays.NO_CHANGE_SINCE_LAST: N_(
        "Against the last one ({last_utc}) no change beyond the uncertainty (± {U_rel:percent1})."
    ),
    HistorySays.OUTSIDE_EARLIER_SCATTER: N_(
        "It lies outside what this machine's passes scatter by ({low:ratio} to {high:ratio})."
    ),
    HistorySays.PASSES_DRIFT: N_("The passes of this machine drift slowly one way."),
    HistorySays.EARLIER_STEP: N_(
        "Earlier, one step of the flow control changed the ratio by {step_rel:+percent}."
    ),
    HistorySays.EARLIER_STEP_AND_WAY_TO_GO: N_(
        "Earlier, one step of the flow control changed the ratio by {step_rel:+percent}: about "
        "{steps:+.1f} steps would bring it to 1."
    ),
}
