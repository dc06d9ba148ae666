"""Rows of the day page about the rovers: when each line was walked, and its verdict."""

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from lodewalk.figures.day_axes import boxes, clipped, fits, per_mm, row_label, small_mm
from lodewalk.figures.day_records import LOOKS, FieldDay, Walk
from lodewalk.figures.style import QUIET, SMALL_PT

_BAR_MM, _FLAT_MM, _LONGEST_MM = 4.5, 3.6, 15.0
#: Room that a name on end takes along the axis [mm].
_PITCH_MM = 2.8
#: Names beyond those that fit below the bars; more would stand too far from theirs.
_MORE_NAMES = 6
#: Room for the strokes from bars to names that had to make way [mm].
_STROKE_MM = 2.2
_RANK = {"re-walk": 0, "doubt": 1}


def walks_of(day: FieldDay, rover: str) -> list[Walk]:
    """Return the walks of one rover."""
    return [walk for walk in day.walks if walk.rover == rover]


def walks_height_mm(day: FieldDay, rover: str) -> float:
    """Return the height of a rover's row: the bar, and its names flat or on end."""
    walks = walks_of(day, rover)
    if _flat(day, walks):
        return _BAR_MM + _FLAT_MM
    longest = max(small_mm(walk.line) for walk in walks)
    stroke = _STROKE_MM if _moved(day, _named(day, walks)) else 0.0
    return _BAR_MM + stroke + min(longest, _LONGEST_MM) + 1.2


def _middle(walk: Walk) -> float:
    """Return the middle of a walk."""
    return (walk.start + walk.end) / 2


def _flat(day: FieldDay, walks: list[Walk]) -> bool:
    """Tell whether all names fit side by side."""
    reached = day.window[0]
    for walk in sorted(walks, key=_middle):
        half = (small_mm(walk.line) + 1.5) / 2 * per_mm(day)
        if _middle(walk) - half < reached:
            return False
        reached = _middle(walk) + half
    return reached <= day.window[1]


def draw_walks(axes: Axes, day: FieldDay, rover: str) -> None:
    """Draw when each line was walked; the gravest are named first where names would overlap."""
    walks = walks_of(day, rover)
    height = walks_height_mm(day, rover)
    names = height - _BAR_MM
    for look in LOOKS:
        mine = [walk for walk in walks if walk.verdict == look]
        if mine:
            spans = clipped(day, [w.start for w in mine], [w.end for w in mine])
            boxes(axes, spans, look, names, _BAR_MM)
            _sign(axes, day, spans.tolist(), look, names + 0.46 * _BAR_MM)
    flat = _flat(day, walks)
    chosen = walks if flat else _named(day, walks)
    if flat:
        for walk in chosen:
            _name(axes, walk, _middle(walk), names - 0.5, rotation=0)
    else:
        _names_on_end(axes, day, chosen, names)
    left_out = len(walks) - len(chosen)
    axes.set(ylim=(0, height), yticks=[])
    for side in ("left", "right", "bottom", "top"):
        axes.spines[side].set_visible(False)
    more = f" ({left_out} not named)" if left_out else ""
    row_label(axes, f"Lines, {rover}{more}", lines=3, at=0.5 if not flat else 0.6)


def _sign(axes: Axes, day: FieldDay, spans: list[list[float]], look: str, at: float) -> None:
    """Write the sign of a verdict into the bars that have room."""
    mark = LOOKS[look]
    for start, width in spans:
        if mark.sign and fits(mark.sign, width + 1.1 * per_mm(day), day):
            axes.text(
                start + width / 2,
                at,
                mark.sign,
                ha="center",
                va="center",
                fontsize=SMALL_PT,
                color=mark.colour,
                bbox={"facecolor": mark.tint, "edgecolor": "none", "pad": 0.2},
            )


def _named(day: FieldDay, walks: list[Walk]) -> list[Walk]:
    """Return the walks whose names have room on end, in order of time; the gravest come first."""
    pitch = _PITCH_MM * per_mm(day)
    walked = (max(walk.end for walk in walks) - min(walk.start for walk in walks)) / pitch
    most = min(int(walked) + _MORE_NAMES, int((day.window[1] - day.window[0]) / pitch))
    chosen = sorted(walks, key=lambda walk: (_RANK.get(walk.verdict, 2), walk.start))[:most]
    return sorted(chosen, key=_middle)


def _places(day: FieldDay, walks: list[Walk]) -> NDArray[np.float64]:
    """Return where names on end stand: apart, in order, and as near to their bars as can be."""
    pitch = _PITCH_MM * per_mm(day)
    steps = np.arange(len(walks)) * pitch
    middles = np.array([_middle(walk) for walk in walks])
    low, high = day.window[0] + pitch / 2, day.window[1] - pitch / 2
    return np.clip(_in_order(middles - steps), low, high - steps[-1]) + steps


def _in_order(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the values nearest in least squares that never decrease (pooled neighbours)."""
    pools: list[tuple[float, int]] = []
    for value in values.tolist():
        mean, count = value, 1
        while pools and pools[-1][0] > mean:
            other, size = pools.pop()
            mean, count = (mean * count + other * size) / (count + size), count + size
        pools.append((mean, count))
    return np.repeat([mean for mean, _ in pools], [count for _, count in pools])


def _moved(day: FieldDay, walks: list[Walk]) -> bool:
    """Tell whether a name stands away from its bar."""
    middles = np.array([_middle(walk) for walk in walks])
    return bool(np.any(np.abs(_places(day, walks) - middles) > 0.5 * per_mm(day)))


def _names_on_end(axes: Axes, day: FieldDay, walks: list[Walk], top: float) -> None:
    """Write names on end below the bars, with strokes to those that had to make way."""
    places = _places(day, walks)
    moved = _moved(day, walks)
    lower = top - (_STROKE_MM if moved else 0.0)
    for walk, place in zip(walks, places.tolist(), strict=True):
        if moved:
            axes.plot([_middle(walk), place], [top, lower], color=QUIET, linewidth=0.35)
        _name(axes, walk, place, lower - 0.5, rotation=90)


def _short(name: str) -> str:
    """Take letters out of the middle of a name until it fits; its end tells it from others."""
    tail = name[3:]
    short = name
    while small_mm(short) > _LONGEST_MM:
        tail = tail[max(1, len(tail) - 40) :]
        short = f"{name[:3]}…{tail}"
    return short


def _name(axes: Axes, walk: Walk, place: float, top: float, *, rotation: int) -> None:
    """Write the name of a line, in the colour of its verdict where that is grave."""
    name = walk.line
    if rotation:
        name = _short(name)
    axes.text(
        place,
        top,
        name,
        rotation=rotation,
        ha="center",
        va="top",
        fontsize=SMALL_PT,
        color=LOOKS[walk.verdict].colour if walk.verdict in _RANK else QUIET,
    )
