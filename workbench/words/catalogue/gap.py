"""What a gap check says."""

from __future__ import annotations

from workbench.calibration.gap.false_edges import Origin
from workbench.calibration.gap.faults import FaultKind, FaultSays
from workbench.calibration.gap.feeler import FeelerSays
from workbench.calibration.gap.judgement import GapSays
from workbench.calibration.gap.margin import DropOutSays
from workbench.calibration.gap.places import PlaceSays
from workbench.calibration.gap.repeats import RepeatSays
from workbench.calibration.gap.same_wheel import SameWheelSays
from workbench.calibration.gap.wheel_faults import WheelSays
from workbench.jobs.gap.answer import PickupSays
from workbench.jobs.gap.sheet import Standing, WheelRunSays
from workbench.words.language import N_, Plural, Template

_FEELER: dict[str, Template] = {
    GapSays.LEAVE_IT: N_("Leave the pickup where it is."),
    GapSays.SET_CLOSER: N_("Set the pickup {by_m:gap} closer, to {target_m:gap} on average."),
    GapSays.SET_AWAY: N_("Set the pickup {by_m:gap} away, to {target_m:gap} on average."),
    GapSays.NO_SETTING_FITS: N_(
        "The gap swings by {runout_m:gap}, more than the most allowed gap: no setting can be "
        "right; look at the wheel's seat, shaft and bearing."
    ),
    GapSays.MAY_TOUCH: N_(
        "The closest point, {closest_m:gap} at {at_deg}, may touch: a tooth that hits the "
        "pickup destroys it."
    ),
    GapSays.NEARLY_TOUCHES: N_(
        "The closest point, {closest_m:gap} at {at_deg}, is under half the best gap; with "
        "bearing play or dirt a tooth may touch the pickup."
    ),
    GapSays.FAR_TOO_WIDE: N_(
        "A mean gap of {mean_m:gap} is over four times the most allowed; were the readings "
        "typed in another unit?"
    ),
    GapSays.FAR_FROM_BEST: N_("The mean gap of {mean_m:gap} is far from the best, {best_m:gap}."),
    PlaceSays.ALL_AT_ONE_PLACE: N_(
        "All readings are at one place, {at_deg}: turn the wheel and read the gap at four "
        "angles or more, 90° apart."
    ),
    PlaceSays.FEW_ANGLES: N_(
        "Readings at {angles} angles cannot show the run-out all the way round: read at four or "
        "more, the next at {next_deg}."
    ),
    PlaceSays.ARC_TO_READ: N_(
        "No reading was taken on {arc_deg} of the wheel: read at {middle_deg} too, best at "
        "angles 90° apart."
    ),
    PlaceSays.ANGLES_BACKWARDS: N_(
        "The angles run backwards, as if the wheel was turned the other way: gap and run-out "
        "hold, but angles count from the mark in the turning direction."
    ),
    PlaceSays.LINE_MISTYPED: N_(
        "Line {number} ({gap_m:gap}) stands {off_m:gap} off the other readings at {at_deg}: was "
        "it mistyped?"
    ),
    PlaceSays.READING_MISTYPED: N_(
        "Reading {number} ({gap_m:gap}) stands {off_m:gap} off the other readings at {at_deg}: "
        "was it mistyped?"
    ),
    FeelerSays.RUNOUT_IN_SCATTER: N_(
        "The run-out of {runout_m:gap} is within the scatter of these readings; it is at most "
        "about {most_m:gap}."
    ),
    FeelerSays.ARC_UNREAD: N_(
        "No reading was taken on {arc_deg} of the wheel; one more at {middle_deg} would settle "
        "the widest point better."
    ),
    FeelerSays.PLACE_WIDER: N_(
        "At {at_deg} the gap is {off_m:gap} wider than the wheel's swing there: look for a bent, "
        "worn or dirty tooth."
    ),
    FeelerSays.PLACE_CLOSER: N_(
        "At {at_deg} the gap is {off_m:gap} closer than the wheel's swing there: look for a "
        "bent, worn or dirty tooth."
    ),
    FeelerSays.FORM_MAY_HIDE: N_(
        "So near a limit the teeth's own form counts, which {places} places cannot show: read "
        "twelve places or more, each twice, for a plain verdict."
    ),
    FeelerSays.NO_SWING: N_(
        "From place to place the gap jumps by up to {off_m:gap} off any swing that a wheel off its "
        "centre makes: read it again, at twice as many places; look for bent teeth, play in the "
        "bearing, or a blade that slipped."
    ),
    RepeatSays.FEW_REPEATS: N_(
        "{count} repeat measurements: {more} more are needed before they can be charted."
    ),
    RepeatSays.REPEATS_HOLD: N_("The shop's {count} repeat measurements hold to {target_m:gap}."),
    RepeatSays.REPEATS_WIDER: N_(
        "The shop's own repeat measurements have moved: from number {first} on they read wider "
        "than {target_m:gap}. Look at the blades and at how they are used before any verdict of "
        "these days is trusted."
    ),
    RepeatSays.REPEATS_CLOSER: N_(
        "The shop's own repeat measurements have moved: from number {first} on they read closer "
        "than {target_m:gap}. Look at the blades and at how they are used before any verdict of "
        "these days is trusted."
    ),
}

