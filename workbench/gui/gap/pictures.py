"""The picture beside a gap check: the wheel with its gaps or its teeth, the drop-out run."""

from __future__ import annotations

import math

import numpy as np
from PySide6.QtWidgets import QStackedWidget

from workbench.gui.parts.wheel import Wheel
from workbench.gui.plot.plot import Plot
from workbench.gui.plot.save import tell_simulated
from workbench.gui.theme import Theme
from workbench.models.bench import Bench
from workbench.models.gap.job import GapJob
from workbench.words.language import N_, _
from workbench.words.pictures.gap import drop_out_picture, drop_out_trace
from workbench.words.pictures.wheel import ToothWheel, feeler_wheel, tooth_wheel

WAITING = N_("The teeth stand here once the wheel has turned three times.")


class GapPictures(QStackedWidget):
    """Shows one picture at a time, each kept up to date with the job."""

    def __init__(self, bench: Bench, job: GapJob, theme: Theme) -> None:
        super().__init__()
        self._bench, self._job = bench, job
        self.wheel, self.teeth = Wheel(theme), Wheel(theme)
        self.trace = Plot(theme, _("Belt speed of the drop-out run"))
        self.curve = Plot(theme, _("Share of teeth seen against belt speed"))
        for picture in (self.wheel, self.teeth, self.trace, self.curve):
            self.addWidget(picture)

    def show_feeler(self) -> None:
        """The gap round the wheel as read so far, and where to read next."""
        job = self._job
        following = None if job.round_is_read else job.next_angle_deg()
        gap = job.list.state(job.list.current).gap
        wheel = feeler_wheel(gap, job.limits, following)
        self.wheel.show_wheel(wheel, self._bench.settings.units)
        self.setCurrentWidget(self.wheel)

    def show_teeth(self) -> None:
        """The teeth: as far as the run has come, or as its answer has them."""
        run = self._job.run
        wheel = ToothWheel(run.so_far.late_rel if run.so_far else np.empty(0), marked=False)
        judged = None if run.running else run.judged
        if judged is not None and not judged.drop_out and run.pickup is not None:
            wheel = tooth_wheel(run.pickup)
        self.teeth.show_wheel(wheel, self._bench.settings.units, _(WAITING))
        self.setCurrentWidget(self.teeth)

    def show_drop_out(self) -> None:
        """The belt's speed while the run lasts, then the share of teeth seen by speed."""
        run = self._job.run
        judged = None if run.running else run.judged
        machine = (judged.kept.machine if judged else None) or self._bench.machine
        low_mps = machine.limits.speed_low_mps if machine else math.nan
        units = self._bench.settings.units
        if judged is None or run.pickup is None or not run.curve:
            if run.running:
                tell_simulated(self.trace, self._bench.live.simulated)
            time_s, speed_mps = np.array(run.trace, dtype=np.float64).reshape(-1, 2).T
            self.trace.show_picture(drop_out_trace(time_s, speed_mps, low_mps), units)
            self.setCurrentWidget(self.trace)
            return
        tell_simulated(self.curve, judged.kept.answer.simulated)
        drop = run.pickup.drop_out
        drop_out_mps = drop.speed_mps if drop else math.nan
        speed_mps, seen_rel = np.array(run.curve, dtype=np.float64).reshape(-1, 2).T
        picture = drop_out_picture(speed_mps, seen_rel, drop_out_mps, low_mps)
        self.curve.show_picture(picture, units)
        self.setCurrentWidget(self.curve)
