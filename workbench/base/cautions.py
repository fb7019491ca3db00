"""What must be said before a hand, or anyone, comes near a machine that can move.

After OSHA 29 CFR 1928.57(a)(6) and ISO 4254-1; no authority of its own.
"""

LAST_WORD = "The machine's manual, local codes and qualified persons have the last word."

AT_THE_WHEEL = (
    "Before you reach for the wheel or the pickup: stop the engine and take the key with you, "
    "disengage the drive, release the hydraulic pressure, and wait until all movement has "
    "stopped. Turn the wheel by hand only, and keep fingers out of the teeth and away from the "
    "belt. Never feel for a hydraulic leak with a hand: use cardboard. Put all guards back before "
    f"the engine starts. {LAST_WORD}"
)

WITH_THE_BELT_RUNNING = (
    "The belt must run for this: keep guards in place and everyone clear before the engine "
    "starts, tell each helper every step beforehand, and stay out of reach of belt and wheel "
    f"until all has come to rest. {LAST_WORD}"
)

WHILE_STANDING = "Set it up while standing; do not operate it while driving"

IN_THE_CAB = (
    f"{WHILE_STANDING}: a passenger or a stop is needed to look at it. Everyone clear of the "
    f"digger, guards in place. {LAST_WORD}"
)

BEFORE_A_PASS = (
    "The tractor moves and the belt runs. Set up, type and read only while standing; do not "
    "operate a computer while driving. Everyone clear before the start; guards in place. Adjust "
    "nothing on the machine before the engine is stopped and all movement has ended, unless the "
    f"manual says that it must run. {LAST_WORD}"
)

AT_THE_HYDRAULICS = (
    "Before the flow control's hoses or fittings are touched: engine off, pressure let out. Look "
    "for leaks with cardboard, never with a hand; oil under the skin needs a surgeon at once. "
    f"{LAST_WORD}"
)

AT_THE_WIRING = (
    "Put all guards back before the engine starts. Never connect anything to a braking or steering "
    f"circuit. {LAST_WORD}"
)
