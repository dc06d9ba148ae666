"""Contours of a grid, by contourpy."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Contours:
    """Pieces of contours one after another.

    `places` holds column and row as fractions, shape (n, 2); piece k are the places from
    ``starts[k]`` to ``starts[k + 1]`` and stands at ``levels[k]``.
    """

    places: NDArray[np.float64]
    starts: NDArray[np.int32]
    levels: NDArray[np.float64]


def contours(values: NDArray[np.float64], levels: NDArray[np.float64]) -> Contours:
    """Return where a grid, linear along the edges of its cells, takes each level.

    Parameters
    ----------
    values : array, shape (n_north, n_east)
        NaN where there is none; contours end there.
    levels : array, shape (n,)
        Values to follow.

    Returns
    -------
    Contours

    Examples
    --------
    >>> found = contours(np.array([[0.0, 1.0], [0.0, 1.0]]), np.array([0.25]))
    >>> found.places.tolist(), found.starts.tolist()
    ([[0.25, 1.0], [0.25, 0.0]], [0, 2])
    """
    from contourpy import contour_generator

    made = contour_generator(z=np.ma.masked_invalid(values), line_type="Separate")
    pieces, heights = [], []
    for level in levels:
        for piece in made.lines(float(level)):
            pieces.append(np.asarray(piece, dtype=np.float64))
            heights.append(float(level))
    ends = np.cumsum([0, *(len(piece) for piece in pieces)])
    places = np.concatenate(pieces) if pieces else np.empty((0, 2))
    return Contours(places, ends.astype(np.int32), np.array(heights))
