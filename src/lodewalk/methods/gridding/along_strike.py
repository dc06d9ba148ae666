"""Values between lines, carried along the strike, to be gridded with the readings."""

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.ndimage import map_coordinates

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import BoolArray
from lodewalk.methods.gridding.block_means import BlockMeans, block_means
from lodewalk.methods.gridding.line_profiles import IntArray, line_profiles
from lodewalk.methods.gridding.minimum_curvature import minimum_curvature
from lodewalk.methods.gridding.strike import carry_along_strike
from lodewalk.validation import FloatArray, check_positive

#: Samples of a profile in a line spacing.
SAMPLES: Final = 8
#: Less than this share of the readings' size in common carries nothing.
LEAST_COHERENCE: Final = 0.5
#: Strength 1 is a usual reading in each square of so small a part of the line spacing.
PART: Final = 4
#: Nodes in a line spacing of the grid of long waves, and its margin in nodes.
COARSE: Final = 2
MARGIN: Final = 2
#: Without noise the long waves would be all of the field; their own tolerance is beside it.
TOLERANCE: Final = 1e-5


@dataclass(frozen=True)
class AlongStrike:
    """How much, and which part, of the field is carried along the strike.

    Parameters
    ----------
    line : int array, shape (n,)
        Line of each reading, any numbers; below zero for one off the lines.
    line_spacing_m : float
        Distance between lines [m].
    strength : float
        Weight of carried values: 0 for none, 1 for as much as a usual reading in each square of a
        quarter line spacing.
    longest_m : float, optional
        Longest waves that are carried [m]; the rest of the field is left to minimum curvature
        (default: all are carried).

    Raises
    ------
    InputError
        For a spacing or longest wave not above zero, or a strength below zero.

    Examples
    --------
    >>> AlongStrike([0, 0, 1, 1], 20.0, strength=1.0).longest_m is None
    True
    """

    line: ArrayLike
    line_spacing_m: float
    strength: float = 0.0
    longest_m: float | None = None

    def __post_init__(self) -> None:
        """Check the settings."""
        check_positive(self.line_spacing_m, name="line_spacing_m")
        if not (np.isfinite(self.strength) and self.strength >= 0):
            raise InputError("The strength along strike can't be below zero.", value=self.strength)
        if self.longest_m is not None:
            check_positive(self.longest_m, name="longest_m")


class _Waves(NamedTuple):
    """Long waves on a coarse grid, its south-west node and spacing in the readings' unit."""

    grid: FloatArray
    west: float
    south: float
    spacing: float

    def at(self, column: FloatArray, row: FloatArray) -> FloatArray:
        """Return the long waves at places."""
        places = [(row - self.south) / self.spacing, (column - self.west) / self.spacing]
        values: FloatArray = map_coordinates(self.grid, places, order=3, mode="nearest")
        return values