_WHEEL: dict[str, Template] = {
    FaultKind.MISSING: N_("missing tooth"),
    FaultKind.BENT: N_("bent tooth"),
    FaultKind.WORN: N_("chipped or worn tooth"),
    FaultKind.TWICE: N_("double triggering"),
    FaultKind.NOISE: N_("noise not locked to the wheel"),
    FaultKind.PLAY: N_("bearing play"),
    FaultKind.RUNOUT: N_("run-out"),
    FaultKind.LOST: N_("lost pulses"),
    FaultKind.BREAKS: N_("signal breaks off"),
    FaultSays.TRIGGERS_TWICE: N_(
        "The pickup triggers twice on some teeth: {count} false edges, {share_rel} of all, "
        "{at_pitch:.2f} of a pitch from a tooth's own. Look at the gap (too close or too wide), "
        "the threshold and the plug."
    ),
    FaultSays.NOISE_APART: N_(
        "Noise that does not turn with the wheel: {count} false edges, {share_rel} of all; "
        "{origin}. Look at the cable's way, its shield and ground, and the plug."
    ),
    Origin.MAINS: N_("it keeps time with {mains_hz}, as mains hum does"),
    Origin.BURSTS: N_("it comes in bursts, as from ignition, a relay or a loose plug"),
    Origin.SCATTERED: N_("it comes at any moment, as from ignition or a loose plug"),
    FaultSays.BREAKS_OFF: Plural(
        "The signal breaks off once while the wheel turns on: look at cable and plug.",
        "The signal breaks off {count} times while the wheel turns on: look at cable and plug.",
    ),
    FaultSays.TOOTH_IS_OFF: N_("Tooth {tooth} (at {at_deg}) {signs}: {cause}."),
    FaultSays.NEVER_SEEN: N_("is not seen in any turn"),
    FaultSays.SELDOM_SEEN: N_("is not seen in {share_rel:percent0} of the turns"),
    FaultSays.COMES_LATE: N_("comes {pitch_rel} of a pitch late"),
    FaultSays.COMES_EARLY: N_("comes {pitch_rel} of a pitch early"),
    FaultSays.LESS_VOLTAGE: N_("gives {by_rel:percent0} less voltage"),
    FaultSays.MORE_VOLTAGE: N_("gives {by_rel:percent0} more voltage"),
    FaultSays.TOOTH_BROKEN_OFF: N_("it is broken off or bent far away"),
    FaultSays.TOOTH_BENT: N_("it is bent"),
    FaultSays.TOOTH_WORN: N_("it is worn, chipped or bent away from the pickup"),
    FaultSays.LOST_ON_ONE_SIDE: N_(
        "{share_rel} of the teeth are not seen, mostly around {side_deg}: the gap is too wide for "
        "this speed, or a plug is loose."
    ),
    FaultSays.LOST_ALL_ROUND: N_(
        "{share_rel} of the teeth are not seen, all round the wheel: the gap is too wide for this "
        "speed, or a plug is loose."
    ),
    FaultSays.OUT_OF_TRUE: N_(
        "The spacing swings once a turn as if the wheel ran {runout_rel} of its radius out of "
        "true (at most {most_rel:percent0}): look at the wheel's seat and the shaft."
    ),
    FaultSays.CENTRE_MOVES: N_(
        "The pattern of the teeth is not the same from turn to turn: the wheel's centre moves by "
        "{shift_rel:percent} of its radius, as with play in the bearing or a loose wheel."
    ),
    WheelSays.HAS_FAULTS: N_("{faults}"),
    WheelSays.NO_TOOTH_STANDS_OUT: N_("every tooth is seen and none stands out"),
    WheelSays.TOO_FEW_TURNS_TO_CLEAR: N_(
        "{turns:.1f} turns are too few to clear a wheel; ten are enough"
    ),
    WheelSays.ONLY_FEW_TURNS: N_(
        "Only {turns:.1f} turns were recorded; ten or more tell a sound wheel."
    ),
    WheelSays.TOO_NOISY_FOR_TEETH: N_(
        "There is too much noise to judge single teeth: mend the wiring first."
    ),
    WheelSays.PLAY_NOT_TOLD: N_("Bearing play cannot be told from so few turns or teeth."),
    WheelSays.BELT_UNSTEADY: N_(
        "The belt runs unsteadily: bearing play below {least_rel} of the wheel's radius would "
        "not show. Record with the belt running empty and steady."
    ),
    WheelSays.OTHER_SHAFT_SWINGS: N_(
        "The spacing swings with another shaft's turn; it is not counted as bearing play."
    ),
    SameWheelSays.OTHER_COUNT: N_("A wheel of {now} teeth cannot be compared with one of {then}."),
    SameWheelSays.FEW_TEETH_TO_KNOW: N_("{teeth} teeth are too few to know a wheel by."),
    SameWheelSays.OTHER_WHEEL: N_(
        "The teeth are not spaced as then: another wheel, or a wheel that has changed."
    ),
    SameWheelSays.SAME_WHEEL: N_("It is the same wheel; tooth 1 now was tooth {tooth_then} then."),
    SameWheelSays.SAME_WHEEL_TURNED_BACK: N_(
        "The wheel was turned the other way; tooth 1 now was tooth {tooth_then} then, and teeth "
        "count in the opposite direction."
    ),
    DropOutSays.NONE_MISSING: N_("No tooth went missing down to {slowest_mps}."),
    DropOutSays.NONE_MISSING_YET: N_(
        "No tooth went missing down to {slowest_mps}. Slow the belt below its lowest working "
        "speed, {low_mps}."
    ),
    DropOutSays.MISSING_AT_WORK: N_(
        "Tooth {tooth} goes missing at {speed_mps} already, above the lowest working speed of "
        "{low_mps}: set the pickup closer."
    ),
    DropOutSays.MISSING_BELOW_WORK: N_(
        "Tooth {tooth} goes missing first, at {speed_mps}: the lowest working speed, {low_mps}, "
        "is {times:.2f} times that."
    ),
    DropOutSays.BELOW_ALL_WORK: N_("the drop-out speed is below all working speeds"),
    DropOutSays.SLOWED_TOO_LITTLE: N_("the belt was not slowed far enough"),
}

