"""The look of every figure: greys and one accent, shapes instead of colours, the same bytes from the same data.

All functions of this folder take tables or frozen results and return an SVG document as text; text is drawn as
outlines, so no font is asked of the reader's machine.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from trials.words.language import current
from trials.words.numbers import point
from trials.words.system import scale_in_use

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure

INK = "#1c1c1c"
ACCENT = "#0f4c5c"
GREY = "#6f6f6f"
LIGHT = "#a9a9a9"
PALE = "#dcdcdc"
MARKERS = ("o", "s", "^", "D", "v", "p", "<", ">", "h", "X")
DASHES = ("-", "--", "-.", ":", (0, (5, 1)), (0, (3, 1, 1, 1)))
WIDTH_IN = 6.85
GOLDEN = 0.6180339887498949
"""The golden ratio less one: multiples of it fill a stretch evenly."""

_RC: Any = {  # the key type of the library lists every setting by name
    "text.color": ".15",
    "grid.color": ".8",
    "lines.solid_capstyle": "round",
    "patch.edgecolor": "w",
    "patch.force_edgecolor": True,
    "svg.hashsalt": "nozzle trials",
    "svg.fonttype": "path",
    "text.parse_math": False,
    "font.family": ["STIXGeneral", "DejaVu Sans"],
    "font.size": 9.5,
    "axes.labelsize": 9.5,
    "axes.titlesize": 9.5,
    "axes.titlelocation": "left",
    "axes.axisbelow": True,
    "axes.edgecolor": GREY,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.7,
    "axes.unicode_minus": False,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "hatch.linewidth": 0.35,
    "hatch.color": LIGHT,
    "legend.frameon": False,
    "legend.fontsize": 8.5,
}


@contextmanager
def canvas(
    height_in: float, rows: int = 1, columns: int = 1, width_in: float = WIDTH_IN, **grid: Any
) -> Iterator[tuple[Figure, Any]]:
    """A figure and its axes, (rows, columns) squeezed, in this project's look; sizes in inches."""
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with mpl.rc_context(_RC):
        figure = Figure(figsize=(width_in, height_in), layout="constrained")
        FigureCanvasSVG(figure)
        axes = figure.subplots(rows, columns, **grid)
        if current().decimal != ".":
            _write_in_language(figure)
        yield figure, axes


def _write_in_language(figure: Figure) -> None:
    """Numbers on the axes with the decimal sign of the language."""
    from matplotlib.ticker import ScalarFormatter

    class InLanguage(ScalarFormatter):
        def __call__(self, x: float, pos: int | None = None) -> str:
            return point(super().__call__(x, pos))

    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            axis.set_major_formatter(InLanguage())


def in_unit(axis: Axis, unit: str) -> None:
    """Ticks of an axis drawn in a kept unit, at round figures of the unit in use and named in it."""
    scale = scale_in_use(unit)
    if scale == 1.0:
        return
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    class Round(MaxNLocator):
        def tick_values(self, vmin: float, vmax: float) -> Sequence[float]:
            return [float(place) / scale for place in super().tick_values(vmin * scale, vmax * scale)]

    axis.set_major_locator(Round(nbins=6, steps=[1, 2, 2.5, 5, 10]))
    axis.set_major_formatter(FuncFormatter(lambda value, _: point(f"{value * scale:.6g}")))


def svg(figure: Figure) -> str:
    """The figure as SVG text, without date or creator, so that equal figures are equal bytes."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    for axes in figure.axes:
        axes.spines[["top", "right"]].set_visible(False)
    stream = io.StringIO()
    write: Callable[..., None] = FigureCanvasSVG(figure).print_svg  # savefig would draw everything twice
    write(stream, metadata={"Date": None, "Creator": None})
    return stream.getvalue()


def marker(position: int) -> str:
    """Marker shape of the nozzle type at this position in the trial file."""
    return MARKERS[position % len(MARKERS)]


def dash(position: int) -> Any:
    """Line pattern of the nozzle type at this position in the trial file."""
    return DASHES[position % len(DASHES)]


def jitter(count: int, width: float) -> npt.NDArray[np.float64]:
    """Offsets (count,) within +-width that spread marks evenly and are the same each time (golden-ratio steps)."""
    steps: npt.NDArray[np.float64] = np.modf(np.arange(1, count + 1) * GOLDEN)[0]
    return width * (2.0 * steps - 1.0)


@cache
def _known() -> frozenset[int]:
    from matplotlib import font_manager

    return frozenset(font_manager.get_font(font_manager.findfont("DejaVu Sans")).get_charmap())


def drawn(text: object, limit: int = 40) -> str:
    """Text as a figure can draw it: a character the font lacks becomes its code point, a long text is cut short."""
    plain = "".join(
        c if ord(c) in _known() else f"[U+{ord(c):04X}]" for c in " ".join(str(text).split()) if c.isprintable()
    )
    return plain if len(plain) <= limit else f"{plain[: limit - 1]}…"


def wrapped(text: object, width: int = 20, lines: int = 3) -> str:
    """Text in short lines for an axis label; what does not fit in `lines` is cut short."""
    import textwrap

    parts = textwrap.wrap(drawn(text, limit=width * lines), width) or [""]
    return "\n".join(parts[:lines])


def empty(axes: Axes, words: str) -> None:
    """Say in the middle of empty axes why nothing is drawn."""
    axes.set_axis_off()
    axes.text(0.5, 0.5, words, ha="center", va="center", transform=axes.transAxes, color=GREY)


def span(values: Sequence[float] | npt.NDArray[np.float64], share: float = 0.06) -> tuple[float, float]:
    """Lowest and highest finite value with a margin; (0, 1) if there is none."""
    finite = np.asarray(values, dtype=float)
    finite = finite[np.isfinite(finite)]
    if finite.size == 0:
        return 0.0, 1.0
    low, high = float(finite.min()), float(finite.max())
    room = share * (high - low) if high > low else max(abs(high), 1.0) * share
    return low - room, high + room
