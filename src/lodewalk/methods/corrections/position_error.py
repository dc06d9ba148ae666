"""What a wrong position does to an anomaly: position error times the slope of the field."""

from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import gaussian_filter1d, map_coordinates

from lodewalk.errors import InputError
from lodewalk.methods.gridding.interface import grid_readings, region_for
from lodewalk.validation import FloatArray, check_positive, check_same_length

IntArray = NDArray[np.int64]

#: Nodes between lines of the surface that tells the slope across, and the most of them in all.
NODES_BETWEEN: Final = 4
MOST_NODES: Final = 1_000_000
#: Sum of the squares of a Gaussian's derivative, its width one bin: 1 / (4 sqrt(pi)).
_DERIVED_NOISE: Final = 0.141
#: A step this many times the usual one parts a walk.
_PARTED: Final = 20.0
#: Shortest bin of a profile [m], and fewest bins with a slope.
_LEAST_BIN_M, _LEAST_BINS = 0.5, 5
#: Length over which the direction of the walk is taken [m].
_SMOOTHED_M: Final = 5.0


class PositionError(NamedTuple):
    """What position errors do to each reading [nT]; NaN where position or value is missing.

    `sd_nT` is the whole of it; `east_nT` and `north_nT` are the errors that one sd of position
    to the east and to the north would make, with their sign, as far as the lines tell it.
    """

    sd_nT: FloatArray
    east_nT: FloatArray
    north_nT: FloatArray


class _Profile(NamedTuple):
    """Slopes of a walk at each reading, along it [nT/m] and squared [nT2/m2]; unit direction."""

    along: FloatArray
    along_square: FloatArray
    short_square: FloatArray
    direction: FloatArray


def position_error(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    anomaly_nT: ArrayLike,
    passage: ArrayLike,
    *,
    sd_nT: ArrayLike,
    position_sd_m: ArrayLike,
    line_spacing_m: float,
) -> PositionError:
    """Return the error of the anomaly at the recorded position that position errors make.

    Parameters
    ----------
    easting_m, northing_m, anomaly_nT : array, shape (n,)
        Readings in the order walked, one walker after the other [m, nT]; NaN where missing.
    passage : int array, shape (n,)
        Number of the passage of each reading; below zero off the lines.
    sd_nT : array, shape (n,)
        Noise of each reading by itself [nT].
    position_sd_m : array, shape (n,)
        Standard deviation of each position, each axis [m].
    line_spacing_m : float
        Distance between lines [m].

    Returns
    -------
    PositionError

    Raises
    ------
    InputError
        When lengths differ or the line spacing isn't above zero.

    Notes
    -----
    To first order a displacement d changes the anomaly by ``g . d``, g the horizontal slope; so
    ``sd = s sqrt(g_along^2 + g_across^2 + u^2)`` with the position's sd s on each axis (propagation
    of errors). The slope along the walk is that of the profile, its square averaged over one s,
    so that a narrow peak, where the slope itself is nil, isn't free of error; noise of readings is
    taken out of it. The slope across is that of a surface through all lines. What is too narrow for
    the lines to show across, wavelengths under twice their spacing, is taken to be as steep across
    as along: u is the local rms of the short part of the slope along. For a dyke square to the
    lines that states up to sqrt(2) too much.

    Valid where s is well below the depth of the sources under the sensor. A position's error is
    nearly the same for some minutes: readings of one passage share it.

    Examples
    --------
    A slope of 2 nT/m to the east, walked to the north, positions to 0.5 m:

    >>> east, north = (axis.ravel() for axis in np.mgrid[0:100:20.0, 0:100:1.0])
    >>> found = position_error(east, north, 2 * east, np.repeat(np.arange(5), 100),
    ...                        sd_nT=np.full(500, 0.1), position_sd_m=np.full(500, 0.5),
    ...                        line_spacing_m=20.0)
    >>> float(found.sd_nT[250].round(2)), float(found.east_nT[250].round(2))
    (1.0, 1.0)
    """
    check_positive(line_spacing_m, name="line_spacing_m")
    columns = [
        np.atleast_1d(np.asarray(part, dtype=np.float64))
        for part in (easting_m, northing_m, anomaly_nT, sd_nT, position_sd_m)
    ]
    number = np.atleast_1d(np.asarray(passage, dtype=np.int64))
    names = ("easting_m", "northing_m", "anomaly_nT", "sd_nT", "position_sd_m")
    check_same_length(**dict(zip(names, columns, strict=True)), passage=number)
    known = np.isfinite(columns[0] + columns[1] + columns[2])
    parts = [np.full(known.size, np.nan) for _ in range(3)]
    if known.any():
        east, north, value, sd, apart = (column[known] for column in columns)
        found = _at_known(
            np.stack([east, north]), value, np.nan_to_num(sd), apart, number[known], line_spacing_m
        )
        for part, own in zip(parts, found, strict=True):
            part[known] = own
    return PositionError(*parts)


def _at_known(
    place: FloatArray,
    value: FloatArray,
    sd: FloatArray,
    apart: FloatArray,
    passage: IntArray,
    between: float,
) -> PositionError:
    """Return the error of readings that all have place and value."""
    profile = _profiles(place, value, sd, apart, passage, between)
    ux, uy = profile.direction
    surface = _surface_slopes(place, value, passage, between)
    across = uy * surface[0] - ux * surface[1]
    square = profile.along_square + across**2 + profile.short_square
    slopes = profile.along * ux + across * uy, profile.along * uy - across * ux
    # A stretch too short for a profile has the surface's slope, and no less than is usual.
    short = np.hypot(ux, uy) < 0.5
    usual = float(np.median(square[~short])) if not short.all() else 0.0
    square = np.where(short, np.maximum(surface[0] ** 2 + surface[1] ** 2, usual), square)
    east, north = (np.where(short, *pair) for pair in zip(surface, slopes, strict=True))
    return PositionError(apart * np.sqrt(square), apart * east, apart * north)