_PICKUPS: dict[str, Template] = {
    PickupSays.OF_PICKUP: N_("{pickup}: {said}"),
    PickupSays.SEE_TO_FIRST: N_("See to this first: {faults}."),
    PickupSays.FAULT_OF_TOOTH: N_("{fault} {tooth}"),
    PickupSays.LIMITS_OF_PRACTICE: N_(
        "The limits, {best_m:gap} best and {most_m:gap} at most, are common practice: no machine "
        "is known whose own would hold."
    ),
    PickupSays.TEETH_BY_SIGNAL: N_(
        "No machine is known: the signal repeats after {seen} teeth, and the limits of the gap "
        "are common practice."
    ),
    PickupSays.TEETH_DIFFER: N_(
        "The signal repeats after {seen} teeth, but the machine file says {typed}: count the teeth."
    ),
    PickupSays.TEETH_TWICE: N_(
        "The signal repeats after {seen} teeth, but the machine file says {typed}: count the "
        "teeth. Or does every tooth trigger twice?"
    ),
    PickupSays.OUTSIDE_BASELINE: N_(
        "The gap by voltage, {gap_m:gap}, lies outside the baseline's gaps, {low_m:gap} to "
        "{high_m:gap}."
    ),
    PickupSays.HISTORY_UNREAD: N_("Earlier repeat measurements could not be read: {trouble}"),
    PickupSays.BASELINE_UNREAD: N_("The shop's baseline could not be read: {trouble}"),
    PickupSays.TEETH_COUNT_FROM: N_("Teeth count in the turning direction. {pickups:apart}."),
    PickupSays.FROM_MARK: N_(
        "{pickup}: tooth 1 is the one at {at_s:.3f} s, the first after the mark of '{mark}'"
    ),
    PickupSays.FROM_FIRST_EDGE: N_(
        "{pickup}: tooth 1 is the one at {at_s:.3f} s, the first edge, since no mark tells the "
        "place on the wheel"
    ),
    PickupSays.GAP_ROUND_WHEEL: N_(
        "The gap is {gap_m:gap} on average, run-out {runout_m:gap}; widest {widest_m:gap} at "
        "{at_deg}."
    ),
    PickupSays.GAP_JUMPS: N_(
        "The gap is {gap_m:gap} on average; as read from {least_m:gap} at {least_deg} to "
        "{most_m:gap} at {most_deg}."
    ),
    PickupSays.GAP_AT_ONE_PLACE: N_(
        "The gap is {gap_m:gap} on average; widest {widest_m:gap} at {at_deg}."
    ),
    PickupSays.GAP_SO_FAR: N_("{gap} {missing}"),
    PickupSays.FAULTS_FROM_MARK: N_("{faults}, counted from the mark in the direction of rotation"),
    PickupSays.FAULTS_FROM_FIRST_SEEN: N_(
        "{faults}, counted from the first tooth seen in the direction of rotation"
    ),
    PickupSays.PICKUP_LINE: N_("{pickup}: {verdict}; {said}"),
    WheelRunSays.TEETH_SOUND: N_("teeth sound"),
    WheelRunSays.NO_DROP_OUT: N_("no drop-out"),
    WheelRunSays.DROP_OUT_AT: N_("drop-out at {speed_mps}"),
    Standing.NOT_YET: N_("not yet"),
    Standing.BEGUN: N_("begun"),
}

SENTENCES = {**_FEELER, **_WHEEL, **_PICKUPS}
