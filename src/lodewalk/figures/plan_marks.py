"""Lines, points and names on the map of a plan; a name that finds no room is left out and told."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke
from numpy.typing import NDArray

from lodewalk.figures.style import INK, QUIET, SMALL_PT, text_width_mm
from lodewalk.records.planning import walked

Floats = NDArray[np.float64]
#: Height of a line of small text, and the distance of a name from what it names [mm].
_HEIGHT, _OFF = 2.7, 1.4
#: How far out a name is tried where there is no room beside what it names [mm].
_BEYOND: Final = (0.0, 16.0, 32.0, 7.0, 24.0)

#: Marker, fill and size of each kind of point.
POINTS: Final[Mapping[str, tuple[str, str, float]]] = {
    "base": ("^", INK, 7.0),
    "other base": ("^", "white", 6.0),
    "check station": ("D", "white", 5.0),
    "turns": ("s", "white", 5.0),
    "start": ("o", "white", 3.0),
    "end": ("o", INK, 2.0),
    "on line": ("+", INK, 3.0),
}


@dataclass
class Names:
    """Names on a map that keep off one another.

    Parameters
    ----------
    axes : Axes
        The map.
    mm_per_m : float
        Its scale.
    """

    axes: Axes
    mm_per_m: float
    taken: list[Floats] = field(default_factory=list)

    def put(
        self, text: str, place: Floats, toward_deg: float, *, upright: bool = False,
        bold: bool = False, colour: str = INK, beyond_mm: float = 0.0,
    ) -> bool:  # fmt: skip
        """Write a name beside a place, away from it in a direction; tell whether there was room.

        Parameters
        ----------
        text : str
            The name.
        place : array, shape (2,)
            Easting and northing [m].
        toward_deg : float
            Azimuth in which it leads away from the place [degrees].
        upright : bool
            Whether it is written level; otherwise along the direction.
        beyond_mm : float
            How much farther away it stands, at the end of a thin line [mm].
        """
        weight = "bold" if bold else "normal"
        width = text_width_mm(text, size_pt=SMALL_PT, weight=weight) + 0.6
        angle = np.radians(90.0 - toward_deg)
        along = np.array([np.cos(angle), np.sin(angle)])
        lean = np.array([1.0, 0.0]) if upright else along
        reach = abs(lean @ along) * width / 2 + _OFF + (_HEIGHT / 2 if upright else 0) + beyond_mm
        middle = place * self.mm_per_m + along * reach
        cover = _cover(middle, lean, width)
        if not (self._inside(cover) and self._free(cover)):
            return False
        self.taken.append(cover)
        if beyond_mm:
            self._lead(place, place + along * beyond_mm / self.mm_per_m)
        turn = 0.0 if upright else (np.degrees(angle) + 90.0) % 180.0 - 90.0
        east, north = middle / self.mm_per_m
        self.axes.text(
            east, north, text, ha="center", va="center_baseline" if upright else "center",
            rotation=turn, rotation_mode="anchor", fontsize=SMALL_PT, weight=weight, color=colour,
            zorder=9, path_effects=[withStroke(linewidth=1.6, foreground="white")],
        )  # fmt: skip
        return True

    def put_anyhow(
        self, text: str, ends: Sequence[tuple[Floats, float]], *, bold: bool = False,
        colour: str = INK,
    ) -> bool:  # fmt: skip
        """Write a name at the first end, else the second, else farther out; tell whether it fits.

        Parameters
        ----------
        text : str
            The name.
        ends : sequence of (array, float)
            Place [m] and azimuth away from it [degrees].
        """
        return any(
            self.put(text, place, toward, bold=bold, colour=colour, beyond_mm=beyond)
            for beyond in _BEYOND
            for place, toward in ends
        )

    def _lead(self, start: Floats, end: Floats) -> None:
        """Draw a thin line that leads to a name."""
        self.axes.plot(*np.array([start, end]).T, color=QUIET, lw=0.4, zorder=6)

    def keep_off(self, places: Iterable[Floats]) -> None:
        """Keep names off places, easting and northing [m]."""
        self.taken += [np.array([place * self.mm_per_m]) for place in places]

    def _inside(self, cover: Floats) -> bool:
        """Tell whether a name lies on the map."""
        low = np.array([self.axes.get_xlim()[0], self.axes.get_ylim()[0]]) * self.mm_per_m
        high = np.array([self.axes.get_xlim()[1], self.axes.get_ylim()[1]]) * self.mm_per_m
        rim = _HEIGHT / 2
        return bool((cover >= low + rim).all() and (cover <= high - rim).all())

    def _free(self, cover: Floats) -> bool:
        """Tell whether a name lies off all others."""
        if not self.taken:
            return True
        taken = np.concatenate(self.taken)
        away = np.hypot(*(cover[:, None, :] - taken[None, :, :]).transpose(2, 0, 1))
        return bool(away.min() >= _HEIGHT)


def _cover(middle: Floats, lean: Floats, width: float) -> Floats:
    """Return the middles of the discs that cover a line of text [mm]."""
    half = max(width / 2 - _HEIGHT / 4, 0.0)
    count = max(2, int(np.ceil(2 * half / (_HEIGHT / 2))) + 1)
    return middle + np.linspace(-half, half, count)[:, None] * lean


def paint_arrow(axes: Axes, row: Mapping[str, Any], mm_per_m: float, colour: str) -> None:
    """Draw the direction of walking in the middle of a piece."""
    east_1, north_1, east_2, north_2 = walked(row)
    start, end = np.array([east_1, north_1]), np.array([east_2, north_2])
    length = float(np.hypot(*(end - start)))
    if length * mm_per_m < 4:
        return
    along = (end - start) / length
    across = np.array([-along[1], along[0]])
    tip = (start + end) / 2 + along * 1.4 / mm_per_m
    foot = tip - along * 2.8 / mm_per_m
    wing = across * 0.9 / mm_per_m
    axes.fill(*np.array([tip, foot + wing, foot - wing]).T, color=colour, lw=0, zorder=6)


def paint_points(axes: Axes, rows: Iterable[Mapping[str, Any]]) -> None:
    """Draw the mark of each point."""
    for row in rows:
        marker, fill, size = POINTS.get(row["kind"], ("P", "white", 5.0))
        axes.plot(
            row["easting_m"], row["northing_m"], marker=marker, mfc=fill, mec=INK, mew=0.8, ms=size,
            ls="none", zorder=8 if size > 4 else 7,
        )  # fmt: skip


def name_points(names: Names, rows: Iterable[Mapping[str, Any]]) -> list[str]:
    """Write the names of points beside them where there is room; return those left out."""
    left_out = []
    for row in rows:
        place = np.array([row["easting_m"], row["northing_m"]])
        ways = (90.0, 270.0, 0.0, 180.0, 45.0, 135.0, 225.0, 315.0)
        if not any(names.put(row["name"], place, way, upright=True, bold=True) for way in ways):
            left_out.append(row["name"])
    return left_out
