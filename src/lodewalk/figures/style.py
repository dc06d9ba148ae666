"""The look of every figure: type sizes, colours, and placing things in millimetres.

Matplotlib's settings are global, so figures are drawn and saved one at a time under a lock, with
its defaults and the few settings below; afterwards the caller's settings are back in place.
"""

import functools
import itertools
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Final, ParamSpec, TypeVar

import matplotlib.style
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.text import Text
from matplotlib.textpath import TextToPath
from numpy.typing import ArrayLike, NDArray

MM_PER_INCH: Final = 25.4
#: Width that fits between the margins of an A4 page.
PAGE_WIDTH_MM: Final = 180.0

SMALL_PT: Final = 7.0
TEXT_PT: Final = 7.5
TITLE_PT: Final = 10.0

INK: Final = "#1a1a1a"
QUIET: Final = "#595959"
RULE: Final = "#bdbdbd"
CURVE: Final = "#0b4f8a"
FILL: Final = "#c1532d"

_SETTINGS: Final[dict[str, Any]] = {
    "font.family": ["DejaVu Sans"],
    "font.size": TEXT_PT,
    "axes.titlesize": TEXT_PT,
    "axes.labelsize": TEXT_PT,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.6,
    "axes.formatter.useoffset": False,
    "text.color": INK,
    "text.parse_math": False,  # a survey's name may hold a dollar sign
    "xtick.labelsize": SMALL_PT,
    "ytick.labelsize": SMALL_PT,
    "xtick.major.size": 2.5,
    "ytick.major.size": 2.5,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "legend.fontsize": SMALL_PT,
    "hatch.linewidth": 0.4,
    "pdf.fonttype": 42,
    "svg.hashsalt": "lodewalk",
}
_P = ParamSpec("_P")
_R = TypeVar("_R")
_LOCK = threading.RLock()
_MEASURE = TextToPath()


@dataclass(frozen=True)
class Mark:
    """How a verdict or a severity shows: sign, word, colour for text and tint for areas."""

    sign: str
    word: str
    colour: str
    tint: str


MARKS: Final = {
    mark.word: mark
    for mark in (
        Mark("✓", "keep", "#00577d", "#d9ecf5"),
        Mark("?", "doubt", "#7a4d00", "#fbe3b0"),
        Mark("✗", "re-walk", "#9b1c1c", "#f3c6c2"),
        Mark("✗", "loss", "#9b1c1c", "#f3c6c2"),
        Mark("i", "information", "#595959", "#e9e9e9"),
    )
}


@contextmanager
def drawing() -> Iterator[None]:
    """Hold the lock and the settings of all figures for the length of a block."""
    with _LOCK, matplotlib.style.context(["default", _SETTINGS]):
        yield


def styled(function: Callable[_P, _R]) -> Callable[_P, _R]:
    """Run a drawing function under `drawing`."""

    @functools.wraps(function)
    def wrapper(*args: _P.args, **kwargs: _P.kwargs) -> _R:
        with drawing():
            return function(*args, **kwargs)

    return wrapper


def new_figure(width_mm: float, height_mm: float) -> Figure:
    """Return an empty figure of a size in millimetres."""
    figure = Figure(figsize=(width_mm / MM_PER_INCH, height_mm / MM_PER_INCH), facecolor="white")
    FigureCanvasAgg(figure)
    return figure


def size_mm(figure: Figure) -> tuple[float, float]:
    """Return width and height of a figure [mm]."""
    width, height = figure.get_size_inches()
    return float(width * MM_PER_INCH), float(height * MM_PER_INCH)


def axes_mm(
    figure: Figure, left: float, bottom: float, width: float, height: float, **options: Any
) -> Axes:
    """Add axes at a place given in millimetres from the lower left corner."""
    full_width, full_height = size_mm(figure)
    place = (left / full_width, bottom / full_height, width / full_width, height / full_height)
    return figure.add_axes(place, **options)


def canvas_mm(figure: Figure, left: float, bottom: float, width: float, height: float) -> Axes:
    """Add axes without a frame whose coordinates are millimetres from their lower left corner."""
    axes = axes_mm(figure, left, bottom, width, height)
    axes.set(xlim=(0, width), ylim=(0, height))
    axes.axis("off")
    return axes


def text_mm(figure: Figure, left: float, bottom: float, text: str, **options: Any) -> Text:
    """Write text at a place given in millimetres from the lower left corner."""
    full_width, full_height = size_mm(figure)
    options.setdefault("fontsize", TEXT_PT)
    return figure.text(left / full_width, bottom / full_height, text, **options)


