"""The cautions, each with its last sentence: the machine's manual has the last word."""

from __future__ import annotations

from workbench.base.cautions import Caution
from workbench.words.language import N_, Template

SENTENCES: dict[str, Template] = {
    Caution.AT_THE_MACHINE: N_(
        "Before you measure or adjust: level ground, machine lowered onto blocks or stands, never "
        "under one that only its hydraulics hold; engine off, key with you, drive disengaged, "
        "brakes set, all movement stopped. Belt, chains and blades cut and pinch: turn nothing by "
        "power while a hand is near. Put all guards back. The machine's manual, local codes and "
        "qualified persons have the last word."
    ),
    Caution.AT_THE_WHEEL: N_(
        "Before you reach for the wheel or the pickup: stop the engine and take the key with "
        "you, disengage the drive, release the hydraulic pressure, and wait until all movement "
        "has stopped. Turn the wheel by hand only, and keep fingers out of the teeth and away "
        "from the belt. Never feel for a hydraulic leak with a hand: use cardboard. Put all "
        "guards back before the engine starts. The machine's manual, local codes and qualified "
        "persons have the last word."
    ),
    Caution.WITH_THE_BELT_RUNNING: N_(
        "The belt must run for this: keep guards in place and everyone clear before the engine "
        "starts, tell each helper every step beforehand, and stay out of reach of belt and wheel "
        "until all has come to rest. The machine's manual, local codes and qualified persons "
        "have the last word."
    ),
    Caution.IN_THE_CAB: N_(
        "Set it up while standing; do not operate it while driving: a passenger or a stop is "
        "needed to look at it. Everyone clear of the digger, guards in place. The machine's "
        "manual, local codes and qualified persons have the last word."
    ),
    Caution.BEFORE_A_PASS: N_(
        "The tractor moves and the belt runs. Set up, type and read only while standing; do not "
        "operate a computer while driving. Everyone clear before the start; guards in place. "
        "Adjust nothing on the machine before the engine is stopped and all movement has ended, "
        "unless the manual says that it must run. The machine's manual, local codes and "
        "qualified persons have the last word."
    ),
    Caution.AT_THE_HYDRAULICS: N_(
        "Before the flow control's hoses or fittings are touched: engine off, pressure let out. "
        "Look for leaks with cardboard, never with a hand; oil under the skin needs a surgeon at "
        "once. The machine's manual, local codes and qualified persons have the last word."
    ),
    Caution.AT_THE_WIRING: N_(
        "Put all guards back before the engine starts. Never connect anything to a braking or "
        "steering circuit. The machine's manual, local codes and qualified persons have the last "
        "word."
    ),
    Caution.HANDS_OFF: N_(
        "Adjust only with the engine off and all movement ended, unless the manual says it must "
        "run; pressure let out before a hose or fitting is touched. The machine's manual comes "
        "first."
    ),
    Caution.WHILE_STANDING: N_("Set it up while standing; do not operate it while driving."),
}
