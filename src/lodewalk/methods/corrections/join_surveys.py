"""The offset between two surveys where both have data, and whether it is one constant."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit
from scipy.stats import f as f_distribution

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import BoolArray
from lodewalk.methods.corrections.base_ties import mean_of_alike
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Half width of the 90 % interval of a normal value in sd.
NORMAL_95: Final = 1.6449
#: Patches that an offset, and a tilt, needs at least.
LEAST_PATCHES: Final = 4
LEAST_FOR_TILT: Final = 8
#: Most patches of which it is told how far they are alike, and where wild ones are cut [sd].
MOST_PATCHES: Final = 96
CUT: Final = 2.0
#: Width of Huber's weights in sd (Huber 1964, from memory): 95 % efficient for normal values.
HUBER: Final = 1.345
#: The median distance from the median in sd of normal values.
MEDIAN_SD: Final = 0.6745


@dataclass(frozen=True)
class JoinOffset:
    """How far one survey lies above another; see `join_offset`.

    Parameters
    ----------
    offset_nT, sd_nT : float
        The constant and its sd [nT].
    misfit_nT : float
        Robust sd of the patches about it [nT].
    patches : int
        Number of patches with data of both.
    area_m2 : float
        Their area [m^2].
    tilt_east_nT_km, tilt_north_nT_km : float
        Slope of the difference [nT/km]; NaN for fewer than eight patches or patches in a row.
    tilt_probability : float
        Chance of so steep a tilt if there is none; NaN likewise.
    """

    offset_nT: float
    sd_nT: float
    misfit_nT: float
    patches: int
    area_m2: float
    tilt_east_nT_km: float
    tilt_north_nT_km: float
    tilt_probability: float


def join_offset(
    easting_m: ArrayLike, northing_m: ArrayLike, difference_nT: ArrayLike, *, patch_m: float
) -> JoinOffset | None:
    """Return the constant between two surveys from their differences where both have data.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Places [m].
    difference_nT : array, shape (n,)
        One survey less the other at each [nT]; NaN are left out.
    patch_m : float
        Side of the squares that count once [m]: about the line spacing.

    Returns
    -------
    JoinOffset or None
        None for fewer than four patches.

    Raises
    ------
    InputError
        When lengths differ or `patch_m` isn't above zero.

    Notes
    -----
    Each patch counts by the median of its differences. The offset is Huber's mean of the patches
    [1]_, with the sd of its influence function, raised to the 90 % interval of Student's t.
    Differences that hang together over more than a patch would so count too often: the larger of
    that and of the sd from `mean_of_alike` counts, for which wild patches are cut to two sd and
    patches joined, two by two on a side, until there are no more than 96. By trials 98 to 99 % of
    the intervals held the truth, whether errors were alike over one, three or four patches. The
    tilt is a plane by least squares with the same weights, judged by an F test.

    Valid where the difference is one constant plus what both surveys' errors make of it. A bend
    or a tilt, as from two reference fields or heights, is told by the tilt and the misfit only.

    References
    ----------
    .. [1] Huber, P. J. (1964), Robust estimation of a location parameter, Annals of Mathematical
       Statistics 35, 73-101, doi:10.1214/aoms/1177703732 (from memory).

    Examples
    --------
    >>> east, north = (axis.ravel() for axis in np.meshgrid(np.arange(6.0), np.arange(6.0)))
    >>> found = join_offset(10 * east, 10 * north, 7 + 0.1 * (-1) ** east, patch_m=10.0)
    >>> round(found.offset_nT, 6), found.patches, found.area_m2
    (7.0, 36, 3600.0)
    """
    check_positive(patch_m, name="patch_m")
    check_same_length(easting_m=easting_m, northing_m=northing_m, difference_nT=difference_nT)
    columns = [
        np.atleast_1d(np.asarray(part, dtype=float))
        for part in (easting_m, northing_m, difference_nT)
    ]
    known = np.all(np.isfinite(columns), axis=0)
    east, north, value = _patches(*(part[known] for part in columns), side=patch_m)
    if value.size < LEAST_PATCHES:
        return None
    offset, scale, weight = huber_mean(value)
    sds = [_sd(value, offset, scale), _alike_sd(east, north, value, offset, scale, patch_m)]
    tilt = _tilt(east, north, value - offset, weight)
    area = value.size * patch_m**2
    return JoinOffset(offset, max(sds), scale, int(value.size), area, *tilt)


def _patches(
    east: FloatArray, north: FloatArray, value: FloatArray, *, side: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the mean place and the median value of each square that holds a value."""
    square = np.column_stack([np.floor(east / side), np.floor(north / side)])
    _, patch = np.unique(square, axis=0, return_inverse=True)
    order = np.argsort(patch.ravel(), kind="stable")
    cuts = np.flatnonzero(np.diff(patch.ravel()[order])) + 1
    parts = [part for part in np.split(order, cuts) if part.size]
    found = [(east[p].mean(), north[p].mean(), np.median(value[p])) for p in parts]
    columns = np.array(found, dtype=float).reshape(-1, 3).T
    return columns[0], columns[1], columns[2]


