"""Speeds of the last minutes, a line a stream, its name at the line's end."""

from __future__ import annotations

from collections import Counter

from workbench.base.units import UnitSystem, from_mps
from workbench.gui.plot.stack import Plot
from workbench.gui.theme import Theme
from workbench.models.live import HISTORY_S, SILENT_S, Stream
from workbench.models.plot.pyramid import Pyramid

SHOWN_S = 120.0
SHADES = (0.0, 0.35, 0.6)
"""Lines of one kind go from its colour towards the ink."""


class StripChart(Plot):
    """Draws the streams' histories; time runs from left to now on the right."""

    def __init__(self, theme: Theme) -> None:
        super().__init__(theme, "Speeds of the last two minutes", ago=True)

    def build(self) -> None:
        self.add_panel()
        self.close_panels("time, 0 is now")
        self.set_span(-SHOWN_S, 0.0)

    def show_streams(self, streams: dict[str, Stream], now_s: float, units: UnitSystem) -> None:
        """Draw what is within the last two minutes; further back by drag or wheel."""
        panel = self.panels[0]
        panel.title("speed", units.speed)
        for name in [name for name in panel.lines if name not in streams]:
            panel.forget(name)
        for name, stream in streams.items():
            time_s, speed_mps = stream.history.since(now_s - HISTORY_S)
            if not time_s.size:
                continue
            if name not in panel.lines:
                self._add(name, stream)
            line = panel.lines[name]
            line.source = Pyramid(
                time_s - now_s, speed_mps.copy(), max(SILENT_S, 4 * stream.pause_s)
            )
            line.factor = from_mps(1.0, units.speed)
        self.draw()

    def _add(self, name: str, stream: Stream) -> None:
        role = "belt" if stream.is_pulses else "earth"
        alike = Counter(line.role for line in self.panels[0].lines.values())[role]
        self.panels[0].line(name, role, shade=SHADES[alike % len(SHADES)])
