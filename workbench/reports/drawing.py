"""The reports' plots: one look, drawn by matplotlib, handed on as SVG text."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

from workbench.reports.document import INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_STYLE: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 7.5,
    "text.parse_math": False,  # a typed '$' is a dollar, not a formula
    "text.color": INK,
    "axes.edgecolor": "#B9BCBF",
    "axes.labelcolor": INK,
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.spines.left": False,
    "grid.color": "#E6E4DF",
    "grid.linewidth": 0.6,
    "xtick.color": "#5C6268",
    "ytick.color": "#5C6268",
    "ytick.left": False,
    "lines.linewidth": 1.4,
    "svg.fonttype": "path",
}


def new_figure(width_mm: float = 170, height_mm: float = 72, **subplot: Any) -> tuple[Figure, Axes]:
    """An empty figure in the reports' look and its axes; `subplot` as for `Figure.subplots`."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(width_mm / 25.4, height_mm / 25.4), layout="constrained")
        axes: Axes = figure.subplots(**subplot)
    return figure, axes


def to_svg(figure: Figure) -> str:
    """The figure as SVG text, the same for the same picture."""
    import matplotlib as mpl

    page = io.StringIO()
    with mpl.rc_context(_STYLE | {"svg.hashsalt": "evenpace"}):
        figure.savefig(page, format="svg", transparent=True, metadata={"Date": None})
    text = page.getvalue()
    return text[text.index("<svg") :]
