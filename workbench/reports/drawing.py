"""The reports' pictures: one look, drawn by matplotlib from the description that the screen
draws too, handed on as SVG text."""

from __future__ import annotations

import hashlib
import io
import pickle
import textwrap
from collections.abc import Callable, Sequence
from functools import wraps
from typing import TYPE_CHECKING, Any, TypeVar, cast

import numpy as np

from workbench.base.errors import Message
from workbench.base.steps import tell
from workbench.base.units import UnitSystem
from workbench.reports.document import ATTENTION, BELT, GROUND, IN_BAND, INK, NO_DATA, Block
from workbench.reports.document import Figure as FigureBlock
from workbench.words.language import current
from workbench.words.pictures.extent import drawn_lines, end_names, reach, spread
from workbench.words.pictures.picture import Band, Bars, Fill, Floats, Panel, Picture, Points
from workbench.words.pictures.sketch import Area, Filling, Sketch, Word
from workbench.words.pictures.ticks import axis_words, step_along, ticks_along

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

QUIET, SUSPECT = "#5C6268", "#B35C00"
COLOURS = {
    "ink": INK,
    "soft_ink": QUIET,
    "belt": BELT,
    "earth": GROUND,
    "in_band": IN_BAND,
    "attention": ATTENTION,
    "bad": SUSPECT,
    "no_data": NO_DATA,
    "line": "#E6E4DF",
}
"""A role of the screens' themes -> its colour on paper."""
TEXT_COLOURS = COLOURS | {"in_band": "#00735A", "attention": "#8A4B00", "earth": "#A94300"}
"""The same where it carries text, with 4.5:1 on white."""
MARKERS = {"dot": "o", "square": "s", "cross": "x", "up": "^", "down": "v"}
COLUMNS = 1200
"""A line is drawn no finer: 170 mm at 180 points an inch."""
WIDTH_MM, ASIDE_MM = 170.0, 45.0
"""Of a picture, and of what stands left and right of its panels."""
WORD_PT = 9
"""Height of a line of words above the panels."""
TICK_MM, PLACE_MM, LINE_MM = 6.0, 18.0, 3.6
"""Between two values upwards, and along, at least; height of a line of text."""
SKETCH_LINE_MM, LETTER_MM = 4.2, 1.75
"""Height of a line of a sketch, and the width of a letter in it, on the safe side."""
REMEMBERED = 32
"""Pictures kept as they were drawn last: those of the longest report."""
Draw = TypeVar("Draw", bound=Callable[..., str])

_STYLE: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 7.5,
    "text.parse_math": False,  # a typed '$' is a dollar, not a formula
    "text.color": INK,
    "axes.edgecolor": "#B9BCBF",
    "axes.labelcolor": INK,
    "axes.titlesize": 7.5,
    "axes.titlelocation": "left",
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.spines.left": False,
    "grid.color": "#E6E4DF",
    "grid.linewidth": 0.6,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "ytick.left": False,
    "lines.linewidth": 1.4,
    "svg.fonttype": "path",
}


def new_figure(
    width_mm: float = WIDTH_MM, height_mm: float = 72, **subplot: Any
) -> tuple[Figure, Axes]:
    """An empty figure in the reports' look and its axes; `subplot` as for `Figure.subplots`."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(width_mm / 25.4, height_mm / 25.4), layout="constrained")
        axes: Axes = figure.subplots(**subplot)
    return figure, axes


def to_svg(figure: Figure) -> str:
    """The figure as SVG text, the same for the same picture."""
    tell(words=Message("Drawing the pictures …"))
    import matplotlib as mpl

    page = io.StringIO()
    with mpl.rc_context(_STYLE | {"svg.hashsalt": "evenpace"}):
        figure.savefig(page, format="svg", transparent=True, metadata={"Date": None})
    text = page.getvalue()
    return text[text.index("<svg") :]


def drawn_once(draw: Draw) -> Draw:
    """The same picture in the same words is drawn once, for whatever paper: PDF, HTML, preview."""
    known: dict[bytes, str] = {}

    @wraps(draw)
    def drawn(*what: Any, **how: Any) -> str:
        key = hashlib.sha256(pickle.dumps((what, how, current().code))).digest()
        svg = known.pop(key, None) or draw(*what, **how)
        known[key] = svg
        if len(known) > REMEMBERED:
            del known[next(iter(known))]
        return svg

    return cast(Draw, drawn)


@drawn_once
def picture_svg(picture: Picture, units: UnitSystem, height_mm: float = 72) -> str:
    """A picture in a person's units, as SVG."""
    shares = [panel.share for panel in picture.panels]
    made: Any = new_figure(
        height_mm=height_mm,
        nrows=len(shares),
        squeeze=False,
        sharex=True,
        gridspec_kw={"height_ratios": shares},
    )
    figure, axes = made
    draw_picture(list(axes[:, 0]), picture, units, height_mm)
    return to_svg(figure)


