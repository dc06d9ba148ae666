"""The rows of the day page stacked on one time axis, UTC below and local time above."""

import datetime as dt
import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter
from numpy.typing import ArrayLike, NDArray

from lodewalk.figures.day_records import HATCHES, LOOKS, FieldDay
from lodewalk.figures.style import (
    PAGE_WIDTH_MM,
    QUIET,
    SMALL_PT,
    axes_mm,
    text_width_mm,
    wrapped,
)

LEFT_MM, RIGHT_MM = 22.0, 5.0
WIDTH_MM = PAGE_WIDTH_MM - LEFT_MM - RIGHT_MM
GAP_MM, LOCAL_MM = 2.0, 9.0
_STEPS_S = (60, 120, 300, 600, 900, 1800, 3600, 7200, 10800)


@dataclass(frozen=True)
class Row:
    """One row of the page: its name, its height in millimetres, and who draws it."""

    gid: str
    height_mm: float
    draw: Callable[[Axes], None]


def axis_height_mm(day: FieldDay) -> float:
    """Return the room for the hours below the rows; a second line of dates where it changes."""
    return 8.0 if _dates_change(day) else 5.0


def stack(figure: Figure, rows: Sequence[Row], day: FieldDay, *, top_mm: float) -> float:
    """Draw the rows downwards from a height and return the height of their lower end."""
    at, made = top_mm, []
    for row in rows:
        at -= row.height_mm
        axes = axes_mm(figure, LEFT_MM, at, WIDTH_MM, row.height_mm, gid=row.gid)
        row.draw(axes)
        axes.set_xlim(*day.window)
        made.append(axes)
        at -= GAP_MM
    _time_axes(made, day)
    return at + GAP_MM


def per_mm(day: FieldDay) -> float:
    """Return how many seconds a millimetre of the page stands for."""
    return (day.window[1] - day.window[0]) / WIDTH_MM


def clipped(day: FieldDay, start: ArrayLike, end: ArrayLike) -> NDArray[np.float64]:
    """Return begin and width of stretches held inside the window, half a millimetre at least."""
    first, last = np.clip(start, *day.window), np.clip(end, *day.window)
    width = np.maximum(last - first, 0.5 * per_mm(day))
    return np.column_stack((np.minimum(first, day.window[1] - width), width))


def boxes(axes: Axes, spans: NDArray[np.float64], look: str, bottom: float, height: float) -> None:
    """Draw stretches of time (begin, width) in the colour and hatch of a verdict or severity."""
    mark = LOOKS[look]
    axes.broken_barh(
        list(map(tuple, spans.tolist())),
        (bottom, height),
        facecolor=mark.tint,
        edgecolor=mark.colour,
        hatch=HATCHES.get(look),
        linewidth=0.3,
    )


def row_label(axes: Axes, text: str, *, lines: int = 2, at: float = 0.5) -> None:
    """Write the name of a row to its left."""
    words = wrapped(text, LEFT_MM - 5, size_pt=SMALL_PT, most=lines)
    axes.annotate(
        "\n".join(words),
        (0, at),
        xycoords="axes fraction",
        xytext=(-4, 0),
        textcoords="offset points",
        ha="right",
        va="center",
        fontsize=SMALL_PT,
    )


def value_label(axes: Axes, text: str) -> None:
    """Write the quantity of a row along its left side, at the same place in every row."""
    axes.set_ylabel(text)
    axes.yaxis.set_label_coords((5.5 - LEFT_MM) / WIDTH_MM, 0.5)


@functools.lru_cache(maxsize=1024)
def small_mm(text: str) -> float:
    """Return the printed width of small text [mm]."""
    return text_width_mm(text, size_pt=SMALL_PT)


def fits(text: str, room_s: float, day: FieldDay) -> bool:
    """Tell whether small text with a margin fits a stretch of time."""
    return (small_mm(text) + 1.2) * per_mm(day) <= room_s


def _dates_change(day: FieldDay) -> bool:
    """Tell whether the UTC date changes within the window."""
    first, last = (day.moment(seconds).date() for seconds in day.window)
    return first != last


def _ticks(day: FieldDay) -> NDArray[np.float64]:
    """Return round hours or minutes of UTC within the window."""
    low, high = (day.begin + edge for edge in day.window)
    step = next((s for s in _STEPS_S if (high - low) / s <= 12), _STEPS_S[-1])
    return np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step - day.begin


def _labels(day: FieldDay, ticks: NDArray[np.float64], zone: dt.tzinfo) -> list[str]:
    """Return the time at each tick, with the date below where it changes."""
    moments = [day.moment(tick, zone) for tick in ticks]
    below = "\n " if _dates_change(day) else ""
    labels, known = [], None
    for moment in moments:
        date = f"\n{moment.day} {moment:%b}" if below and moment.date() != known else below
        known = moment.date()
        labels.append(f"{moment:%H:%M}{date}")
    return labels


def _time_axes(rows: list[Axes], day: FieldDay) -> None:
    """Write UTC below the last row and local time above the first."""
    ticks = _ticks(day)
    for axes in rows:
        axes.xaxis.set_major_locator(FixedLocator(ticks.tolist()))
        axes.tick_params(axis="x", bottom=axes is rows[-1], labelbottom=False)
        axes.grid(axis="x", color="#dddddd", linewidth=0.3, zorder=0)
        axes.set_axisbelow(True)
    last = rows[-1]
    last.tick_params(axis="x", labelbottom=True)
    words = dict(zip(ticks.tolist(), _labels(day, ticks, dt.UTC), strict=True))
    last.xaxis.set_major_formatter(FuncFormatter(lambda value, _: words.get(value, "")))
    _beside(last, "UTC", at=0.0, points=-8.5)
    if day.zone is dt.UTC or day.zone_name == "UTC":
        return
    top = rows[0].secondary_xaxis("top")
    top.xaxis.set_major_locator(FixedLocator(ticks.tolist()))
    hours = {tick: f"{day.moment(tick, day.zone):%H:%M}" for tick in ticks.tolist()}
    top.xaxis.set_major_formatter(FuncFormatter(lambda value, _: hours.get(value, "")))
    _beside(rows[0], "local time", at=1.0, points=9.0)


def _beside(axes: Axes, text: str, *, at: float, points: float) -> None:
    """Write which time it is to the left of the hours."""
    axes.annotate(
        text,
        (0, at),
        xycoords="axes fraction",
        xytext=(-12, points),
        textcoords="offset points",
        ha="right",
        va="center",
        fontsize=SMALL_PT,
        color=QUIET,
    )
