"""What must be said before a hand goes near the wheel.

After OSHA 29 CFR 1928.57(a)(6) and ISO 4254-1; no authority of its own.
"""

AT_THE_WHEEL = (
    "Before you reach for the wheel or the pickup: stop the engine and take the key with you, "
    "disengage the drive, release the hydraulic pressure, and wait until all movement has "
    "stopped. Turn the wheel by hand only, and keep fingers out of the teeth and away from the "
    "belt. Never feel for a hydraulic leak with a hand: use cardboard. Put all guards back before "
    "the engine starts. The machine's manual, local codes and qualified persons have the last "
    "word."
)

WITH_THE_BELT_RUNNING = (
    "The belt must run for this: keep guards in place and everyone clear before the engine "
    "starts, tell each helper every step beforehand, and stay out of reach of belt and wheel "
    "until all has come to rest. The machine's manual, local codes and qualified persons have "
    "the last word."
)