def draw_picture(
    axes: Sequence[Axes],
    picture: Picture,
    units: UnitSystem,
    height_mm: float,
    width_mm: float = WIDTH_MM,
) -> None:
    """A picture's panels, from the top, in one axes each."""
    import matplotlib as mpl

    with mpl.rc_context(_STYLE):
        room_mm = height_mm - 8.0 * (len(axes) + 1)
        whole = sum(panel.share for panel in picture.panels)
        for one, panel in zip(axes, picture.panels, strict=True):
            _Panel(one, picture, panel, units).draw(max(room_mm * panel.share / whole, 10.0))
        _place_ticks(axes[-1], picture, units, width_mm - ASIDE_MM)
        for row, mark in enumerate(sorted(picture.marks, key=lambda mark: mark.x)):
            axes[0].annotate(
                mark.text(units),
                (mark.x, 1.0),
                # Two close together would hide each other on one line.
                xytext=(0, 2 + WORD_PT * (row % 2)),
                xycoords=("data", "axes fraction"),
                textcoords="offset points",
                ha="center",
            )


def _place_ticks(axes: Axes, picture: Picture, units: UnitSystem, width_mm: float) -> None:
    """The values along the bottom, and what they count."""
    low, high = picture.span
    step = step_along(picture.x, units, (high - low) * PLACE_MM / width_mm)
    ticks = ticks_along(picture.x, units, low, high, step)
    axes.set_xlim(low, high)
    axes.set_xticks([at for at, _ in ticks], [text for _, text in ticks])
    axes.set_xlabel(axis_words(picture.x, units, low, high, step))


class _Panel:
    """One panel in its axes, in SI; only the values beside it are in a person's units."""

    def __init__(self, axes: Axes, picture: Picture, panel: Panel, units: UnitSystem) -> None:
        self._axes, self._picture, self._panel, self._units = axes, picture, panel, units
        self._span = picture.span

    def draw(self, height_mm: float) -> None:
        """All of it, in a box about so high."""
        axes, panel = self._axes, self._panel
        drawn = drawn_lines(panel, self._span, COLUMNS)
        low, high = reach(panel, drawn, self._span)
        axes.set_ylim(low, high)
        step = step_along(panel.y, self._units, (high - low) * TICK_MM / height_mm)
        ticks = ticks_along(panel.y, self._units, low, high, step)
        axes.set_yticks([at for at, _ in ticks], [text for _, text in ticks])
        first = panel is self._picture.panels[0]
        words = sum(bool(mark.word) for mark in self._picture.marks) if first else 0
        axes.set_title(panel.y.label(self._units), pad=3 + WORD_PT * min(words, 2))
        for begin, end in self._picture.left_out:
            axes.axvspan(begin, end, color=NO_DATA, alpha=0.14, linewidth=0)
        for band in panel.bands:
            self._band(band)
        for fill in panel.fills:
            self._fill(fill)
        for bars in panel.bars:
            self._bars(bars)
        for trace, x, y in reversed(drawn):  # the first on top
            style = "--" if trace.dashed else "-"
            axes.plot(x, y, color=COLOURS[trace.role], linewidth=0.7 * trace.width, linestyle=style)
        for points in panel.points:
            self._points(points)
        for mark in self._picture.marks:
            axes.axvline(mark.x, color=INK, linewidth=0.7, linestyle=(0, (4, 3)))
        names = sorted(end_names(panel, drawn, self._span, (low, high)), key=lambda one: one.value)
        apart = LINE_MM * (high - low) / height_mm
        room = max(high - low, apart * len(names))
        places = spread([one.value - low for one in names], room, apart)
        for name, at in zip(names, places, strict=True):
            self._beside(low + at, name.text, TEXT_COLOURS[name.role])

    def _beside(self, y: float, text: str, colour: str) -> None:
        where = self._axes.get_yaxis_transform()
        self._axes.text(1.01, y, text, transform=where, va="center", color=colour)

    def _band(self, band: Band) -> None:
        if band.shaded and band.high > band.low:
            alpha = 0.3 if band.role == "attention" else 0.12
            colour = COLOURS[band.role]
            self._axes.axhspan(band.low, band.high, color=colour, alpha=alpha, linewidth=0)
            return
        style: Any = "-" if band.shaded else (0, (4, 3))
        for y in {band.low, band.high}:
            self._axes.axhline(y, color=COLOURS[band.role], linewidth=0.9, linestyle=style)

    def _fill(self, fill: Fill) -> None:
        x, low = fill.low.visible(*self._span, COLUMNS)
        _, high = fill.high.visible(*self._span, COLUMNS)
        both = np.isfinite(low) & np.isfinite(high)
        alpha = 0.14 if fill.pale else 0.25
        self._axes.fill_between(
            x, low, high, where=both.tolist(), color=COLOURS[fill.role], alpha=alpha, linewidth=0
        )

    def _bars(self, bars: Bars) -> None:
        plain, odd = COLOURS[bars.role], COLOURS["attention"]
        colours = [plain] * bars.x.size
        if bars.odd is not None:
            colours = [odd if one else plain for one in bars.odd]
        whiskers = {"lw": 0.6, "ecolor": INK}
        self._axes.bar(bars.x, bars.y, width=0.7, color=colours, yerr=bars.U, error_kw=whiskers)
        for at, text in bars.notes:
            above = bars.y[at] >= 0
            self._axes.annotate(
                text,
                (bars.x[at], bars.y[at]),
                xytext=(0, 3 if above else -3),
                textcoords="offset points",
                ha="center",
                va="bottom" if above else "top",
                weight="bold",
            )

    def _points(self, one: Points) -> None:
        odd = np.zeros(one.x.size, dtype=bool) if one.odd is None else one.odd
        for some, marker, colour in (
            (~odd, MARKERS[one.shape], COLOURS[one.role]),
            (odd, "D", COLOURS["bad"]),
        ):
            if some.any():
                self._axes.errorbar(
                    one.x[some],
                    one.y[some],
                    xerr=_part(one.U_x, some),
                    yerr=_part(one.U, some),
                    fmt=marker,
                    color=colour,
                    markerfacecolor="white" if one.hollow else colour,
                    markersize=4.5,
                    elinewidth=1.1,
                )
        for x, y, words in zip(one.x, one.y, one.said, strict=False):
            where: Any = {"xytext": (5, 4), "textcoords": "offset points"}
            self._axes.annotate(words, (x, y), fontsize=6.5, color=QUIET, **where)