def heading(figure: Figure, title: str, *, left: float = 4.0, under: str = "") -> None:
    """Write the title, and a line of small text below it, at the top of a figure."""
    width, height = size_mm(figure)
    room = width - 2 * left
    title = wrapped(title, room, size_pt=TITLE_PT, weight="bold", most=1)[0]
    text_mm(figure, left, height - 6.5, title, fontsize=TITLE_PT, weight="bold")
    if under:
        text_mm(figure, left, height - 11, wrapped(under, room, most=1)[0], color=QUIET)


@functools.lru_cache(maxsize=8192)
def text_width_mm(text: str, *, size_pt: float = TEXT_PT, weight: str = "normal") -> float:
    """Return the printed width of one line of text [mm]."""
    font = FontProperties(family=["DejaVu Sans"], size=size_pt, weight=weight)
    width, _, _ = _MEASURE.get_text_width_height_descent(text, font, ismath=False)
    return float(width) / 72 * MM_PER_INCH


def wrapped(
    text: str,
    width_mm: float,
    *,
    size_pt: float = TEXT_PT,
    weight: str = "normal",
    most: int | None = None,
) -> list[str]:
    """Break text into lines that fit a width; cut after `most` lines with an ellipsis."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if not lines[-1] or text_width_mm(longer, size_pt=size_pt, weight=weight) <= width_mm:
            lines[-1] = longer
        else:
            lines.append(word)
    cut = most is not None and len(lines) > most
    lines = lines[:most] if cut else lines
    if cut:
        lines[-1] += " …"
    return [_shortened(line, width_mm, size_pt=size_pt, weight=weight) for line in lines]


def _shortened(line: str, width_mm: float, *, size_pt: float, weight: str) -> str:
    """Take letters off the end of a line until it fits."""
    if text_width_mm(line, size_pt=size_pt, weight=weight) <= width_mm:
        return line
    body = line.removesuffix("…").rstrip()
    while body and text_width_mm(f"{body}…", size_pt=size_pt, weight=weight) > width_mm:
        body = body[:-1].rstrip()
    return f"{body}…"


def number(value: float, decimals: int = 0, *, signed: bool = False) -> str:
    """Return a number with a true minus sign and no minus zero.

    Examples
    --------
    >>> number(-12.34, 1), number(-0.01), number(3.0, signed=True)
    ('−12.3', '0', '+3')
    """
    rounded = round(float(value), decimals) + 0.0
    return f"{rounded:{'+' if signed and rounded else ''}.{decimals}f}".replace("-", "−")


def decimals_for(step: float) -> int:
    """Return how many decimals a step of 1, 2, 2.5 or 5 times a power of ten needs.

    Examples
    --------
    >>> decimals_for(50), decimals_for(0.5), decimals_for(2.5)
    (0, 1, 1)
    """
    for decimals in range(7):
        if np.isclose(step, round(step, decimals), rtol=1e-9, atol=0):
            return decimals
    return 7


def nice_step(least: float, *, mantissas: Sequence[float] = (1, 2, 5)) -> float:
    """Return the smallest step of a round size that is not below `least`.

    Examples
    --------
    >>> nice_step(3.2), nice_step(0.011), nice_step(60.0)
    (5.0, 0.02, 100.0)
    """
    power = 10.0 ** np.floor(np.log10(least))
    for factor in (*mantissas, 10):
        if factor * power >= least * (1 - 1e-9):
            break
    return float(f"{factor * power:.12g}")


def multiples(low: float, high: float, step: float) -> NDArray[np.float64]:
    """Return the multiples of `step` from `low` to `high`, ends included."""
    first, last = np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9)
    return np.arange(first, last + 1) * step + 0.0


def thinned(
    along: ArrayLike, value: ArrayLike, *, bins: int = 2000
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Keep the least and the largest value of each bin, in order, so no peak is lost.

    A NaN, which breaks a curve, is kept as the break that it is.
    """
    x, y = np.asarray(along, dtype=float), np.asarray(value, dtype=float)
    if x.size <= 4 * bins:
        return x, y
    edges = np.linspace(0, x.size, bins + 1).astype(int)
    keep = np.zeros(x.size, dtype=bool)
    for start, stop in itertools.pairwise(edges):
        part = y[start:stop]
        missing = np.isnan(part)
        if not missing.all():
            keep[start + int(np.nanargmin(part))] = keep[start + int(np.nanargmax(part))] = True
        if missing.any():
            keep[start + int(np.argmax(missing))] = True
    keep[[0, -1]] = True
    return x[keep], y[keep]