def huber_mean(value: ArrayLike) -> tuple[float, float, FloatArray]:
    """Return Huber's mean, the robust sd of the values about it, and their weights.

    Examples
    --------
    >>> mean, scale, weight = huber_mean([1.0, 2.0, 3.0, 2.0, 400.0])
    >>> round(mean, 1), bool(weight[-1] < 0.01)
    (2.5, True)
    """
    values = np.asarray(value, dtype=float)
    mean = float(np.median(values))
    scale = float(np.median(np.abs(values - mean))) / MEDIAN_SD
    weight = np.ones(values.size)
    if scale <= 0:
        return mean, 0.0, weight
    for _ in range(50):
        weight = np.minimum(1.0, HUBER * scale / np.maximum(np.abs(values - mean), 1e-12))
        mean = float(np.sum(weight * values) / np.sum(weight))
    return mean, scale, weight


def _sd(value: FloatArray, mean: float, scale: float) -> float:
    """Return the sd of Huber's mean, raised to the interval of Student's t."""
    if scale <= 0:
        return 0.0
    rest = (value - mean) / scale
    inside = max(float(np.mean(np.abs(rest) <= HUBER)), 1 / value.size)
    square = float(np.sum(np.clip(rest, -HUBER, HUBER) ** 2)) / (value.size - 1)
    raised = float(stdtrit(value.size - 1, 0.95)) / NORMAL_95
    return raised * scale * float(np.sqrt(square / value.size)) / inside


def _alike_sd(
    east: FloatArray, north: FloatArray, value: FloatArray, mean: float, scale: float, side: float
) -> float:
    """Return the sd of the mean of patches that may be alike over more than a patch."""
    value = np.clip(value, mean - CUT * scale, mean + CUT * scale)
    while value.size > MOST_PATCHES:
        side *= 2
        east, north, value = _patches(east, north, value, side=side)
    if value.size < LEAST_PATCHES:
        return 0.0
    lag = np.hypot(np.subtract.outer(east, east), np.subtract.outer(north, north)) / side
    return mean_of_alike(value, lag)[1]


def _tilt(
    east: FloatArray, north: FloatArray, rest: FloatArray, weight: FloatArray
) -> tuple[float, float, float]:
    """Return the slopes of the difference [nT/km] and the chance of such ones by accident."""
    none = (float("nan"),) * 3
    if rest.size < LEAST_FOR_TILT:
        return none
    root = np.sqrt(weight)
    design = np.column_stack([np.ones(rest.size), (east - east.mean()) / 1e3,
                              (north - north.mean()) / 1e3])  # fmt: skip
    design, value = design * root[:, None], rest * root
    if np.linalg.matrix_rank(design) < 3:
        return none
    solved = np.linalg.lstsq(design, value, rcond=None)[0]
    flat = float(np.sum((value - root * np.sum(root * value) / np.sum(weight)) ** 2))
    left = float(np.sum((value - design @ solved) ** 2))
    if left <= 1e-12 * max(flat, 1e-12):
        chance = 1.0 if flat <= 1e-12 else 0.0
    else:
        ratio = (flat - left) / 2 / (left / (rest.size - 3))
        chance = float(f_distribution.sf(ratio, 2, rest.size - 3))
    return float(solved[1]), float(solved[2]), chance


def surrounded(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    data_easting_m: ArrayLike,
    data_northing_m: ArrayLike,
    *,
    reach_m: float,
    around_m: float = 0.0,
) -> BoolArray:
    """Tell which places have data near them, and all round at a distance.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Places to judge [m].
    data_easting_m, data_northing_m : array, shape (m,)
        Places with data [m].
    reach_m : float
        How near data must lie [m].
    around_m : float
        Radius of the ring of eight points that must have data near them too [m] (default 0).

    Returns
    -------
    bool array, shape (n,)

    Notes
    -----
    The field continued upward by h at a place is a mean of the field below within some h; of the
    weight ``h / (2 pi (r^2 + h^2)^1.5)`` a share ``1 - 1/sqrt(2)`` lies within h.

    Examples
    --------
    >>> line = np.arange(0.0, 100.0)
    >>> surrounded([50.0, 50.0], [0.0, 30.0], line, 0 * line, reach_m=5.0).tolist()
    [True, False]
    """
    from scipy.spatial import cKDTree

    places, data = (
        np.column_stack([np.atleast_1d(np.asarray(part, dtype=float)) for part in pair])
        for pair in ((easting_m, northing_m), (data_easting_m, data_northing_m))
    )
    if not np.isfinite(data).all():
        raise InputError("Places with data must be known.")
    known = np.isfinite(places).all(axis=1)
    near = np.zeros(len(places), dtype=bool)
    if not len(data) or not known.any():
        return near
    tree = cKDTree(data)
    ring = [(0.0, 0.0)]
    if around_m > 0:
        ring += [(np.sin(a), np.cos(a)) for a in np.arange(8) * np.pi / 4]
    good = np.ones(int(known.sum()), dtype=bool)
    for step in ring:
        away, _ = tree.query(places[known] + around_m * np.array(step))
        good &= away <= reach_m
    near[known] = good
    return near
