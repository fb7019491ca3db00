"""The pass before and while it is driven: numbers, tapes, set-up or plot, and a sentence."""

from __future__ import annotations

from PySide6.QtCore import Qt, QTimer
from PySide6.QtWidgets import (
    QSizePolicy,
    QStackedWidget,
    QWidget,
)

from workbench.base.units import FOOT_M
from workbench.gui.parts.basics import label, say
from workbench.gui.parts.layout import column_of, lay_beside, line_of, scrolled
from workbench.gui.parts.pace_strip import PaceStrip
from workbench.gui.passes.cab_numbers import CabNumbers
from workbench.gui.passes.cue_player import CuePlayer
from workbench.gui.passes.ready import TALL_PX, PassReady
from workbench.gui.plot.plot import Plot
from workbench.gui.plot.save import tell_simulated
from workbench.gui.theme import GRID_PX, Theme, grown
from workbench.models.bench import Bench
from workbench.models.pace import doubts_of
from workbench.models.passes.job import PassJob
from workbench.models.passes.live import Glance, Tapes, line, readings, separation_counts
from workbench.words.language import _
from workbench.words.pictures.passes import pass_picture

PLOT_FRAMES = 10
"""The plot is drawn anew once in so many frames."""
LOW_PX = 500
"""On a lower page the tapes give way to what is set up, until the pass runs."""
READY, PLOT, NOTHING = 0, 1, 2


class PassView(QWidget):
    """`refresh` shows the job as it is; `ready` is what is set up before a pass."""

    def __init__(self, bench: Bench, job: PassJob, player: CuePlayer, theme: Theme) -> None:
        super().__init__()
        self._bench, self._job = bench, job
        self._low = self._tall = False
        self._fitted: tuple[int, int, int, bool] | None = None
        self._frames, self._tapes = 0, Tapes()
        self.numbers, self.strip = CabNumbers(theme), PaceStrip(theme)
        self.plot = Plot(theme, _("Drift plot: speeds, ratio belt ÷ ground, separation"))
        self.plot.setMinimumHeight(13 * GRID_PX)
        self.ready = PassReady(bench, job, player)
        self.headline, self.rest = label("", "title", wrap=False), label("", "text")
        self._middle = QStackedWidget()
        self._middle.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
        self._middle.addWidget(scrolled(self.ready))
        self._middle.addWidget(self.plot)
        self._middle.addWidget(QWidget())
        self._lay_out()

    @property
    def sentence(self) -> str:
        """What is said below the plot."""
        return f"{self.headline.text()} {self.rest.text()}".strip()

    def fit(self, width: int, height: int) -> None:
        """Use the room of a page of this size, for text as large as it is now."""
        cab = self._bench.settings.now.cab
        if (fitted := (width, height, grown(GRID_PX), cab)) == self._fitted:
            return
        self._fitted = fitted
        self.numbers.fit(width, height)
        least_px = grown(7 * GRID_PX) if cab else 9 * GRID_PX
        self.strip.setFixedHeight(max(least_px, min(height // 7, 20 * GRID_PX)))
        self.ready.fit(height)
        self._low, self._tall = height < LOW_PX, height >= TALL_PX

    def refresh(self, *, read: bool) -> None:
        """Show everything as it is now; `read`: the caution was read."""
        units, pace = self._bench.settings.units, self._tapes.look(self._job)
        self.numbers.show_readings(readings(self._job, units), units.speed)
        self.strip.set_marks(1.0 if units.length == "m" else FOOT_M, units.length)
        running = self._job.running
        self.strip.show_distances(
            pace.belt_m,
            pace.ground_m,
            belt_lost=pace.belt_lost,
            ground_lost=pace.ground_lost,
            counts=running and separation_counts(self._job),
            doubts=doubts_of(pace),
        )
        self._frames += 1
        cab = self._bench.settings.now.cab
        self.strip.setVisible(running or cab or not self._low)
        self._middle.setVisible(not cab)
        lay_beside(self._said, wide=not cab)
        self.headline.setWordWrap(cab)
        self._middle.setCurrentIndex(PLOT if running else READY if read or self._tall else NOTHING)
        self.ready.setEnabled(read)
        if running and not cab and self._frames % PLOT_FRAMES == 0:
            # Once the numbers and tapes are painted: the plot must not hold them up.
            QTimer.singleShot(0, self, self._draw_plot)
        if not running:
            self.ready.refresh()
        self._say(line(self._job) if running else self._before(read=read))

    def _draw_plot(self) -> None:
        if self._job.running:
            tell_simulated(self.plot, self._bench.live.simulated)
            picture = pass_picture(self._job.rows(), self._job.limits)
            self.plot.show_picture(picture, self._bench.settings.units)

    def _before(self, *, read: bool) -> Glance:
        """Whether a pass can begin, and what to do next."""
        obstacle = self._job.obstacle()
        if self._job.said:
            return Glance("", self._job.said)
        if obstacle is not None:
            return Glance(_("Not ready"), obstacle.sentence)
        if not read:
            return Glance(_("Read the caution first"))
        if self._job.auto.on:
            return Glance(
                _("Waiting to begin by itself"), _("Drive off: nothing has to be pressed.")
            )
        return Glance(_("Ready"), _("Start the pass, then drive straight at an even speed."))

    def _say(self, words: Glance) -> None:
        say(self.headline, words.headline)
        say(self.rest, words.rest)
        self.headline.setVisible(bool(words.headline))

    def _lay_out(self) -> None:
        column = column_of(self.numbers, self.strip, (self._middle, 1), on=self)
        self._said = line_of(self.headline, gap=GRID_PX)
        self._said.addWidget(self.rest, 1, Qt.AlignmentFlag.AlignVCenter)
        column.addLayout(self._said)
