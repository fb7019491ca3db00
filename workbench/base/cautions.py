"""What must be said before a hand, or anyone, comes near a machine that can move.

After OSHA 29 CFR 1928.57(a)(6) and ISO 4254-1; no authority of its own. A step names its
caution here; the words stand in `workbench.words.catalogue.cautions`.
"""

from __future__ import annotations

from enum import StrEnum, auto


class Caution(StrEnum):
    """The cautions there are, by where one is about to be or what one is about to do."""

    AT_THE_MACHINE = auto()
    """Before anything is measured or adjusted at the standing machine."""
    AT_THE_WHEEL = auto()
    WITH_THE_BELT_RUNNING = auto()
    IN_THE_CAB = auto()
    BEFORE_A_PASS = auto()
    AT_THE_HYDRAULICS = auto()
    AT_THE_WIRING = auto()
    HANDS_OFF = auto()
    """Before the flow control or anything else is adjusted after a pass."""
    WHILE_STANDING = auto()
    """Said all the time that a pass is on the screen."""
