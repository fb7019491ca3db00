"""A topic in words: its question, how it is measured, what it does to belt or ground speed."""

from __future__ import annotations

from workbench.calibration.prepare.measures import Topic
from workbench.words.language import N_

QUESTIONS: dict[Topic, str] = {
    Topic.FLOW: N_("Is there oil enough?"),
    Topic.TYRES: N_("Are both tyres alike?"),
    Topic.LEVEL: N_("Does it stand level?"),
    Topic.BLADES: N_("Are the blades in line?"),
    Topic.SHANKS: N_("Are the shanks in place?"),
    Topic.BELT: N_("Does the belt hang right?"),
    Topic.CHAINS: N_("Are the chains right?"),
    Topic.WEAR: N_("What is worn, what is due?"),
    Topic.COURSE: N_("Is ground speed true?"),
}

HOW: dict[Topic, str] = {
    Topic.FLOW: N_(
        "Flow gauge in the motor's line, oil at working heat, engine at working speed. A qualified "
        "person opens the line."
    ),
    Topic.TYRES: N_("Pressures cold, one gauge for both. Radius: hub to ground, loaded."),
    Topic.LEVEL: N_("Flat hard pad, tyres first. Height of the same point left and right."),
    Topic.BLADES: N_("On the pad, each tip's height; sight across them."),
    Topic.SHANKS: N_("Inner edge of each shank from the conveyor's centre line, 1 is innermost."),
    Topic.BELT: N_(
        "Straight line along the strand; how far the belt hangs below it, at three places across."
    ),
    Topic.CHAINS: N_(
        "Push half way and pull: the whole movement. Length: pin to pin over many links, tight."
    ),
    Topic.WEAR: N_("Look, feel, turn by hand. Say sound or worn, and when it was done ('today')."),
    Topic.COURSE: N_(
        "Tape the course on the ground to be worked. Steady speed, watch from flag to flag, read "
        "the display; there and back."
    ),
}

DOES: dict[Topic, str] = {
    Topic.FLOW: N_("Too little oil: the belt runs slower than set, most under load."),
    Topic.TYRES: N_("The softer tyre rolls smaller: wheel speed reads high."),
    Topic.LEVEL: N_("A leaning machine digs deeper on one side and loads the belt unevenly."),
    Topic.BLADES: N_("A deep blade brings soil onto the belt, which slows it."),
    Topic.SHANKS: N_("A shank out of place throws crop beside the belt or jams it."),
    Topic.BELT: N_("Slack, it slips: slower than its pulses tell. Tight, it wears."),
    Topic.CHAINS: N_("Slack or worn, it jumps teeth: the belt's speed jerks."),
    Topic.WEAR: N_("What is worn out changes what was calibrated."),
    Topic.COURSE: N_("A source that reads wrong makes a belt in pace look wrong."),
}
