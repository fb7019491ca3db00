"""What a belt speed says."""

from __future__ import annotations

from workbench.jobs.speed.answer import SpeedSays
from workbench.words.language import N_, Plural, Template

SENTENCES: dict[str, Template] = {
    SpeedSays.NO_SPEED: N_("Channel '{channel}' gives no speed: {reason}"),
    SpeedSays.NO_MACHINE: N_(
        "No machine file was given, so pulses cannot be turned into belt travel."
    ),
    SpeedSays.OTHER_TEETH: N_(
        "The signal repeats after {seen} teeth, but the machine file says {typed}: count the "
        "teeth. If {seen} is right, the belt moves {times_as_fast:.4g} times as fast as stated."
    ),
    SpeedSays.SAME_TEETH_MISSING: Plural(
        "Channel '{channel}': the same tooth is missing in every turn of the target wheel: it is "
        "damaged, or made so. The gap command names the tooth.",
        "Channel '{channel}': the same teeth are missing in every turn of the target wheel: it "
        "is damaged, or made so. The gap command names the tooth.",
        by="teeth",
    ),
    SpeedSays.PULSES_MISSED: N_(
        "Channel '{channel}': {count} missed pulses in {total} ({share_rel:percent}): check gap "
        "and wiring."
    ),
    SpeedSays.PULSES_EXTRA: N_(
        "Channel '{channel}': {count} extra pulses in {total} ({share_rel:percent}): check gap "
        "and wiring."
    ),
    SpeedSays.INTERRUPTED: Plural(
        "Channel '{channel}': {count} interruption in which pulses could not be counted; over it "
        "the belt is taken to have run as just before and after.",
        "Channel '{channel}': {count} interruptions in which pulses could not be counted; over "
        "these the belt is taken to have run as just before and after.",
    ),
    SpeedSays.FEW_TURNS: N_(
        "Channel '{channel}': fewer than two whole turns of the target wheel; tooth spacing "
        "errors are allowed for in the uncertainty instead of removed. Record longer."
    ),
    SpeedSays.SPEED_BUT_FOR_WEAR: N_(
        "The belt may be up to {wear_rel:percent1} faster than pulses and drawing tell, where "
        "rods are worn or a roll carries mud: pulses alone cannot show it, and it was allowed for. "
        "Time ten laps of the belt, or measure the pitch over many rods, or the clean roll, and "
        "enter the day."
    ),
    SpeedSays.LAPS_DIFFER: N_(
        "{laps} laps say that the belt moves {difference_rel:+percent1} against the drive "
        "line's geometry (± {U_difference_rel:percent1}): {causes:or}."
    ),
}
