"""What is said of the machine before its run: names, how to measure, what it does, what to do."""

from __future__ import annotations

from workbench.calibration.prepare.due import PartSays, ServiceStanding, UsualPart
from workbench.calibration.prepare.measures import CheckKind, Computed, ReadingKind, Topic
from workbench.calibration.prepare.sheet import Whose
from workbench.jobs.prepare.answer import AtHandSays, DoSays, PrepareSays
from workbench.words.language import N_, Plural, Template

SENTENCES: dict[str, Template] = {
    Topic.FLOW: N_("Hydraulics"),
    Topic.TYRES: N_("Tyres"),
    Topic.LEVEL: N_("Level"),
    Topic.BLADES: N_("Blades"),
    Topic.SHANKS: N_("Shanks"),
    Topic.BELT: N_("Belt"),
    Topic.CHAINS: N_("Chains"),
    Topic.WEAR: N_("Wear, grease"),
    Topic.COURSE: N_("Ground speed"),
    ReadingKind.OIL_FLOW: N_("oil flow"),
    ReadingKind.TYRE_PRESSURE: N_("tyre pressure"),
    ReadingKind.TYRE_RADIUS: N_("tyre radius, loaded"),
    ReadingKind.FRAME_HEIGHT: N_("frame height"),
    ReadingKind.FRAME_WIDTH: N_("width between the heights"),
    ReadingKind.BLADE_HEIGHT: N_("blade tip height"),
    ReadingKind.SHANK: N_("shank from the centre line"),
    ReadingKind.BELT_SAG: N_("belt sag"),
    ReadingKind.BELT_SPAN: N_("belt span"),
    ReadingKind.BELT_MASS: N_("belt mass"),
    ReadingKind.CHAIN_SLACK: N_("chain slack"),
    ReadingKind.CHAIN_SPAN: N_("chain span"),
    ReadingKind.CHAIN_LENGTH: N_("chain length"),
    ReadingKind.CHAIN_LINKS: N_("chain links"),
    ReadingKind.CHAIN_PITCH: N_("chain pitch"),
    ReadingKind.WEAR: N_("wear"),
    ReadingKind.DONE: N_("looked after on"),
    ReadingKind.HOURS: N_("hours of work"),
    ReadingKind.COURSE_LENGTH: N_("course length"),
    ReadingKind.COURSE_TIME: N_("course time"),
    ReadingKind.RADAR_SPEED: N_("radar shows"),
    ReadingKind.WHEEL_SPEED: N_("wheel speed shows"),
    ReadingKind.SATELLITE_SPEED: N_("satellite speed shows"),
    CheckKind.OIL_FLOW_RESERVE: N_("oil flow in reserve"),
    CheckKind.TYRE_PRESSURE_DIFFERENCE: N_("tyre pressure, left − right"),
    CheckKind.TYRE_RADIUS_DIFFERENCE: N_("tyre radius, left − right"),
    CheckKind.FRAME_HEIGHT_DIFFERENCE: N_("frame height, left − right"),
    CheckKind.BLADE_HEIGHT_SPREAD: N_("blade tips, highest − lowest"),
    CheckKind.SHANK_DIFFERENCE: N_("shanks, left − right"),
    CheckKind.BELT_SAG_MEAN: N_("belt sag, mean"),
    CheckKind.BELT_SAG_EVENNESS: N_("belt sag, most − least"),
    Computed.BELT_TENSION: N_("belt tension by its sag"),
    Computed.CHAIN_SLACK_SHARE: N_("chain slack, of the span"),
    Computed.CHAIN_ELONGATION: N_("chain longer than new by"),
    Computed.OIL_FLOW_NEEDED: N_("oil flow needed, leakage included"),
    Computed.SPEED_AT_FULL_FLOW: N_("belt speed at full flow"),
    Computed.SPEED_CHANGE_COLD: N_("belt speed with oil at {oil_c:temperature}"),
    Computed.SPEED_CHANGE_HOT: N_("belt speed with oil at {oil_c:temperature}"),
    Computed.WHEEL_SPEED_DIFFERENCE: N_("wheel speed, left − right"),
    Computed.TILT: N_("lean, + left side high"),
    Computed.SHANK_DISTANCE: N_("shank should be at"),
    Whose.MANUAL: N_("the machine's own"),
    Whose.PRACTICE: N_("common practice, no source"),
    Whose.GUIDANCE: N_("published guidance for ANSI B29.1 chain"),
    Whose.COMPUTED: N_("computed"),
    Whose.EYE: N_("by eye"),
    UsualPart.BELT_BOLTS: N_("belt bolts"),
    UsualPart.BELT: N_("belt and rods"),
    UsualPart.BLADES: N_("blade edges"),
    UsualPart.DRIVE_CHAINS: N_("drive chains"),
    UsualPart.BEARINGS: N_("bearings"),
    UsualPart.DRIVESHAFT: N_("driveshaft"),
    UsualPart.GEARBOX: N_("gearbox oil"),
    UsualPart.HOSES: N_("hydraulic hoses"),
    UsualPart.PICKUP_WIRING: N_("pickup and wiring"),
    PartSays.BOLTS_WORN: N_(
        "Bolts that join the belt: change them every year; heads worn thin, nuts that turn by hand."
    ),
    PartSays.BELT_WORN: N_(
        "Belt edges frayed or cracked across, rods bent, laces or joints pulled."
    ),
    PartSays.CHAINS_WORN: N_(
        "Stiff links, rust-red dust at the pins, rollers that do not turn; oil them."
    ),
    PartSays.BEARINGS_WORN: N_("Rough or loose by hand, hot after a run, grease driven out."),
    PartSays.DRIVESHAFT_WORN: N_(
        "Play in the joints, shield cracked or not turning free; grease the joints and tubes."
    ),
    PartSays.GEARBOX_LOW: N_("Oil below its mark, milky, or wet at a seal."),
    PartSays.BLADES_WORN: N_("Point rounded or edge wavy: a sharp point, a straight edge."),
    PartSays.HOSES_WORN: N_(
        "Cover cracked, chafed or swollen, fittings wet. Look with cardboard, never with a hand."
    ),
    PartSays.WIRING_WORN: N_("Pickup loose in its bracket, cable chafed, plug dirty or wet."),
    PartSays.SIGN_OF_MACHINE: N_("{text}"),
    ServiceStanding.DUE: N_("due"),
    ServiceStanding.NOT_YET: N_("not yet due"),
    ServiceStanding.NEVER_NOTED: N_("due: nobody noted when it was done last"),
    ServiceStanding.HOURS_UNKNOWN: N_("cannot tell without the hours of work"),
    PrepareSays.ALL_WELL: Plural(
        "{count} check, as it should be", "all {count} checks as they should be"
    ),
    PrepareSays.SOME_OUTSIDE: N_("{out} of {count} checks not passed: {checks}"),
    PrepareSays.NOTHING_JUDGED: N_("nothing was measured that can be judged"),
    PrepareSays.NEEDED_FIRST: N_(
        "{of} at {place} says nothing yet: add a row '{what}' for {place}, or a [[chain]] of that "
        "name to the machine file."
    ),
    PrepareSays.BLADE_APART: N_("The blade tip at {place} stands out from the others."),
    PrepareSays.SLACK_BELT_SLIPS: N_(
        "The belt is driven by friction and hangs too slack: it may slip on its roll, and then "
        "runs slower than the pulses tell."
    ),
    PrepareSays.COURSE_ONE_WAY: N_(
        "The {source} is not proven yet: drive the taped course there and back, twice at least."
    ),
    PrepareSays.COURSE_NO_LENGTH: N_(
        "Speeds over a taped course need a row 'course length', at least {least_m:length}."
    ),
    PrepareSays.COURSE_NO_TIME: N_("No 'course time' for these runs, which are left out: {runs}."),
    PrepareSays.SHANK_UNKNOWN: N_(
        "Where the shanks should be is not known: give rows, row_count and row_spacing_m under "
        "[prepare] in the machine file."
    ),
    PrepareSays.MODEL_OF_OIL: N_(
        "What colder or warmer oil changes is a model, the simulator's own: leakage goes with the "
        "oil's thinness, at one pressure; no published figure was found."
    ),
    PrepareSays.READ_ON_ONE_SIDE: N_("{of} was read on one side only: {places}."),
    AtHandSays.TRUE_SCALE_USED: N_(
        "{source} is taken {factor:ratio} times as it shows, by the taped course (result {result})."
    ),
    AtHandSays.FAILED_BEFORE: N_(
        "{topic} failed before the run (result {result}, {on}), which makes this likely."
    ),
    AtHandSays.NOT_MEASURED_BEFORE: N_("{topic}: not measured before the run (Prepare)."),
    AtHandSays.BELT_MAY_SLIP: N_(
        "The belt hung too slack before the run (result {result}, {on}) and is driven by friction: "
        "it may slip, and then runs slower than its pulses tell."
    ),
    DoSays.FLOW_TOO_LOW: N_(
        "The tractor gives too little oil: open its flow setting, warm the oil, use another "
        "outlet. A starved motor runs the belt slower than set, and slower still under load."
    ),
    DoSays.RESERVE_TOO_LOW: N_(
        "At the highest working speed the motor wants more oil than there is: the belt cannot "
        "keep pace. More flow, or a slower ground speed."
    ),
    DoSays.PRESSURE_OFF: N_("Set the tyre pressure ({places}) as the manual says, tyres cold."),
    DoSays.PRESSURES_APART: N_(
        "Set both tyres alike: the softer one rolls on a smaller radius, leans the machine and "
        "makes wheel speed read high."
    ),
    DoSays.RADII_APART: N_(
        "The tyres roll on different radii: check pressures, tread and sizes. Wheel speed is off "
        "by as much."
    ),
    DoSays.NOT_LEVEL: N_(
        "Level the machine on a hard pad, tyres first: a leaning machine digs deeper on one side "
        "and loads the belt unevenly."
    ),
    DoSays.BLADES_APART: N_(
        "Bring the blade tips into one line: one that digs deeper brings more soil onto the belt "
        "there."
    ),
    DoSays.SHANK_OFF: N_("Move the shank ({places}) to its distance from the centre line."),
    DoSays.SHANKS_APART: N_("Bring the shanks (number {places}) to the same distance either side."),
    DoSays.BELT_TOO_TIGHT: N_(
        "Let the belt out ({places}): a belt tightened like a chain wears belt, rolls and bearings."
    ),
    DoSays.BELT_TOO_SLACK: N_(
        "Take the belt up ({places}), both sides alike: a slack belt rubs, jumps rods or slips on "
        "its roll, and then runs slower than its pulses tell."
    ),
    DoSays.BELT_UNEVEN: N_(
        "Take up both sides until the belt hangs the same all across: an uneven one runs to a side."
    ),
    DoSays.CHAIN_TOO_TIGHT: N_("Let the chain out ({places}): it wears itself and the bearings."),
    DoSays.CHAIN_TOO_SLACK: N_(
        "Take the chain up ({places}): it whips, jumps teeth, and the belt's speed jerks."
    ),
    DoSays.CHAIN_WORN: N_(
        "Change the chain ({places}) and look at its sprockets: worn beyond its limit it rides up "
        "and jumps teeth."
    ),
    DoSays.PART_WORN: N_("Mend or change before the run: {places}."),
}
