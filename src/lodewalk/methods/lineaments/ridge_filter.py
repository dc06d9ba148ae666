"""Where the field changes most across a direction: oriented filters and their crests."""

from collections.abc import Callable
from functools import partial
from typing import Final, NamedTuple

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, map_coordinates

from lodewalk.validation import FloatArray

BoolArray = NDArray[np.bool_]
#: Number of directions of the filters over half a turn; even, so that a quarter turn is in it.
DIRECTIONS: Final = 18
#: Reach of a filter beyond the grid, in its standard deviations.
_MARGIN: Final = 3.5
#: The median of the absolute value of a normal number is this share of its standard deviation.
_MAD: Final = 0.6744897501960817
#: Least noise, as a share of the strongest response: a grid's own rounding (common practice).
_LEAST_NOISE: Final = 1e-3
#: A crest belongs to a node when it lies in its cell, or this far from its middle: a tenth more
#: than half, so that none falls between two.
_OWN_CELL: Final = 0.6


class Response(NamedTuple):
    """What the filters of one width say at each node.

    Parameters
    ----------
    strength : array, shape (n_north, n_east)
        Largest response over all directions, in the grid's unit a node.
    azimuth : array, shape (n_north, n_east)
        Direction of the filter that answers most [deg], clockwise from north, 0 to 180.
    noise : array, shape (n_north, n_east)
        Scale of a response to noise alone; NaN where the grid has no value.
    """

    strength: FloatArray
    azimuth: FloatArray
    noise: FloatArray


class RidgePoints(NamedTuple):
    """Points on ridges, between the nodes.

    Parameters
    ----------
    row, column : int array, shape (n,)
        Node of each.
    north, east : array, shape (n,)
        Place, in nodes from the south-west one.
    azimuth : array, shape (n,)
        Direction of the ridge [deg], 0 to 180.
    ratio : array, shape (n,)
        How far the crest stands out above both of its sides, over the noise.
    strength : array, shape (n,)
        Response at the node.
    """

    row: NDArray[np.int64]
    column: NDArray[np.int64]
    north: FloatArray
    east: FloatArray
    azimuth: FloatArray
    ratio: FloatArray
    strength: FloatArray


def oriented_gradient(
    values: FloatArray,
    *,
    across: float,
    along: float,
    relative_noise: FloatArray | None = None,
    least_noise: float = 0.0,
) -> Response:
    """Return how strongly each node's field changes across a direction, averaged along it.

    Parameters
    ----------
    values : array, shape (n_north, n_east)
        The anomaly; NaN where it is masked.
    across, along : float
        Standard deviations of the filter across and along its direction [nodes].
    relative_noise : array, shape (n_north, n_east), optional
        How much noisier each node is than the usual one (default: all the same).
    least_noise : float
        The noise of a response is taken as no less than this, in the grid's unit a node.

    Returns
    -------
    Response
        The strength is the total gradient across the best direction, per node.

    Notes
    -----
    The field is averaged along a direction by a Gaussian, smoothed across it, and the size of
    its derivative across and of that one's Hilbert transform taken together: the total gradient
    of a two-dimensional body [1]_, which peaks over it whatever way it is magnetised, and a
    quadrature pair of oriented filters in the words of [2]_. Since the averaging comes before the
    size is taken, a deep dyke shows through boulders that hide it in the total gradient itself.
    Noise is taken from the responses at right angles to the best direction, which a ridge leaves
    alone: the median departure of each from the mean of two beside it, so that what deep or far
    bodies add counts as none.

    References
    ----------
    .. [1] Nabighian, M. N. (1972), The analytic signal of two-dimensional magnetic bodies with
       polygonal cross-section, Geophysics, 37(3), 507-517, doi:10.1190/1.1440276.
    .. [2] Freeman, W. T., and Adelson, E. H. (1991), The design and use of steerable filters,
       IEEE Transactions on Pattern Analysis and Machine Intelligence, 13(9), 891-906 (from
       memory), doi:10.1109/34.93808.

    Examples
    --------
    >>> north = np.arange(60.0)[:, None] - 30 + np.zeros(60)
    >>> sheet = north / (north**2 + 5.0**2)
    >>> found = oriented_gradient(sheet, across=2.0, along=5.0)
    >>> int(found.strength[:, 30].argmax()), float(found.azimuth[30, 30])
    (30, 90.0)
    """
    known = np.isfinite(values)
    spectrum, waves, window = _spectrum(values, known, margin=_MARGIN * max(across, along))
    sized = partial(_size, spectrum, waves, window)
    best, beside, azimuth = _best_direction(values.shape, sized, (across, along))
    usual = _roughness(beside, known, max(int(np.rint(max(across, along / 2))), 1))
    floor = _LEAST_NOISE * float(np.max(best[known], initial=0.0))
    noise = np.where(known, max(usual, floor, least_noise) or 1.0, np.nan)
    return Response(best, azimuth, noise if relative_noise is None else noise * relative_noise)


