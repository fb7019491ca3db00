"""All speeds of a recording on one line of time; draws only what can be seen."""

from __future__ import annotations

from workbench.base.units import UnitSystem, from_mps
from workbench.gui.plot.stack import Plot
from workbench.gui.plot.strip import SHADES
from workbench.gui.theme import Theme
from workbench.models.records.speed_lines import SpeedLines


class SpeedsPlot(Plot):
    """Drag to move, turn the wheel to zoom, double click to see the whole again."""

    def __init__(self, theme: Theme) -> None:
        super().__init__(theme, "Speeds of the recording")
        self._shown: SpeedLines | None = None

    def build(self) -> None:
        self.add_panel()
        self.close_panels("time")

    @property
    def shown(self) -> SpeedLines | None:
        """What is shown, None before anything was."""
        return self._shown

    def show_lines(self, shown: SpeedLines, units: UnitSystem, *, anew: bool = True) -> None:
        """Show a recording's speeds: the whole, or where not `anew` the part seen before."""
        self._shown = shown
        panel = self.panels[0]
        panel.forget_all()
        kinds = {"belt": 0, "earth": 0}
        for name, source in shown.lines.items():
            role = "belt" if name in shown.is_belt else "earth"
            line = panel.line(name, role, shade=SHADES[kinds[role] % len(SHADES)], width=1)
            line.source = source
            line.curve.setZValue(role == "belt")  # the steadier one above the noisy one
            kinds[role] += 1
        known = [line.time_s for line in shown.lines.values() if line.time_s.size]
        first = min((float(time_s[0]) for time_s in known), default=0.0)
        last = max((float(time_s[-1]) for time_s in known), default=1.0)
        if anew:
            self.point_at(None)
            self.see_all()
        self.set_span(first, max(last, first + 1.0))
        self.use_units(units)

    def use_units(self, units: UnitSystem) -> None:
        self.panels[0].title("speed", units.speed)
        for line in self.panels[0].lines.values():
            line.factor = from_mps(1.0, units.speed)
        self.draw()
