"""Standard error of a grid of readings on lines, near the lines and between them."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import map_coordinates, minimum_filter
from scipy.spatial import cKDTree

from lodewalk.errors import InputError
from lodewalk.methods.gridding._kriging import krige
from lodewalk.methods.gridding.covariance import FieldCovariance
from lodewalk.methods.gridding.line_blocks import LineBlocks
from lodewalk.methods.parts import Each, in_turn, tiles
from lodewalk.validation import FloatArray, check_positive, check_same_length, check_within

IntArray = NDArray[np.int64]

#: Neighbouring block means that a node is predicted from.
NEIGHBOURS: Final = 32
#: Nodes worked on together, whatever the number of threads.
PART: Final = 4096
#: The plate of a surface under tension alone keeps this part of its stiffness.
_LEAST_BENDING: Final = 0.2


class ErrorShares(NamedTuple):
    """Shares of the error variance [nT2]: what isn't known of the field, errors of readings."""

    field: FloatArray
    noise: FloatArray


@dataclass(frozen=True)
class Surface:
    """How the grid was made by minimum curvature, and the sd of a usual reading.

    Parameters
    ----------
    damping_m2, tension, tension_length_m : float
        As `grid_readings` got them.
    spacing_m : float
        Distance between its nodes [m].
    usual_sd_nT : float
        Median of the readings' sd, which its weights are relative to [nT].
    """

    damping_m2: float
    tension: float
    tension_length_m: float
    spacing_m: float
    usual_sd_nT: float

    def __post_init__(self) -> None:
        """Raise when a setting is out of range."""
        for name in ("damping_m2", "tension_length_m", "spacing_m", "usual_sd_nT"):
            check_positive(getattr(self, name), name=name)
        check_within(self.tension, name="tension", low=0, high=1, unit="")

    def stiffness(self) -> float:
        """Return how much curvature counts beside squared misfit over variance [m2/nT2].

        A sum over nodes of squares of second differences is the integral of squared curvature
        times the spacing squared.
        """
        bending = max(1 - self.tension, _LEAST_BENDING)
        per_area = self.damping_m2 * bending * (self.tension_length_m / self.spacing_m) ** 2
        return per_area / self.usual_sd_nT**2