def _roughness(beside: FloatArray, known: BoolArray, reach: int) -> float:
    """Return the usual departure of a map from the mean of two places beside, as an sd."""
    parts = []
    for values, inside in ((beside, known), (beside.T, known.T)):
        if values.shape[0] <= 2 * reach:
            continue
        bend = values[reach:-reach] - (values[2 * reach :] + values[: -2 * reach]) / 2
        all_known = inside[reach:-reach] & inside[2 * reach :] & inside[: -2 * reach]
        parts.append(np.abs(bend[all_known]))
    together = np.concatenate(parts) if parts else np.zeros(0)
    return float(np.median(together)) / _MAD if together.size else 0.0


def _best_direction(
    shape: tuple[int, ...],
    response: Callable[[tuple[float, float, float]], FloatArray],
    size: tuple[float, float],
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the largest response over all directions, that at right angles, and the azimuth."""
    best = np.full(shape, -np.inf)
    beside, azimuth = np.zeros(shape), np.zeros(shape)
    step = 180.0 / DIRECTIONS
    for number in range(DIRECTIONS // 2):
        one, two = (response((step * number + turn, *size)) for turn in (0.0, 90.0))
        for turn, own, other in ((0.0, one, two), (90.0, two, one)):
            more = own > best
            best[more], beside[more] = own[more], other[more]
            azimuth[more] = step * number + turn
    return best, beside, azimuth


def _spectrum(
    values: FloatArray, known: BoolArray, *, margin: float
) -> tuple[NDArray[np.complex128], tuple[FloatArray, FloatArray], tuple[slice, slice]]:
    """Return the spectrum of a filled and padded grid, its wave numbers and where the grid is."""
    middle = float(np.median(values[known])) if known.any() else 0.0
    filled = np.where(known, values, middle)
    if known.any() and not known.all():
        nearest = distance_transform_edt(~known, return_distances=False, return_indices=True)
        filled = filled[tuple(nearest)]
    pad = int(np.ceil(margin))
    shape = [scipy.fft.next_fast_len(count + 2 * pad) for count in filled.shape]
    width = [(pad, total - count - pad) for total, count in zip(shape, filled.shape, strict=True)]
    padded = np.pad(filled - middle, width, mode="edge")
    north = 2 * np.pi * scipy.fft.fftfreq(shape[0])[:, None]
    east = 2 * np.pi * scipy.fft.fftfreq(shape[1])[None, :]
    window = slice(pad, pad + filled.shape[0]), slice(pad, pad + filled.shape[1])
    return scipy.fft.fft2(padded), (north, east), window


def _size(
    spectrum: NDArray[np.complex128],
    waves: tuple[FloatArray, FloatArray],
    window: tuple[slice, slice],
    filter_: tuple[float, float, float],
) -> FloatArray:
    """Return the size of the one-sided derivative across an azimuth [deg], smoothed both ways."""
    azimuth, across, along = filter_
    turn = np.radians(azimuth)
    north, east = waves
    with_it = along * (north * np.cos(turn) + east * np.sin(turn))
    over_it = east * np.cos(turn) - north * np.sin(turn)
    gain = 2 * np.maximum(over_it, 0.0) * np.exp(-0.5 * (with_it**2 + (across * over_it) ** 2))
    made: FloatArray = np.abs(scipy.fft.ifft2(spectrum * gain)[window])
    return made


def crest_points(response: Response, *, side: float, least_ratio: float) -> RidgePoints:
    """Return the points of the crests of a response, between the nodes.

    Parameters
    ----------
    response : Response
        From `oriented_gradient`.
    side : float
        How far to each side a crest has to stand out [nodes].
    least_ratio : float
        Least ratio of a point.

    Returns
    -------
    RidgePoints
        In order of rows and columns.

    Notes
    -----
    A quadric through the nine nodes around, as in [1]_: the crest lies where the slope across
    its direction ends, and belongs to the node in whose cell that is.

    References
    ----------
    .. [1] Steger, C. (1998), An unbiased detector of curvilinear structures, IEEE Transactions on
       Pattern Analysis and Machine Intelligence, 20(2), 113-125, section 2,
       doi:10.1109/34.659930.

    Examples
    --------
    >>> north = np.arange(60.0)[:, None] - 30.3 + np.zeros(60)
    >>> found = oriented_gradient(north / (north**2 + 5.0**2), across=2.0, along=5.0)
    >>> crest_points(found, side=5.0, least_ratio=3.0).north.round(1)[20:23].tolist()
    [30.3, 30.3, 30.3]
    """
    if min(response.strength.shape) < 3:
        none, nothing = np.zeros(0, dtype=np.int64), np.zeros(0)
        return RidgePoints(none, none, nothing, nothing, nothing, nothing, nothing)
    z = response.strength
    turn = np.radians(response.azimuth[1:-1, 1:-1])
    over = -np.sin(turn), np.cos(turn)
    slope, bend = _along_normal(z, over)
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = -slope / bend
        found = (bend < 0) & np.isfinite(response.noise[1:-1, 1:-1])
        found &= np.maximum(np.abs(shift * over[0]), np.abs(shift * over[1])) <= _OWN_CELL
    row, column = (place + 1 for place in np.nonzero(found))
    north, east = (part[found] for part in over)
    place = row + shift[found] * north, column + shift[found] * east
    flank = np.max(
        [_at(z, place, turn * side * north, turn * side * east) for turn in (-1, 1)], axis=0
    )
    ratio = (z[row, column] - flank) / response.noise[row, column]
    kept = ratio >= least_ratio
    return RidgePoints(
        *(
            part[kept]
            for part in (
                row, column, *place, response.azimuth[row, column], ratio, z[row, column],
            )
        )
    )  # fmt: skip


def _at(
    z: FloatArray, place: tuple[FloatArray, FloatArray], north: FloatArray, east: FloatArray
) -> FloatArray:
    """Return a map beside places, the last node's value beyond its edge."""
    made: FloatArray = map_coordinates(
        z, [place[0] + north, place[1] + east], order=1, mode="nearest"
    )
    return made


def _along_normal(z: FloatArray, over: tuple[FloatArray, FloatArray]) -> tuple[FloatArray, ...]:
    """Return slope and bend across the ridge at the inner nodes."""
    middle = z[1:-1, 1:-1]
    slope_n, slope_e = (z[2:, 1:-1] - z[:-2, 1:-1]) / 2, (z[1:-1, 2:] - z[1:-1, :-2]) / 2
    bend_nn = z[2:, 1:-1] - 2 * middle + z[:-2, 1:-1]
    bend_ee = z[1:-1, 2:] - 2 * middle + z[1:-1, :-2]
    bend_ne = (z[2:, 2:] - z[2:, :-2] - z[:-2, 2:] + z[:-2, :-2]) / 4
    north, east = over
    slope = slope_n * north + slope_e * east
    bend = bend_nn * north**2 + 2 * bend_ne * north * east + bend_ee * east**2
    return slope, bend
