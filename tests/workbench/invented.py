"""Machines and what was measured at them, as several tests take them; all invented."""

from __future__ import annotations

DIGGER = """
name = "Test digger"
[belt]
lap_length_m = 9.84
u_lap_length_m = 0.004
[drive]
target_teeth = 24
turns_per_target_turn = 1.0
kind = "sprocket"
sprocket_teeth = 10
rod_pitch_m = 0.0381
[readout]
unit = "mph"
step = 0.1
setting = 1920
setting_unit = "pulses/100 ft"
setting_step = 1
reads = "inverse"
"""
DIGGER_RUNS = """run,shown,laps,laps_time_s,pulses,pulses_time_s
1,2.4,10,95.4,,
2,2.7,10,83.9,,
3,2.9,10,80.2,,
"""

SHOP = """
name = "shop's own"
serial = "SN 4711"
[belt]
lap_length_m = 9.15
[drive]
target_teeth = 30
kind = "sprocket"
sprocket_teeth = 8
rod_pitch_m = 0.0508
[readout]
setting = 2250
setting_unit = "pulses/100 ft"
setting_step = 1
"""
SHOP_RUNS = """run,shown,laps,laps_time_s,pulses,pulses_time_s
1,2.1,10,101.6,3989,60
2,2.5,10,84.4,4802,60
3,2.9,10,73.1,5545,60
"""
SHOP_RUNS_BY_HAND = """run,shown,laps,laps_time_s,pulses,pulses_time_s
1,2.1,10,101.6,,
2,2.5,10,84.4,,
3,2.9,10,73.1,,
"""

GAPS = "pickup,angle_deg,gap_m\nleft,0,0.0016\nleft,90,0.0017\nleft,180,0.0018\nleft,270,0.0017\n"
