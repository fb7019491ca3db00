"""The first page: the picture that moves, what runs, and three plain choices."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from workbench.base.units import FOOT_M
from workbench.gui.parts.basics import button, label, say
from workbench.gui.parts.choice_card import (
    ChoiceCard,
    Sketch,
    sketch_gap,
    sketch_pass,
    sketch_readout,
)
from workbench.gui.parts.layout import TALL_PAGE, column_of, line_of
from workbench.gui.parts.pace_strip import SHOWN_M, PaceStrip
from workbench.gui.theme import GRID_PX, SMALL_PX, TEXT_PX, Theme, grown
from workbench.models.bench import Bench
from workbench.models.pace import PaceModel, doubts_of
from workbench.models.passes.tapes import SmoothTapes
from workbench.models.start.welcome import pace_sentence, settled, welcome
from workbench.words.language import N_

CHOICES: tuple[tuple[str, str, str, Sketch], ...] = (
    (
        "Calibrate a readout",
        "Calibrate",
        N_(
            "Takes a few steady runs and a mark on the belt; gives the right setting and a "
            "certificate."
        ),
        sketch_readout,
    ),
    (
        "Check a pass",
        "Pass",
        N_("Takes one test pass; gives how far the belt drifts from the ground, and why."),
        sketch_pass,
    ),
    (
        N_("Check pickup gaps"),
        "Gap",
        N_("Takes a feeler gauge or one belt run; gives the gap all round and the bad tooth."),
        sketch_gap,
    ),
)

ROOMY_PX = 1400

WORDS_EVERY_S = 0.5
"""Numbers that change 30 times a second cannot be read."""


class StartPage(QWidget):
    """Belt and ground, running, and what to do with them."""

    def __init__(self, bench: Bench, theme: Theme, go: Callable[[str], object]) -> None:
        super().__init__()
        self._bench, self._pace, self._tapes = bench, PaceModel(bench), SmoothTapes(SHOWN_M / 2)
        self._strip = PaceStrip(theme)
        self._strip.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self._strip.setMaximumHeight(50 * GRID_PX)
        self._words, self._welcome = label("", "text"), label("")
        self._units, self._said_s = bench.settings.units, -math.inf
        self._cards = [
            ChoiceCard(heading, sentence, sketch, partial(go, place), theme)
            for heading, place, sentence, sketch in CHOICES
        ]
        column = column_of(
            label("Do belt and ground keep pace?", "title"),
            self._words,
            (self._strip, 5),
            on=self,
            gap=2 * GRID_PX,
            edges=TALL_PAGE,
        )
        own = line_of(
            (self._welcome, 1),
            0,
            button("Describe a machine", partial(go, "Machine")),
            button("Choose inputs", partial(go, "Signals")),
        )
        column.addLayout(own)
        line = line_of(*((card, 1) for card in self._cards))
        column.addLayout(line, 5)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        roomy = self.width() >= ROOMY_PX
        self._welcome.setStyleSheet(f"font-size: {grown(TEXT_PX if roomy else SMALL_PX)}px;")
        self._welcome.setMaximumWidth((120 if roomy else 84) * GRID_PX)

    def refresh(self) -> None:
        units, now_s = self._bench.settings.units, self._bench.clock()
        pace = self._pace.now()
        calm = settled(self._pace, now_s)
        counts = calm is not None
        tapes = self._tapes.follow(pace, now_s, counts=counts)
        self._strip.set_marks(1.0 if units.length == "m" else FOOT_M, units.length)
        self._strip.show_distances(
            tapes.belt_m,
            tapes.ground_m,
            belt_lost=tapes.belt_lost,
            ground_lost=tapes.ground_lost,
            counts=counts,
            doubts=doubts_of(pace),
        )
        if units is not self._units or now_s - self._said_s >= WORDS_EVERY_S:
            self._units, self._said_s = units, now_s
            say(self._words, pace_sentence(self._bench, calm or pace, counts=counts))
            say(self._welcome, welcome(self._bench))
