"""Which buried targets a survey would have missed, given where its readings lie."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree
from scipy.special import ndtr, ndtri

from lodewalk.errors import InputError
from lodewalk.methods.bodies.dipole import FIELD_CONSTANT, sphere_moment
from lodewalk.validation import FloatArray, check_positive, check_same_length

IntArray = NDArray[np.int64]

#: Readings count within this many heights of the sensor over the target, or distances to the
#: nearest reading where that is farther.
REACH: Final = 4.0

#: Readings nearer to each other than this share of the same length count as one of more weight.
CELL: Final = 0.2

#: Readings, their heights over the target and weights, sorted by squares; where each square
#: begins, how many there are by easting and northing, their corner and their side.
Squares = tuple[FloatArray, FloatArray, FloatArray, IntArray, tuple[int, int], FloatArray, float]


@dataclass(frozen=True)
class TargetDetection:
    """What could be found at each place.

    Parameters
    ----------
    signal_per_moment : float array, shape (n_places,)
        Signal-to-noise of a target of 1 A m2 [1/(A m2)]; 0 where no reading tells of it.
    smallest_moment_A_m2 : float array, shape (n_places,)
        Smallest moment that is found with the wanted probability [A m2]; infinite where none is.
    threshold : float
        Signal-to-noise above which a target counts as seen.
    """

    signal_per_moment: FloatArray
    smallest_moment_A_m2: FloatArray
    threshold: float

    def probability(self, moment_A_m2: ArrayLike) -> FloatArray:
        """Return the probability that a target of a moment is found at each place."""
        signal = np.asarray(moment_A_m2, dtype=np.float64) * self.signal_per_moment
        chance: FloatArray = ndtr(signal - self.threshold)
        return chance


def target_detection(
    place_easting_m: ArrayLike,
    place_northing_m: ArrayLike,
    *,
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    sensor_height_m: ArrayLike,
    noise_nT: ArrayLike,
    depth_m: float,
    ambient_nT: ArrayLike,
    detection: float = 0.9,
    false_alarm: float = 1e-3,
) -> TargetDetection:
    """Tell which compact targets at a depth the readings of a survey would show.

    Parameters
    ----------
    place_easting_m, place_northing_m : array, shape (n_places,)
        Places at which a target may lie, such as the nodes of a grid [m].
    easting_m, northing_m : array, shape (n,)
        Positions of the kept readings [m]; one without a position (NaN) is left out.
    sensor_height_m : float or array, shape (n,)
        Height of the sensor above ground [m].
    noise_nT : float or array, shape (n,)
        Sd of one reading, geology that isn't sought included, independent from reading to
        reading [nT].
    depth_m : float
        Depth of the target's centre below ground, positive down [m].
    ambient_nT : array, shape (3,)
        Ambient field towards grid north, grid east and down [nT], as `ambient_vector` gives it.
    detection : float
        Probability with which the smallest target is to be found (default 0.9).
    false_alarm : float
        Probability of a false alarm at one place (default 0.001, common practice).

    Returns
    -------
    TargetDetection

    Raises
    ------
    InputError
        When the lengths differ, the depth or an error isn't above zero, a sensor would be in the
        target, the field is no vector of three, or a probability isn't between 0 and 1.

    Notes
    -----
    The target is a dipole magnetised along the ambient field (a sphere or any compact body by
    induction). With a_i its anomaly at reading i for 1 A m2, sigma_i the noise and w = 1/sigma^2,
    the best linear detector, whose level is free, has the signal-to-noise

    ``s^2 = m^2 (sum w a^2 - (sum w a)^2 / sum w)``

    and finds it with probability ``Phi(s - z)``, z being the normal quantile of 1 less the false
    alarm (matched filter, Kay 1998, chapter 4, from memory). The level is free since the datum
    of a map is. Readings count within four heights of the sensor above the target, or four
    distances to the nearest reading where that is farther, so that a target far off all lines is
    judged by those beside it; those within a fifth of that height or distance are taken together
    (2 % at most). What lies beyond would fix the level better: midway between lines up to a
    third less may do.

    The anomaly is taken along the ambient field, which overstates nothing while it is far below
    it. Noise that neighbouring readings share (geology, base, levelling) finds less than this
    says: give its sd over the width of the anomaly, not that of single readings. Remanence,
    elongated bodies, overlapping anomalies and an interpreter's eye aren't in it; a target that
    can be found isn't one that was, and no clearance rests on this.

    References
    ----------
    Kay, S. M. (1998), Fundamentals of Statistical Signal Processing, volume 2, Detection Theory,
    Prentice Hall.

    Examples
    --------
    A line every 20 m, a reading each metre: above a line less is needed than between two.

    >>> east, north = np.repeat([0.0, 20.0, 40.0], 101), np.tile(np.arange(101.0), 3)
    >>> found = target_detection([20.0, 30.0], [50.0, 50.0], easting_m=east, northing_m=north,
    ...                          sensor_height_m=2.0, noise_nT=1.0, depth_m=3.0,
    ...                          ambient_nT=[0.0, 0.0, 50_000.0])
    >>> found.smallest_moment_A_m2.round(1).tolist()
    [1.5, 32.8]
    """
    places = _pairs(
        place_easting_m, place_northing_m, names=("place_easting_m", "place_northing_m")
    )
    readings = _pairs(easting_m, northing_m, names=("easting_m", "northing_m"))
    height = _for_each(sensor_height_m, len(readings), name="sensor_height_m") + depth_m
    noise = _for_each(noise_nT, len(readings), name="noise_nT")
    check_positive(depth_m, name="depth_m")
    _check_probabilities(detection, false_alarm)
    direction = _direction(ambient_nT)
    known = np.isfinite(readings).all(axis=1) & np.isfinite(height) & np.isfinite(noise)
    readings, height, noise = readings[known], height[known], noise[known]
    if np.any(noise <= 0):
        raise InputError("noise_nT must be above zero.", value=float(noise.min()))
    if np.any(height <= 0):
        raise InputError(
            "A sensor would be in the target.",
            value=float(height.min()),
            remedy="Give the depth below ground and the sensor's height above it, both positive.",
        )
    signal = np.zeros(len(places))
    usable = np.flatnonzero(np.isfinite(places).all(axis=1))
    if len(readings):
        signal[usable] = _signals(places[usable], readings, height, 1 / noise**2, direction)
    signal[~np.isfinite(places).all(axis=1)] = np.nan
    threshold = float(ndtri(1 - false_alarm))
    with np.errstate(divide="ignore"):
        smallest = (threshold + float(ndtri(detection))) / signal
    return TargetDetection(signal, smallest, threshold)


def smallest_sphere(
    moment_A_m2: ArrayLike, *, depth_m: float, susceptibility: float, ambient_nT: ArrayLike
) -> FloatArray:
    """Return the radius of the induced sphere that has a moment.

    Parameters
    ----------
    moment_A_m2 : array
        Moment [A m2], such as `TargetDetection.smallest_moment_A_m2`.
    depth_m : float
        Depth of its centre below ground [m].
    susceptibility : float
        Contrast of susceptibility [SI], above zero.
    ambient_nT : array, shape (3,)
        Ambient field towards north, east and down [nT].

    Returns
    -------
    array, shape of the input
        Radius [m]; infinite where the sphere would stick out of the ground: no buried sphere of
        that susceptibility is found there.

    Raises
    ------
    InputError
        When the depth or the susceptibility isn't above zero, or the field is no vector of three.

    Notes
    -----
    The inverse of `sphere_moment`, which holds demagnetisation: the moment goes as the third
    power of the radius.

    Examples
    --------
    >>> field = [0.0, 0.0, 50_000.0]
    >>> radius = smallest_sphere([1661.1, 1e6], depth_m=15.0, susceptibility=0.01,
    ...                          ambient_nT=field)
    >>> radius.round(3).tolist()
    [10.0, inf]
    """
    check_positive(depth_m, name="depth_m")
    check_positive(susceptibility, name="susceptibility")
    _direction(ambient_nT)
    unit = sphere_moment(ambient_nT, radius_m=1.0, susceptibility=susceptibility)
    moment = np.asarray(moment_A_m2, dtype=np.float64)
    radius: FloatArray = np.cbrt(moment / float(np.linalg.norm(unit)))
    return np.where(radius > depth_m, np.inf, radius)


def _pairs(first: ArrayLike, second: ArrayLike, *, names: tuple[str, str]) -> FloatArray:
    """Return two coordinates as one array of shape (n, 2)."""
    one, two = (np.ravel(np.asarray(axis, dtype=np.float64)) for axis in (first, second))
    check_same_length(**{names[0]: one, names[1]: two})
    return np.column_stack([one, two])


def _for_each(value: ArrayLike, count: int, *, name: str) -> FloatArray:
    """Return one value for each reading."""
    given = np.asarray(value, dtype=np.float64)
    if given.ndim:
        check_same_length(**{"easting_m": np.empty(count), name: given})
    return np.broadcast_to(given, (count,)).astype(np.float64)


def _check_probabilities(detection: float, false_alarm: float) -> None:
    """Raise unless both probabilities lie between 0 and 1."""
    for name, value in (("detection", detection), ("false_alarm", false_alarm)):
        if not 0 < value < 1:
            raise InputError(f"{name} must lie between 0 and 1.", value=value)


def _direction(ambient_nT: ArrayLike) -> FloatArray:
    """Return the unit vector of the ambient field towards north, east and down."""
    ambient = np.asarray(ambient_nT, dtype=np.float64)
    size = float(np.linalg.norm(ambient))
    if ambient.shape != (3,) or not (np.isfinite(size) and size > 0):
        raise InputError(
            "The ambient field must be its parts towards north, east and down.", value=ambient
        )
    unit: FloatArray = ambient / size
    return unit


def _signals(
    places: FloatArray,
    readings: FloatArray,
    height: FloatArray,
    weight: FloatArray,
    direction: FloatArray,
) -> FloatArray:
    """Return the signal-to-noise of a target of 1 A m2 at each place."""
    nearest, _ = cKDTree(readings).query(places)
    above = float(np.median(height))
    # Places as far from the readings, by factors of two, are worked on together.
    octave = np.floor(np.log2(np.maximum(nearest / above, 1.0))).astype(np.int64)
    signal = np.empty(len(places))
    for number in np.unique(octave):
        own = np.flatnonzero(octave == number)
        length = above * 2.0**number
        thinned = _thinned(readings, height, weight, cell=CELL * length)
        reach = REACH * np.maximum(above, nearest[own])
        signal[own] = _summed(places[own], reach, _squares(thinned, 2 * REACH * length), direction)
    return signal


def _squares(thinned: tuple[FloatArray, FloatArray, FloatArray], side: float) -> Squares:
    """Return readings sorted by squares of a side no shorter than the farthest reach."""
    readings, height, weight = thinned
    corner = readings.min(axis=0)
    column, row = np.floor((readings - corner) / side).astype(np.int64).T
    columns, rows = int(column.max()) + 1, int(row.max()) + 1
    square = row * columns + column
    order = np.argsort(square, kind="stable")
    starts = np.searchsorted(square[order], np.arange(columns * rows + 1))
    return readings[order], height[order], weight[order], starts, (columns, rows), corner, side


def _thinned(
    readings: FloatArray, height: FloatArray, weight: FloatArray, *, cell: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return readings with those of one cell put together at their middle."""
    corner = readings.min(axis=0)
    column, row = np.floor((readings - corner) / cell).astype(np.int64).T
    _, group = np.unique(column * (int(row.max()) + 1) + row, return_inverse=True)
    total: FloatArray = np.bincount(group, weights=weight).astype(np.float64)
    middle = [np.bincount(group, weights=weight * part) / total for part in (*readings.T, height)]
    return np.column_stack(middle[:2]), middle[2], total