@dataclass(frozen=True)
class Calibration:
    """Factors that make stated errors as large as those of readings left out.

    Parameters
    ----------
    west_m, south_m, spacing_m : float
        South-west node and spacing of the two grids below [m].
    factor : array, shape (n_north, n_east)
        What the field's share of the variance is multiplied by.
    misfit_nT2 : array, shape (n_north, n_east)
        Variance by which the surface misses readings that it was made from, beyond their errors.
    overall : float
        The factor that all places have in common; 1 where nothing could be left out.
    judged : int
        Number of block means that were left out.
    """

    west_m: float
    south_m: float
    spacing_m: float
    factor: FloatArray
    misfit_nT2: FloatArray
    overall: float
    judged: int

    def at(self, easting_m: FloatArray, northing_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return factor and misfit [nT2] at places [m]; those beyond the grids have the rim's."""
        place = [
            (northing_m - self.south_m) / self.spacing_m,
            (easting_m - self.west_m) / self.spacing_m,
        ]
        factor, misfit = (
            np.asarray(map_coordinates(grid, place, order=1, mode="nearest"))
            for grid in (self.factor, self.misfit_nT2)
        )
        return factor, misfit


def standard_error(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    blocks: LineBlocks,
    *,
    covariance: FieldCovariance,
    surface: Surface | None = None,
    line_sd_nT: float = 0.0,
    survey_sd_nT: float = 0.0,
    calibration: Calibration | float = 1.0,
    neighbours: int = NEIGHBOURS,
    each: Each = in_turn,
) -> FloatArray:
    """Return the standard error of a grid's value at nodes.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Nodes [m], none missing.
    blocks : LineBlocks
        Means of the readings that the grid was made from, from `line_blocks`.
    covariance : FieldCovariance
        Covariance of the anomaly, from `fit_covariance`.
    surface : Surface, optional
        How the grid was made (default: the predictor of least variance, simple kriging).
    line_sd_nT, survey_sd_nT : float
        Standard deviation of the errors that the readings of a passage share, beside those in
        ``blocks.shared``, and that all readings share [nT].
    calibration : Calibration or float
        From `calibrate`, or a factor of the field's share of the sd (default 1).
    neighbours : int
        Number of nearest block means that count, at least 3.
    each : Each
        Does the nodes, some thousands at a time (default: one after the other).

    Returns
    -------
    array, shape (n,)
        Standard deviation of the error [nT]; 90 % of errors are within 1.645 of it.

    Raises
    ------
    InputError
        When lengths differ, or a number is missing or out of range.

    Notes
    -----
    With weights w of the block means, covariance C between places and N between the errors of the
    means, the error variance of a linear prediction is [1]_

    ``C(0) - 2 w c + w C w + w N w``,

    what isn't known of the field, and the errors of the readings. Without a surface the weights
    are those of simple kriging, ``(C + N) w = c``. With one they are those of the plate that
    minimum curvature bends through the block means: a thin-plate spline under the same damping
    [2]_ (tension is left out but for the bending that it takes away).

    Nodes are independent of each other: parts of a grid may be given one by one, with the same
    bits.

    References
    ----------
    .. [1] Chiles, J.-P., and Delfiner, P. (2012), Geostatistics, 2nd ed., Wiley, chapter 3 (from
       memory), doi:10.1002/9781118136188.
    .. [2] Wahba, G. (1990), Spline Models for Observational Data, SIAM, section 2.4 (from
       memory), doi:10.1137/1.9781611970128.

    Examples
    --------
    On a reading the error is the reading's; far from all it is the field's own sd:

    >>> from lodewalk.methods.gridding.line_blocks import line_blocks
    >>> blocks = line_blocks([0.0, 20.0, 40.0], [0.0, 0.0, 9.0], [1.0, 5.0, 2.0],
    ...                      sd_nT=[0.1, 0.1, 0.1], passage=[0, 1, 2], size_m=5.0)
    >>> ground = FieldCovariance(depth_m=10.0, variance_nT2=25.0)
    >>> standard_error([0.0, 1e6], [0.0, 0.0], blocks, covariance=ground).round(2).tolist()
    [0.1, 5.0]
    """
    check_within(survey_sd_nT, name="survey_sd_nT", low=0, high=np.inf, unit="nT")
    shares = error_shares(
        easting_m, northing_m, blocks, covariance=covariance, surface=surface,
        line_sd_nT=line_sd_nT, neighbours=neighbours, each=each,
    )  # fmt: skip
    if isinstance(calibration, Calibration):
        east, north = (
            np.atleast_1d(np.asarray(axis, dtype=np.float64)) for axis in (easting_m, northing_m)
        )
        factor, misfit = calibration.at(east, north)
    else:
        check_within(calibration, name="calibration", low=0, high=np.inf, unit="")
        factor, misfit = np.asarray(calibration**2), np.asarray(0.0)
    return np.sqrt(factor * shares.field + shares.noise + misfit + survey_sd_nT**2)


def resampled_error(sd_nT: ArrayLike, place: Sequence[ArrayLike]) -> FloatArray:
    """Return a standard error on an even mesh at places between its nodes.

    Parameters
    ----------
    sd_nT : array, shape (n_rows, n_columns)
        Standard error at the nodes, none missing [nT].
    place : two arrays of one shape
        Rows and columns of the places; those beyond the mesh have the rim's.

    Returns
    -------
    array, shape of the places
        Standard error [nT].

    Notes
    -----
    The variance of an interpolated field is least on a line and grows with the square of the
    distance from it (Taylor), so a cubic spline through the variances keeps the dip between nodes
    that straight lines would cut off. It is never less than a quarter of the least node nearby.

    Examples
    --------
    The variance grows by the square of the distance from a line midway between two columns:

    >>> away = np.arange(12.0) - 5.5
    >>> round(float(resampled_error(np.tile(np.abs(away), (9, 1)), [[4.0], [6.5]])[0]), 2)
    1.0
    """
    variance = np.asarray(sd_nT, dtype=np.float64) ** 2
    rows, columns = (np.asarray(axis, dtype=np.float64) for axis in place)
    smooth = map_coordinates(variance, [rows, columns], order=3, mode="nearest")
    least = map_coordinates(minimum_filter(variance, 3), [rows, columns], order=0, mode="nearest")
    return np.asarray(np.sqrt(np.maximum(smooth, least / 4)))


def error_shares(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    blocks: LineBlocks,
    *,
    covariance: FieldCovariance,
    surface: Surface | None = None,
    line_sd_nT: float = 0.0,
    passage: ArrayLike | None = None,
    shared: ArrayLike | None = None,
    neighbours: int = NEIGHBOURS,
    each: Each = in_turn,
) -> ErrorShares:
    """Return both shares of the error variance at places, before any calibration.

    Parameters
    ----------
    easting_m, northing_m, blocks, covariance, surface, line_sd_nT, neighbours, each
        As in `standard_error`.
    passage : int array, shape (n,), optional
        Passage of the reading that is predicted there, whose shared error then belongs to the
        difference (default: no reading, so the error is the map's own).
    shared : array, shape (n, k), optional
        What that reading has of the errors in `LineBlocks.shared` (default: nothing).

    Returns
    -------
    ErrorShares

    Raises
    ------
    InputError
        As in `standard_error`.

    Examples
    --------
    >>> from lodewalk.methods.gridding.line_blocks import line_blocks
    >>> blocks = line_blocks([0.0, 20.0, 40.0], [0.0, 0.0, 9.0], [1.0, 5.0, 2.0],
    ...                      sd_nT=[0.1, 0.1, 0.1], passage=[0, 1, 2], size_m=5.0)
    >>> shares = error_shares([10.0], [0.0], blocks, covariance=FieldCovariance(10.0, 25.0))
    >>> bool(shares.field[0] > 100 * shares.noise[0])
    True
    """
    east, north = (
        np.atleast_1d(np.asarray(axis, dtype=np.float64)) for axis in (easting_m, northing_m)
    )
    number = np.atleast_1d(
        np.asarray(np.full(east.size, -1) if passage is None else passage, dtype=np.int64)
    )
    common = np.zeros((east.size, blocks.shared.shape[1])) if shared is None else np.asarray(shared)
    check_same_length(easting_m=east, northing_m=north, passage=number, shared=common[:, 0])
    check_within(line_sd_nT, name="line_sd_nT", low=0, high=np.inf, unit="nT")
    count = min(neighbours, blocks.value.size)
    if count < 3 or not np.isfinite(east + north).all():
        raise InputError(
            "A standard error needs at least three neighbours, and nodes that have a place.",
            value=count,
        )
    stiffness = -1.0
    if surface is not None:
        # The plate's Green function r^2 log(r^2) / (16 pi), its unit of length twice the depth.
        stiffness = surface.stiffness() * 16 * np.pi / (4 * covariance.depth_m**2)
    tree = cKDTree(np.column_stack([blocks.easting, blocks.northing]))
    do = partial(_shares, tree, blocks, covariance, (line_sd_nT**2, stiffness), count)
    parts = [
        (east[part], north[part], number[part], common[part]) for part in tiles(east.size, PART)
    ]
    shares = np.concatenate([np.empty((0, 2)), *each(do, parts)])
    return ErrorShares(shares[:, 0], shares[:, 1])


def _shares(
    tree: cKDTree,
    blocks: LineBlocks,
    covariance: FieldCovariance,
    rules: tuple[float, float],
    count: int,
    nodes: tuple[FloatArray, FloatArray, IntArray, FloatArray],
) -> FloatArray:
    """Return both shares at some nodes, by variance of a line and stiffness (n, 2)."""
    east, north, number, common = nodes
    shares = np.empty((east.size, 2))
    near = tree.query(np.column_stack([east, north]), k=count)[1]
    krige(
        east, north, number, near.reshape(-1, count).astype(np.int64),
        blocks.easting, blocks.northing, blocks.variance, blocks.passage, blocks.shared, common,
        covariance.variance_nT2, covariance.depth_m, *rules, shares,
    )  # fmt: skip
    return shares