def carried_values(
    column: FloatArray,
    row: FloatArray,
    value: FloatArray,
    *,
    weight: FloatArray,
    line: IntArray,
    wanted: BoolArray,
    line_spacing: float,
    strength: float,
    longest: float | None = None,
) -> BlockMeans:
    """Return values at nodes between lines, carried there along the strike.

    Parameters
    ----------
    column, row : array, shape (n,)
        Readings, in grid spacings from the south-west node.
    value : array, shape (n,)
        Readings, less their plane.
    weight : array, shape (n,)
        Weight of each relative to a usual reading's, above zero.
    line : int array, shape (n,)
        Line of each; below zero for none. Tie lines, more than 45 degrees off most of the walk,
        are not carried from.
    wanted : bool array, shape (n_north, n_east)
        Nodes to compute.
    line_spacing : float
        Distance between lines [grid spacings].
    strength : float
        Weight of the carried values, as in `AlongStrike`.
    longest : float, optional
        Longest waves that are carried [grid spacings] (default: all).

    Returns
    -------
    BlockMeans
        To be put beside the readings' own; empty where nothing can be carried. No node whose square
        holds a reading is among them.

    Notes
    -----
    See `carry_along_strike` for the values. The weight falls from the strength where lines agree
    to nothing where less than half of what they read is in common, so that ground without a
    strike, or with two, is left to minimum curvature.

    Long waves come from minimum curvature of the readings with a damping that halves waves of the
    length `longest`: for readings of weight w an area, a wave of wavenumber k is
    ``w / (w + damping k^4)`` of itself [1]_.

    References
    ----------
    .. [1] Wahba, G. (1990), Spline Models for Observational Data, SIAM, section 2.1 (the filter of
       a smoothing spline; from memory).

    Examples
    --------
    >>> carried_values(np.zeros(3), np.arange(3.0), np.ones(3), weight=np.ones(3),
    ...                line=np.zeros(3, int), wanted=np.ones((3, 3), dtype=bool),
    ...                line_spacing=5.0, strength=1.0).value.size
    0
    """
    nothing = BlockMeans(*(np.empty(0) for _ in range(4)))
    if strength == 0:
        return nothing
    waves = None
    if longest is not None:
        waves = _long_waves(column, row, value, weight, line_spacing, longest)
    profiles = line_profiles(
        column,
        row,
        value if waves is None else value - waves.at(column, row),
        line,
        weight=weight,
        line_spacing=line_spacing,
        step=line_spacing / SAMPLES,
    )
    if profiles is None:
        return nothing
    rows, columns = (axis.astype(np.float64) for axis in np.nonzero(_free(column, row, wanted)))
    places = profiles.frame.turned(columns, rows)
    found = carry_along_strike(profiles, *places, line_spacing=line_spacing)
    held = np.nan_to_num(found.coherence, nan=0.0) > LEAST_COHERENCE
    rows, columns, values = rows[held], columns[held], found.value[held]
    if waves is not None:
        values = values + waves.at(columns, rows)
    share = (found.coherence[held] - LEAST_COHERENCE) / (1 - LEAST_COHERENCE)
    return BlockMeans(columns, rows, values, strength * share * (PART / line_spacing) ** 2)


def joined(blocks: BlockMeans, carried: BlockMeans) -> BlockMeans:
    """Return both as one.

    Examples
    --------
    >>> one = BlockMeans(*np.ones((4, 2)))
    >>> joined(one, one).value.size
    4
    """
    return BlockMeans(*(np.concatenate(both) for both in zip(blocks, carried, strict=True)))


def _free(column: FloatArray, row: FloatArray, wanted: BoolArray) -> BoolArray:
    """Return the wanted nodes whose square holds no reading."""
    free = wanted.copy()
    at_row, at_column = (np.floor(place + 0.5).astype(np.int64) for place in (row, column))
    inside = (at_row >= 0) & (at_row < free.shape[0])
    inside &= (at_column >= 0) & (at_column < free.shape[1])
    free[at_row[inside], at_column[inside]] = False
    return free


def _long_waves(
    column: FloatArray,
    row: FloatArray,
    value: FloatArray,
    weight: FloatArray,
    line_spacing: float,
    longest: float,
) -> _Waves:
    """Return the waves longer than `longest`."""
    spacing = line_spacing / COARSE
    first = [np.floor(axis.min() / spacing) - MARGIN for axis in (column, row)]
    east, north = column / spacing - first[0], row / spacing - first[1]
    shape = int(np.ceil(north.max())) + MARGIN + 1, int(np.ceil(east.max())) + MARGIN + 1
    blocks = block_means(east, north, value, weight=weight)
    # A line's squares are as long as they are wide, and as many more of them are empty.
    density = float(np.median(blocks.weight)) / COARSE
    damping = density * (longest / spacing / (2 * np.pi)) ** 4
    everywhere = np.ones(shape, dtype=bool)
    grid = minimum_curvature(blocks, everywhere, damping=damping, tolerance=TOLERANCE)
    return _Waves(grid.reshape(shape), first[0] * spacing, first[1] * spacing, spacing)