@drawn_once
def sketch_svg(sketch: Sketch, width_mm: float = WIDTH_MM) -> str:
    """A sketch as SVG, so wide."""
    import matplotlib as mpl

    height_mm = SKETCH_LINE_MM * sketch.height
    figure, axes = new_figure(width_mm, height_mm)
    figure.set_layout_engine("none")
    axes.set_position((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    axes.set_xlim(0.0, 1.0)
    axes.set_ylim(sketch.height, 0.0)
    with mpl.rc_context(_STYLE | {"hatch.linewidth": 0.7}):
        for shape in sketch.shapes:
            if isinstance(shape, Word):
                _word(axes, shape, width_mm)
            elif isinstance(shape, Area):
                axes.fill(*zip(*shape.corners, strict=True), **_filled(shape))
            else:
                style = "--" if shape.dashed else "-"
                width = 1.6 if shape.bold else 0.9
                x, y = zip(*shape.places, strict=True)
                axes.plot(x, y, color=COLOURS[shape.role], linewidth=width, linestyle=style)
    return to_svg(figure)


def sketch_block(sketch: Sketch, caption: str) -> list[Block]:
    """A sketch as a part of a report; nothing where nothing is drawn."""
    return [FigureBlock(sketch_svg(sketch), caption, sketch.said)] if sketch.shapes else []


def _filled(area: Area) -> Any:
    colour = COLOURS[area.role]
    if area.look is Filling.HATCHED:
        return {"facecolor": "none", "edgecolor": colour, "hatch": "/////", "linewidth": 0}
    return {
        "facecolor": colour,
        "linewidth": 0,
        "alpha": 0.16 if area.look is Filling.PALE else 1.0,
    }


def _word(axes: Axes, word: Word, width_mm: float) -> None:
    """Words in as many lines as they may have; their width is reckoned, not measured."""
    letters = max(4, int((word.right - word.left) * width_mm / LETTER_MM))
    lines = textwrap.wrap(word.text, letters, max_lines=word.lines, placeholder=" …")
    across = {-1: word.left, 0: 0.5 * (word.left + word.right), 1: word.right}[word.way]
    side = {-1: "left", 0: "center", 1: "right"}[word.way]
    for row, text in enumerate(lines):
        axes.text(
            across,
            word.top + row + 0.5,
            text,
            ha=side,
            va="center",
            color=TEXT_COLOURS[word.role],
            weight="bold" if word.bold else "normal",
        )


def _part(values: Floats | None, some: Any) -> Floats | None:
    return None if values is None else values[some]
