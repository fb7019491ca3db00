"""Calibrating a readout in the shop."""


def caution(studio):
    studio.use("sim:calibration-shop?seed=2")
    studio.run(5)
    studio.show("Calibrate", caution_read=False)


def runs(studio):
    page = studio.show("Calibrate")
    studio.run(5)
    for speed_mps, readout_mph in ((0.98, 2.3), (1.16, 2.7), (1.34, 3.1), (1.25, 2.9)):
        _calibrate_run(page, studio, speed_mps, readout_mph)
    studio.rest()


def _calibrate_run(page, studio, speed_mps, readout_mph):
    from workbench.models.calibrate_job import TakenRun

    lap_m = studio.bench.machine.belt.lap_length_m
    page.job.runs.append(TakenRun(readout_mph, 6, 6 * lap_m / speed_mps))
    page.job.changed()


STATES = (caution, runs)
