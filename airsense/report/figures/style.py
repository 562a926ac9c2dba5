"""One look for all figures. Colours differ in lightness too, so that a grey print keeps them.

Categories follow the colour-universal set of Okabe and Ito (2008); beside colour, markers, line
styles or hatches always tell the same thing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from airsense.results import Interval

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK = "#1f2933"
SOFT = "#5b6773"
GRID = "#dfe4e8"
BEFORE = "#8a5a00"
AFTER = "#0b4f8a"
TRUE = "#0b4f8a"
SKEW = "#d9730d"
INDICATED = "#1f2933"
GOOD = "#00734f"
BAD = "#a8321a"
OPEN = "#6b7580"
MARGIN_FILL = "#e9edf0"
SERIES = ("#0b4f8a", "#d9730d", "#00734f", "#8e4a8a", "#5b6773", "#8a5a00")
MARKERS = ("o", "s", "^", "D", "v", "P")
STYLES = ("-", "--", "-.", ":")
WIDTH_IN = 5.0
DPI = 120

_PARAMETERS: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "axes.titlesize": 9.0,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": 9.0,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": GRID,
    "grid.linewidth": 0.7,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 8.5,
    "ytick.labelsize": 8.5,
    "legend.frameon": False,
    "legend.fontsize": 8.5,
    "lines.linewidth": 1.6,
    "lines.markersize": 4.5,
    "figure.dpi": DPI,
    "savefig.dpi": DPI,
    "figure.facecolor": "white",
    "hatch.linewidth": 0.7,
    "svg.fonttype": "none",
    "svg.hashsalt": "airsense",
    "pdf.fonttype": 42,
    "path.simplify": True,
    "axes.unicode_minus": True,
    "axes.formatter.useoffset": False,
    "date.converter": "concise",
    # Names come from files: a dollar sign is a dollar sign.
    "text.parse_math": False,
}


@contextmanager
def styled() -> Iterator[None]:
    """Draw and save in the look of the report, whatever the user has set."""
    import matplotlib as mpl

    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_PARAMETERS)
        yield


def new_figure(height_in: float) -> Figure:
    """Return an empty figure of the report's width; no window system is touched."""
    from matplotlib.figure import Figure

    return Figure(figsize=(WIDTH_IN, height_in), layout="constrained")


def percent_axis(axes: Axes, *, axis: str = "y") -> None:
    """Label an axis of fractions in per cent."""
    from matplotlib.ticker import FuncFormatter

    which = axes.yaxis if axis == "y" else axes.xaxis
    which.set_major_formatter(FuncFormatter(_percent_tick))


def _percent_tick(value: float, _position: object) -> str:
    text = f"{100.0 * value:.6g}"
    return text.replace("-", "−")


def speed_axis(axes: Axes, *, narrow: bool = False) -> None:
    """Label the horizontal axis as engine speed; a narrow panel has room for fewer numbers."""
    axes.set_xlabel("engine speed, rpm")
    axes.locator_params(axis="x", nbins=4 if narrow else 7)


def zero_line(axes: Axes, *, axis: str = "y") -> None:
    """Draw the line of no change."""
    line = axes.axhline if axis == "y" else axes.axvline
    line(0.0, color=SOFT, linewidth=0.9, zorder=1.5)


def margin_band(axes: Axes, margin: float | None, *, axis: str = "y") -> None:
    """Shade the equivalence margin."""
    if margin:
        band = axes.axhspan if axis == "y" else axes.axvspan
        band(-margin, margin, color=MARGIN_FILL, linewidth=0, zorder=0.5)


def interval_band(
    axes: Axes,
    x: Sequence[float],
    intervals: Sequence[Interval],
    colour: str,
    style: str,
    *,
    label: str = "",
) -> None:
    """Draw values as a line with their intervals as a band."""
    axes.fill_between(
        x,
        [i.low for i in intervals],
        [i.high for i in intervals],
        color=colour,
        alpha=0.22,
        linewidth=0,
    )
    axes.plot(x, [i.value for i in intervals], style, color=colour, markersize=4.0, label=label)