def _flat(count: int) -> _Profile:
    """Return a profile without slopes and direction."""
    along, along_square, short_square = (np.zeros(count) for _ in range(3))
    return _Profile(along, along_square, short_square, np.zeros((2, count)))


def _profiles(
    place: FloatArray,
    value: FloatArray,
    sd: FloatArray,
    apart: FloatArray,
    passage: IntArray,
    between: float,
) -> _Profile:
    """Return the slopes along each stretch of the walk."""
    step = np.hypot(np.diff(place[0]), np.diff(place[1]))
    moving = step[step > _LEAST_BIN_M / 5]
    usual = float(np.median(moving)) if moving.size else _LEAST_BIN_M
    width = float(np.clip(usual, _LEAST_BIN_M, between / 4))
    parted = (np.diff(passage) != 0) | (step > _PARTED * usual)
    ends = [0, *(np.flatnonzero(parted) + 1).tolist(), value.size]
    out = _flat(value.size)
    for first, last in pairwise(ends):
        rows = slice(first, last)
        part = _one_profile(place[:, rows], value[rows], sd[rows], apart[rows], (width, between))
        for whole, own in zip(out, part, strict=True):
            whole[..., rows] = own
    return out


def _one_profile(
    place: FloatArray,
    value: FloatArray,
    sd: FloatArray,
    apart: FloatArray,
    lengths: tuple[float, float],
) -> _Profile:
    """Return the slopes of one stretch, from means in bins of its length."""
    width, between = lengths
    distance = _walked(place, width)
    number = np.floor(distance / width).astype(np.int64)
    count = np.bincount(number)
    if count.size < _LEAST_BINS:
        return _flat(value.size)
    bins = np.arange(count.size)
    filled = count > 0
    means = [
        np.interp(bins, bins[filled], np.bincount(number, weights=column)[filled] / count[filled])
        for column in (value - value[0], *(place - place[:, :1]))
    ]
    slope = gaussian_filter1d(means[0], 1.0, order=1, mode="nearest") / width
    noise = _DERIVED_NOISE * float(np.median(sd)) ** 2 / (max(np.median(count), 1) * width**2)
    course = np.stack([gaussian_filter1d(axis, 2.0, order=1, mode="nearest") for axis in means[1:]])
    spread = float(np.nanmedian(apart)) if np.isfinite(apart).any() else 0.0
    short = slope - gaussian_filter1d(slope, between / 2 / width, mode="nearest")
    columns = (
        slope,
        _mean_square(slope, spread / width, noise),
        _mean_square(short, between / 2 / width, noise),
        *(course / np.maximum(np.hypot(course[0], course[1]), 1e-12)),
    )
    at = distance / width - 0.5
    along, along_square, short_square, *direction = (np.interp(at, bins, own) for own in columns)
    return _Profile(along, along_square, short_square, np.stack(direction))


def _walked(place: FloatArray, width: float) -> FloatArray:
    """Return the distance of each reading along the smoothed walk, from 0 [m].

    Along the recorded one the scatter of the positions would count as way.
    """
    smooth = gaussian_filter1d(place, max(_SMOOTHED_M / width, 1.0), axis=1, mode="nearest")
    course = np.gradient(smooth, axis=1) if place.shape[1] > 1 else np.zeros_like(place)
    course = course / np.maximum(np.hypot(course[0], course[1]), 1e-12)
    steps = np.sum(np.diff(place, axis=1) * (course[:, 1:] + course[:, :-1]) / 2, axis=0)
    distance = np.concatenate([[0.0], np.cumsum(steps)])
    return np.asarray(distance - distance.min())


def _mean_square(slope: FloatArray, width: float, noise: float) -> FloatArray:
    """Return the local mean square of a slope without that of noise, never below zero."""
    square = slope**2 if width <= 0 else gaussian_filter1d(slope**2, width, mode="nearest")
    return np.asarray(np.maximum(square - noise, 0.0))


def _surface_slopes(
    place: FloatArray, value: FloatArray, passage: IntArray, between: float
) -> FloatArray:
    """Return the slopes east and north of a surface through the lines [nT/m].

    They are 0 beyond the lines, and everywhere where readings span no area.
    """
    slopes = np.zeros_like(place)
    on_line = passage >= 0
    if len(np.unique(passage[on_line])) < 2:
        return slopes
    east, north = place[:, on_line]
    area = (np.ptp(east) + 2 * between) * (np.ptp(north) + 2 * between)
    node = max(between / NODES_BETWEEN, float(np.sqrt(area / MOST_NODES)))
    region = region_for(east, north, spacing_m=node, reach_m=between)
    try:
        surface = grid_readings(
            east, north, value[on_line], **region._asdict(), spacing_m=node, reach_m=2 * between,
            method="minimum curvature", tension=0.0,
        )  # fmt: skip
    except InputError:  # all at one place, or on one straight line
        return slopes
    at = [(place[1] - region.south_m) / node, (place[0] - region.west_m) / node]
    for own, grid in zip(slopes, np.gradient(surface, node)[::-1], strict=True):
        own[:] = map_coordinates(np.nan_to_num(grid), at, order=1, cval=0.0)
    return slopes
