"""Calibrating a readout in the shop."""

from workbench.jobs.particulars import Particulars

SPEEDS = ((1.23, 2.6), (0.86, 1.9), (1.05, 2.3), (1.35, 2.9), (1.48, 3.2))
"""True m/s and what a readout that shows 3.8 % too little makes of it, in mph."""


def caution(studio):
    studio.use("sim:calibration-shop?seed=2")
    studio.run(5)
    studio.show("Calibrate", caution_read=False)


def first_run(studio):
    page = studio.show("Calibrate")
    studio.run(20)
    page.job.count_by_hand(True)
    studio.rest()


def half_done(studio):
    page = studio.show("Calibrate")
    for _ in range(4):
        page._space()
        studio.run(7.5)
    studio.rest()


def pickup_counts(studio):
    page = studio.show("Calibrate")
    page.job.count_by_hand(False)
    page._space()
    studio.run(20)
    studio.rest()


def wrong_entry(studio):
    page = studio.show("Calibrate")
    page._panel.fields[0].setText("2.7 or so")
    page._keep_run()
    studio.rest()


def pending(studio):
    page = studio.show("Calibrate")
    page._panel.clear()
    page.job.drop_run()
    for speed_mps, shown in SPEEDS[:3]:
        _take(page, studio, speed_mps, shown)
    page._changed()


def judged(studio):
    page = studio.show("Calibrate")
    for speed_mps, shown in SPEEDS[3:]:
        _take(page, studio, speed_mps, shown)
    page.job.drop_kept(5)
    studio.rest()


def kept(studio):
    page = studio.show("Calibrate")
    page._keep_result()
    studio.rest()


def as_left(studio):
    page = studio.show("Calibrate")
    page.job.use_new_setting()
    studio.run(8)
    for speed_mps, shown in ((1.22, 2.7), (0.86, 1.9), (1.34, 3.0)):
        _take(page, studio, speed_mps, shown)
    studio.rest()


def for_whom(studio):
    studio.show("Calibrate")
    said = {"customer": "Hill farm", "field": "North field", "by": "Shop foreman"}
    studio.bench.for_whom.say(studio.bench.machine, Particulars(**said))
    studio.window.header.for_whom.click()


def certificate(studio):
    page = studio.show("Calibrate")
    page._keep_result()
    studio.rest()
    page.show_certificate()
    studio.rest()


def ramp(studio):
    page = studio.show("Calibrate")
    page._back()
    page.job.start_anew()
    page._references.setCurrentIndex(2)
    page._use_reference()
    page._space()
    studio.run(12)
    page._panel.fields[0].setText("2.7")
    for up in (True, False, False):
        page._panel.flip(up=up)
        studio.run(3)
    studio.rest()


def instrument(studio):
    page = studio.show("Calibrate")
    page.job.start_anew()
    page._references.setCurrentIndex(3)
    page._use_reference()
    studio.run(5)
    for field, typed in zip(page._panel.fields, ("2.7", "2.81", "0.02"), strict=True):
        field.setText(typed)
    studio.rest()


def _take(page, studio, speed_mps, shown):
    from workbench.models.calibrate.runs import TakenRun

    lap_m = studio.bench.machine.belt.lap_length_m
    taken = TakenRun(shown, 6, 6 * lap_m / speed_mps, u_wander_rel=0.002, simulated=True)
    page.job.add_run(taken)


STATES = (
    caution,
    first_run,
    half_done,
    pickup_counts,
    wrong_entry,
    pending,
    judged,
    kept,
    as_left,
    for_whom,
    certificate,
    ramp,
    instrument,
)
