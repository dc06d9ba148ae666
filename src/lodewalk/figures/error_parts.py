"""Which part of the error is the largest where: the lines walked, in the colour of that part."""

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.figures.field import outer_edges
from lodewalk.figures.map_frame import MapPlan, Window, begin_frame, finish_frame
from lodewalk.figures.passages import passages, with_breaks
from lodewalk.figures.style import (
    MM_PER_INCH,
    SMALL_PT,
    TEXT_PT,
    canvas_mm,
    nice_step,
    number,
    styled,
)
from lodewalk.records.grid import Grid
from lodewalk.records.products import Readings

#: Name of each part in the budget, for print, and its colour: six of the eight that Okabe and Ito
#: (2008, "Color universal design") made for readers who see few colours.
PARTS: Final = {
    "sensor": ("Sensor", "#56B4E9"),
    "diurnal": ("Diurnal", "#0072B2"),
    "clock": ("Clock", "#CC79A7"),
    "position": ("Position", "#D55E00"),
    "heading": ("Heading", "#E69F00"),
    "level": ("Levelling", "#000000"),
}
#: Shortest piece of line that an eye tells from its neighbours; breadths of a line [mm].
_PIECE_MM, _THIN_MM, _THICK_MM = 0.7, 0.5, 1.1
#: Part of the ground between two lines that the line itself may cover.
_COVER = 0.35
_ROW_MM = 5.2

Floats = NDArray[np.float64]


@styled
def draw_error_parts(
    readings: Readings,
    *,
    budget: Mapping[str, Any],
    title: str,
    crs_title: str,
    convergence_deg: float,
    declination_deg: float | None,
    grid: Grid | None = None,
) -> Figure:
    """Draw the lines walked in the colour of the part that makes most of the error there.

    Parameters
    ----------
    readings : Readings
        Those kept with an error are drawn; short pieces of line, 0.7 mm on paper or a little more,
        have one colour each.
    budget : mapping
        The product ``budget``: ``parts``, each with ``part``, ``median_nT`` and
        ``share_of_variance``.
    title, crs_title : str
        Title of the map and the words for its coordinate reference system.
    convergence_deg : float
        Angle from true to grid north, clockwise [degrees].
    declination_deg : float or None
        Angle from true to magnetic north, clockwise [degrees]; None where it is not known.
    grid : Grid, optional
        Its ground is shown, so that maps lie side by side (default: the ground of the readings).

    Returns
    -------
    Figure
        At most 180 mm wide.

    Raises
    ------
    InputError
        When no line has two readings with an error.

    Examples
    --------
    >>> draw_error_parts(Readings.empty(), budget={"parts": []}, title="Hill", crs_title="UTM",
    ...                  convergence_deg=0.4, declination_deg=None)
    Traceback (most recent call last):
    lodewalk.errors.InputError: No line has two readings with an error. Run the corrections first.
    """
    variance = variances(readings)
    walked = _walked(readings, variance)
    if not walked:
        raise InputError(
            "No line has two readings with an error.", remedy="Run the corrections first."
        )
    place = np.column_stack((readings.floats("easting_m"), readings.floats("northing_m")))
    edges = outer_edges(grid) if grid is not None else _edges(place[np.concatenate(walked)])
    figure, axes, plan = begin_frame(edges, title)
    piece_m = nice_step(_PIECE_MM / plan.mm_per_m)
    runs = [run for rows in walked for run in runs_of(place[rows], variance[rows], piece_m)]
    _paint(axes, plan, runs)
    used = readings.booleans("kept") & np.isfinite(readings.floats("anomaly_nT"))
    texts = [
        crs_title,
        f"Each {number(piece_m, 1 if piece_m < 1 else 0)} m of line has the colour of the part "
        "with the largest share of its variance.",
    ]
    if (used & ~np.isfinite(variance).all(axis=1)).any() or not used.all():
        texts.append("Left out: readings without an error.")
    _key(figure, plan, budget)
    return finish_frame(
        axes, plan, texts=texts, convergence_deg=convergence_deg, declination_deg=declination_deg
    )


def variances(readings: Readings) -> Floats:
    """Return the variance of each part [nT2], shape (n, 6); NaN where a reading has no error.

    Examples
    --------
    >>> variances(Readings.empty()).shape
    (0, 6)
    """
    parts = np.column_stack([readings.floats(f"sd_{name}_nT") for name in PARTS]) ** 2
    told = readings.booleans("kept") & np.isfinite(readings.floats("anomaly_nT"))
    told &= np.isfinite(readings.floats("sd_nT"))
    parts = np.where(told[:, None], np.nan_to_num(parts), np.nan)
    return np.where(parts.sum(axis=1, keepdims=True) > 0, parts, np.nan)


def _walked(readings: Readings, variance: Floats) -> list[NDArray[np.intp]]:
    """Return the rows with an error of each passage that has two or more."""
    known = np.isfinite(variance[:, 0])
    found = [passage.rows[known[passage.rows]] for passage in passages(readings)]
    return [rows for rows in found if rows.size > 1]


