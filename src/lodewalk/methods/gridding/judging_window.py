"""Readings on a coarse grid, where settings of a surface are judged by what is left out."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.checks.spans import BoolArray
from lodewalk.validation import FloatArray

#: Nodes of the grid in a line spacing.
NODES_BETWEEN: Final = 4
#: Fewer left-out readings than this tell nothing.
LEAST: Final = 20


@dataclass(frozen=True)
class Window:
    """Readings in grid spacings of a coarse grid, the grid's size, and which readings those are."""

    column: FloatArray
    row: FloatArray
    value: FloatArray
    weight: FloatArray
    lines: NDArray[np.int64]
    pieces: NDArray[np.int64]
    shape: tuple[int, int]
    spacing_m: float
    inside: BoolArray


def can_be_left_out(fold: NDArray[np.int64]) -> bool:
    """Tell whether enough readings lie in two folds or more.

    Examples
    --------
    >>> can_be_left_out(np.repeat([0, 1, -1], 10)), can_be_left_out(np.zeros(50, int))
    (True, False)
    """
    held = fold[fold >= 0]
    return held.size >= LEAST and len(np.unique(held)) > 1


def judging_window(
    columns: list[FloatArray],
    folds: list[NDArray[np.int64]],
    line_spacing_m: float,
    *,
    most_nodes: int,
) -> Window:
    """Return the readings on a coarse grid, those near the middle where there are many nodes.

    Parameters
    ----------
    columns : list of four arrays, shape (n,)
        Easting [m], northing [m], value and sd.
    folds : list of two int arrays, shape (n,)
        Folds of lines and of pieces.
    line_spacing_m : float
        Distance between lines [m].
    most_nodes : int
        Larger grids are cut to a square round the middle.

    Returns
    -------
    Window

    Examples
    --------
    >>> axis = np.arange(0.0, 41, 5)
    >>> judging_window([axis, axis, axis, np.ones(9)], [np.zeros(9, int)] * 2, 20.0,
    ...                most_nodes=100).shape
    (9, 9)
    """
    east, north, value, sd = columns
    spacing = line_spacing_m / NODES_BETWEEN
    side = np.sqrt(most_nodes) * spacing
    inside = np.ones(east.shape, dtype=bool)
    if np.ptp(east) * np.ptp(north) > side**2:
        middle = np.argmin(np.hypot(east - np.median(east), north - np.median(north)))
        short = max(min(np.ptp(east), np.ptp(north)), line_spacing_m)
        rooms = [min(float(np.ptp(axis)), side**2 / min(short, side)) for axis in (east, north)]
        for axis, room in zip((east, north), rooms, strict=True):
            inside &= np.abs(axis - axis[middle]) <= max(room, side) / 2
    east, north, value, sd = (part[inside] for part in (east, north, value, sd))
    column, row = (east - east.min()) / spacing, (north - north.min()) / spacing
    shape = int(np.ceil(row.max())) + 1, int(np.ceil(column.max())) + 1
    weight = np.median(sd) ** 2 / sd**2
    own = [fold[inside] for fold in folds]
    return Window(column, row, value, weight, own[0], own[1], shape, spacing, inside)
