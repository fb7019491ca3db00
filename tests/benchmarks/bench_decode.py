"""Decoding speed frames already in memory: a column at a time against one by one."""

import cantools
import numpy as np
from timed import best_s

from drivers.can.tractor_messages import Frames, decode, split_id
from drivers.contract import Notes

FRAMES = 1_000_000
DBC = """VERSION ""
BU_: A
BO_ 2365475070 Wheel: 8 A
 SG_ speed : 0|16@1+ (0.001,0) [0|0] "m/s" A
 SG_ distance : 16|32@1+ (0.001,0) [0|0] "m" A
 SG_ key_switch : 58|2@1+ (1,0) [0|0] "" A
 SG_ direction : 56|2@1+ (1,0) [0|0] "" A
"""
"""Wheel-based speed and distance, PGN 65096, from the null address: the same four fields."""


def test_a_million_speed_frames(figures):
    rng = np.random.default_rng(1)
    can_id = np.full(FRAMES, 0x0CFE48FE, np.uint32)
    data = rng.integers(0, 250, (FRAMES, 8), dtype=np.uint8)
    time_s = np.arange(FRAMES) * 0.1

    def by_column():
        decode(Frames(*split_id(can_id), data, time_s, time_s), Notes())

    message = cantools.database.load_string(DBC).messages[0]
    one_by_one = [row.tobytes() for row in data]

    def frame_by_frame():
        for frame in one_by_one:
            message.decode(frame, decode_choices=False)

    ours_s = best_s(by_column, 5)
    theirs_s = best_s(frame_by_frame, 1)
    print(
        f"\n{FRAMES} frames of wheel-based speed and distance: {ours_s:.3f} s by column, "
        f"{theirs_s:.2f} s by cantools frame by frame; ratio {theirs_s / ours_s:.0f} (at least 50)"
    )
    figures.at_least("CAN frames decoded", theirs_s / ours_s, 50, "×", "cantools frame by frame")