@njit(nogil=True, cache=True)
def _summed(
    places: FloatArray, reach: FloatArray, squares: Squares, direction: FloatArray
) -> FloatArray:
    """Sum up the signal over the readings in reach of each place, their common level taken out."""
    readings, height, weight, starts, (columns, rows), corner, side = squares
    signal = np.empty(len(places))
    for k in range(len(places)):
        ones, firsts, seconds = 0.0, 0.0, 0.0
        at_column = int(np.floor((places[k, 0] - corner[0]) / side))
        at_row = int(np.floor((places[k, 1] - corner[1]) / side))
        for row in range(max(at_row - 1, 0), min(at_row + 2, rows)):
            first = row * columns + min(max(at_column - 1, 0), columns)
            last = row * columns + min(max(at_column + 2, 0), columns)
            for i in range(starts[first], starts[max(first, last)]):
                east, north = readings[i, 0] - places[k, 0], readings[i, 1] - places[k, 1]
                level = east * east + north * north
                if level > reach[k] * reach[k]:
                    continue
                square = level + height[i] * height[i]
                # The sensor lies above the target: its place is up, which is minus down.
                along = direction[0] * north + direction[1] * east - direction[2] * height[i]
                anomaly = 3.0 * along * along / square - 1.0
                anomaly *= FIELD_CONSTANT / (square * np.sqrt(square))
                ones += weight[i]
                firsts += weight[i] * anomaly
                seconds += weight[i] * anomaly * anomaly
        signal[k] = np.sqrt(max(seconds - firsts * firsts / ones, 0.0)) if ones > 0 else 0.0
    return signal