def _edges(place: Floats) -> Window:
    """Return west, east, south and north of places, a metre apart or more [m]."""
    (west, south), (east, north) = place.min(axis=0), place.max(axis=0)
    more = max(0.5 - (east - west) / 2, 0.5 - (north - south) / 2, 0.0)
    return west - more, east + more, south - more, north + more


def runs_of(place: Floats, variance: Floats, piece_m: float) -> list[tuple[int, Floats]]:
    """Return the stretches of a passage that have one largest part.

    Parameters
    ----------
    place : array, shape (n, 2)
        Easting and northing along the walk [m].
    variance : array, shape (n, 6)
        Variance of each part [nT2].
    piece_m : float
        Length of the pieces whose variances are added up [m].

    Returns
    -------
    list of (int, array)
        Number of the part, and the points of the stretch; it reaches up to the next one, but not
        over a gap.

    Examples
    --------
    >>> east = np.column_stack((np.arange(6.0), np.zeros(6)))
    >>> parts = np.array([[4.0, 1.0]] * 2 + [[1.0, 2.0]] * 4)
    >>> [(part, points[:, 0].tolist()) for part, points in runs_of(east, parts, 2.0)]
    [(0, [0.0, 1.0, 2.0]), (1, [2.0, 3.0, 4.0, 5.0])]
    """
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(place, axis=0).T))))
    piece = np.floor(along / piece_m + 1e-9).astype(int)
    first = np.flatnonzero(np.diff(piece, prepend=-1))
    largest = np.add.reduceat(variance, first, axis=0).argmax(axis=1)
    part = np.repeat(largest, np.diff(first, append=along.size))
    broken = _after_gaps(along)
    start = np.flatnonzero(np.diff(part, prepend=-1).astype(bool) | broken)
    runs = []
    for begin, end in zip(start, [*start[1:], along.size], strict=True):
        reaches = end < along.size and not broken[end]
        runs.append((int(part[begin]), place[begin : end + 1 if reaches else end]))
    return [(number_, points) for number_, points in runs if len(points) > 1]


def _after_gaps(along: Floats) -> NDArray[np.bool_]:
    """Return which points come first after a gap."""
    (broken,) = with_breaks(along)
    gaps = np.flatnonzero(np.isnan(broken))
    after = np.zeros(along.size, dtype=bool)
    after[gaps - np.arange(gaps.size)] = True
    return after


def _paint(axes: Axes, plan: MapPlan, runs: list[tuple[int, Floats]]) -> None:
    """Draw the stretches as broad as the distance between lines allows."""
    length = sum(float(np.hypot(*np.diff(points, axis=0).T).sum()) for _, points in runs)
    area_mm2 = float(np.prod(plan.map_size))
    between = area_mm2 / max(length * plan.mm_per_m, 1.0)
    breadth = float(np.clip(_COVER * between, _THIN_MM, _THICK_MM))
    colours = [colour for _, colour in PARTS.values()]
    axes.add_collection(
        LineCollection(
            [points for _, points in runs],
            colors=[colours[part] for part, _ in runs],
            linewidths=breadth * 72 / MM_PER_INCH,
            capstyle="butt",
        ),
        autolim=False,
    )


def _key(figure: Figure, plan: MapPlan, budget: Mapping[str, Any]) -> None:
    """Write what each colour is, with its share of the variance and its median."""
    rows = {row["part"]: row for row in budget["parts"]}
    left, height = plan.colour_bar["left_mm"], plan.colour_bar["height_mm"] + 14
    axes = canvas_mm(figure, left, plan.colour_bar["bottom_mm"] - 8, 44, height + 8)
    axes.text(0, height, "Largest part of the error", fontsize=TEXT_PT, weight="bold")
    top = height - 5
    for right, words in ((31, "share"), (43, "median")):
        axes.text(right, top, words, fontsize=SMALL_PT, ha="right")
    for right, words in ((31, "[%]"), (43, "[nT]")):
        axes.text(right, top - 3.4, words, fontsize=SMALL_PT, ha="right")
    for place, (name, (word, colour)) in enumerate(PARTS.items()):
        low = top - 4.2 - (place + 1) * _ROW_MM
        axes.add_patch(Rectangle((0, low), 5, 2.6, facecolor=colour, edgecolor="none"))
        axes.text(6.5, low + 0.3, word, fontsize=SMALL_PT)
        row = rows.get(name, {})
        share, median = row.get("share_of_variance"), row.get("median_nT")
        texts = "–" if share is None else number(100 * share, 1), _median(median)
        for right, text in zip((31, 43), texts, strict=True):
            axes.text(right, low + 0.3, text, fontsize=SMALL_PT, ha="right")
    axes.text(0, low - _ROW_MM, "share of variance and median", fontsize=SMALL_PT)
    axes.text(0, low - _ROW_MM - 3.3, "over all readings used", fontsize=SMALL_PT)


def _median(value: float | None) -> str:
    """Return a median for print, a dash where it is missing."""
    return "–" if value is None else number(value, 3 if value < 0.01 else 2)
