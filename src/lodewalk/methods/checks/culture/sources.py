"""Compact sources near the path: how far from the sensor they are, and the physical limit."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.ndimage import maximum_filter1d
from scipy.optimize import brentq

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import BoolArray, IntArray
from lodewalk.validation import FloatArray

#: Distances of a source from the sensor, in sensor heights; each is as likely beforehand.
DISTANCES: Final = tuple(np.geomspace(0.3, 5.0, 16).tolist())

#: Places of a source from the middle of a window, in steps between readings.
PLACES: Final = (-0.4, -0.2, 0.0, 0.2, 0.4)

#: Half length of a window in sensor heights; the longer one for sources farther than `FAR`.
REACH: Final = (3.0, 6.0)

#: Distance from which the longer window is used, in sensor heights.
FAR: Final = 1.5

#: Sources closer together than this, in sensor heights, are one.
APART: Final = 1.5

#: A source nearer than this many sensor heights is near.
NEAR: Final = 2.6

#: Least and most readings on either side.
READINGS: Final = (5, 25)

#: Step between classes of spacing.
SPACING_STEP: Final = 1.15

#: Longest over shortest step between the readings of a window.
UNEVENNESS: Final = 3.0

#: Drop in the sum of squares that a source must bring, in noise variances.
LEAST_GAIN: Final = 100.0

#: Share of the peak by which a single dipole misses a real source, at least.
MISFIT: Final = 0.01


def narrowest_width(sensor_height_m: ArrayLike) -> FloatArray:
    """Return the least full width at half maximum of an anomaly from below the ground.

    Parameters
    ----------
    sensor_height_m : array
        Height of the sensor above ground [m], above zero.

    Returns
    -------
    array
        Width along the way [m].

    Raises
    ------
    InputError
        For a height not above zero.

    Notes
    -----
    Above a dipole at the distance ``z`` below the path the field is, with ``u = (x / z)^2``,
    ``3 s (1 + u)^-2.5 - (1 + u)^-1.5`` where the field and the moment lie in the plane across the
    way, s the square of the upright part. Its middle is ``3 s - 1``, and its flanks reach
    ``-0.4 (5 s)^-1.5``. The narrowest main peak of any direction is that of which the flanks are
    just as large: s = 0.3835, half maximum at ``sqrt(u) = 0.251``, full width 0.502 z. A search
    over all directions finds none narrower. With field and moment along the way the width is
    0.768 z, upright 1.001 z (the half-width rule of a sphere, z = 1.997 half widths); a line of
    dipoles, a pole and a sheet have more. A source below ground has ``z`` of the sensor height or
    more. Width alone doesn't tell iron on the ground from a boulder at it. Two sources of
    opposite sign side by side can make one peak narrower; the limit is for single ones.

    Examples
    --------
    >>> round(float(narrowest_width(1.8)), 2)
    0.9
    """
    height = np.asarray(sensor_height_m, dtype=np.float64)
    if (height <= 0).any():
        raise InputError("sensor_height_m must be above zero.", value=float(np.nanmin(height)))
    return np.asarray(_narrowest() * height)


@lru_cache(maxsize=1)
def _narrowest() -> float:
    """Return the narrowest width for a distance of 1."""
    share = brentq(lambda s: 3 * s - 1 - 0.4 * (5 * s) ** -1.5, 1 / 3, 1.0)
    half = (3 * share - 1) / 2
    root = brentq(lambda u: 3 * share * (1 + u) ** -2.5 - (1 + u) ** -1.5 - half, 0.0, 0.5)
    return 2 * float(np.sqrt(root))


@dataclass(frozen=True)
class Sources:
    """Compact sources along a way.

    Parameters
    ----------
    row : int array, shape (n_sources,)
        Reading nearest to the source.
    first, last : int array, shape (n_sources,)
        Readings between which its anomaly is above half of its maximum.
    peak_nT : array, shape (n_sources,)
        Its largest field, with its sign [nT].
    width_m : array, shape (n_sources,)
        Full width at half maximum along the way [m].
    distance_m : array, shape (n_sources,)
        Distance from the sensor [m].
    above_ground : array, shape (n_sources,)
        Probability that the source is nearer to the sensor than the ground.
    near : array, shape (n_sources,)
        Probability that it is nearer than 2.6 sensor heights.
    """

    row: IntArray
    first: IntArray
    last: IntArray
    peak_nT: FloatArray
    width_m: FloatArray
    distance_m: FloatArray
    above_ground: FloatArray
    near: FloatArray


def find_sources(
    value_nT: ArrayLike,
    distance_m: ArrayLike,
    *,
    sensor_height_m: ArrayLike,
    noise_nT: ArrayLike,
    least_nT: float = 2.0,
) -> Sources:
    """Find compact sources along a way and tell how far from the sensor they are.

    Parameters
    ----------
    value_nT : array, shape (n,)
        Total field in order of walking [nT].
    distance_m : array, shape (n,)
        Distance walked up to each reading, not decreasing [m].
    sensor_height_m, noise_nT : float or array, shape (n,)
        Height of the sensor above ground [m] and noise sd [nT].
    least_nT : float
        Smallest anomaly [nT] (default 2).

    Returns
    -------
    Sources

    Notes
    -----
    In a window of three sensor heights to either side, six for a source farther than 1.5 of them,
    a parabola and a dipole are fitted to the readings, the dipole
    ``(a + b x + c x^2) / (x^2 + z^2)^2.5``: that of a dipole of any direction in a field of any
    direction at the distance ``z`` from a straight path. The sums of squares of 16 distances
    from 0.3 to 5 sensor heights, each as likely beforehand, give their probabilities, with noise
    or, where that is more, the misfit of the best one as sd. A source stands
    where the fit gains most. Windows in which a step is over three times another, as at a
    stop or a gap, aren't judged. Sources closer together than their distance are seen as one.
    With readings farther apart than the source is, its distance can't be told and the
    probabilities stay near what they were beforehand.

    Examples
    --------
    An upright dipole 1 m below a sensor that is 2 m above ground:

    >>> along = np.arange(-15.0, 15.0, 0.5)
    >>> field = 50 * (2 - along**2) / (1 + along**2) ** 2.5
    >>> found = find_sources(field, along, sensor_height_m=2.0, noise_nT=0.1)
    >>> found.distance_m.round(1).tolist(), bool(found.above_ground[0] > 0.99)
    ([1.1], True)
    """
    value, distance = np.asarray(value_nT, float), np.asarray(distance_m, float)
    height = np.broadcast_to(np.asarray(sensor_height_m, float), value.shape)
    noise = np.maximum(np.broadcast_to(np.asarray(noise_nT, float), value.shape), 1e-6)
    moved = _moved(distance)
    at = _Way(value[moved], distance[moved], height[moved], noise[moved])
    gain = _gains(at)
    step = np.diff(at.distance) / at.height[1:]
    apart = (
        max(READINGS[0] - 1, round(APART / max(float(np.median(step)), 0.05))) if step.size else 1
    )
    chosen = np.flatnonzero((gain == maximum_filter1d(gain, 2 * apart + 1)) & (gain > LEAST_GAIN))
    found = _described(at, chosen)
    keep = np.flatnonzero(np.abs(found.peak_nT) >= least_nT)
    # Windows to both sides of a strong source may gain more than the one that it is in the
    # middle of: they describe one source.
    keep = keep[_apart(found.row[keep], apart)]
    rows = {name: moved[getattr(found, name)[keep]] for name in ("row", "first", "last")}
    rest = ("peak_nT", "width_m", "distance_m", "above_ground", "near")
    return Sources(**rows, **{name: getattr(found, name)[keep] for name in rest})


def _apart(row: IntArray, apart: int) -> IntArray:
    """Return the places of rows in order, without those nearer than `apart` to the one before."""
    kept: list[int] = []
    for place in np.argsort(row, kind="stable").tolist():
        if not kept or row[place] - row[kept[-1]] >= apart:
            kept.append(place)
    return np.array(kept, dtype=np.int64)


@dataclass(frozen=True)
class _Way:
    """Readings at places along a way."""

    value: FloatArray
    distance: FloatArray
    height: FloatArray
    noise: FloatArray


def _moved(distance: FloatArray) -> IntArray:
    """Return the readings at which the walker has moved on since the last one of them."""
    step = np.diff(distance)
    usual = float(np.median(step[step > 0])) if (step > 0).any() else 1.0
    # Readings at a stop fall into one bin of a third of a usual step.
    bins = np.floor(distance / (usual / 3)).astype(np.int64)
    return np.flatnonzero(np.diff(bins, prepend=bins[:1] - 1) != 0)


@dataclass(frozen=True)
class _Fits:
    """Bases of the background and of background and dipole, and dipoles on a fine grid."""

    offsets: IntArray
    background: FloatArray
    both: FloatArray
    design: FloatArray


@lru_cache(maxsize=128)
def _fits(side: int, spacing_kind: int) -> _Fits:
    """Return the fits at one spacing of the readings, with `side` readings on either side."""
    step = SPACING_STEP**spacing_kind
    place = np.asarray(np.arange(-side, side + 1) * step, dtype=np.float64)
    background = np.stack([place**0, place, place**2], axis=1)
    designs = [
        np.concatenate([background, _dipole(place - centre * step, depth)], axis=1)
        for depth in DISTANCES
        for centre in PLACES
    ]
    both = np.linalg.qr(np.stack(designs))[0]
    return _Fits(
        offsets=np.arange(-side, side + 1),
        background=np.linalg.qr(background)[0],
        both=np.asarray(both, dtype=np.float64),
        design=np.stack(designs),
    )


def _dipole(place: FloatArray, depth: float) -> FloatArray:
    """Return the three shapes of which the field of a dipole at a distance is made up."""
    ratio = place / depth
    fall = (1 + ratio**2) ** -2.5
    return np.stack([fall, ratio * fall, ratio**2 * fall], axis=-1)


def _described(way: _Way, rows: IntArray) -> Sources:
    """Return the sources at some rows, those far away from the longer window."""
    parts: list[Sources] = []
    for reach in REACH:
        far: list[IntArray] = []
        for kind, here in _kinds(way, rows, reach):
            found = _describe(way, here, kind)
            is_far = found.distance_m > FAR * way.height[found.row]
            longer = is_far & (reach < REACH[-1]) & _has_room(way, here)
            far.append(here[longer])
            parts.append(_part(found, np.flatnonzero(~longer)))
        rows = np.sort(np.concatenate([rows[:0], *far]))
    return _joined(parts)


def _has_room(way: _Way, rows: IntArray) -> BoolArray:
    """Tell at which rows the longer window is even, too."""
    good = [here for _, here in _kinds(way, rows, REACH[-1])]
    return np.isin(rows, np.concatenate([rows[:0], *good]))


def _part(sources: Sources, rows: IntArray) -> Sources:
    """Return some of the sources."""
    return Sources(**{name: column[rows] for name, column in vars(sources).items()})


def _kinds(way: _Way, rows: IntArray, reach: float) -> list[tuple[tuple[int, int], IntArray]]:
    """Return the rows at the middle of an even window, by readings on a side and spacing."""
    least, most = READINGS
    step = np.diff(way.distance) / way.height[1:]
    if rows.size == 0 or step.size < 2 * least:
        return []
    # The local step, as a class, decides how many readings make a window.
    total = np.concatenate(([0.0], np.cumsum(step)))
    low, high = np.maximum(rows - least, 0), np.minimum(rows + least, total.size - 1)
    local = np.maximum((total[high] - total[low]) / (high - low), 1e-3)
    kind = np.round(np.log(local) / np.log(SPACING_STEP)).astype(np.int64)
    side = np.clip(np.round(reach / local), least, most).astype(np.int64)
    inside = (rows >= side) & (rows + side < total.size)
    rows, kind, side = rows[inside], kind[inside], side[inside]
    pairs, which = np.unique(np.stack((side, kind), axis=1), axis=0, return_inverse=True)
    which = which.reshape(-1)
    found = []
    for number, (readings, spacing) in enumerate(pairs.tolist()):
        here = rows[which == number]
        around = step[here[:, np.newaxis] + np.arange(-readings, readings)]
        here = here[around.max(axis=1) <= UNEVENNESS * np.maximum(around.min(axis=1), 1e-6)]
        found.append(((readings, spacing), here))
    return found


def _windows(way: _Way, rows: IntArray, fits: _Fits) -> tuple[FloatArray, FloatArray]:
    """Return the readings around each row, and the sum of squares about the background."""
    middle = np.median(way.value[rows[:, np.newaxis] + fits.offsets], axis=1, keepdims=True)
    window = way.value[rows[:, np.newaxis] + fits.offsets] - middle
    rest = (window**2).sum(axis=1) - ((window @ fits.background) ** 2).sum(axis=1)
    return window, np.maximum(rest, 0.0)


def _gains(way: _Way) -> FloatArray:
    """Return the drop in the sum of squares that the best dipole brings, in noise variances."""
    gain = np.zeros(way.value.size)
    for (side, kind), rows in _kinds(way, np.arange(way.value.size), REACH[0]):
        fits = _fits(side, kind)
        window, rest = _windows(way, rows, fits)
        busy = np.flatnonzero(rest > LEAST_GAIN * way.noise[rows] ** 2)
        best = np.zeros(busy.size)
        for model in range(len(PLACES) // 2, len(fits.both), len(PLACES)):
            left = window[busy] @ fits.both[model]
            np.maximum(best, (left**2).sum(axis=1), out=best)
        inner = (window[busy] ** 2).sum(axis=1) - rest[busy]
        gain[rows[busy]] = (best - inner) / way.noise[rows[busy]] ** 2
    return gain


def _describe(way: _Way, rows: IntArray, kind: tuple[int, int]) -> Sources:
    """Return the sources at some rows."""
    fits = _fits(*kind)
    window, _ = _windows(way, rows, fits)
    left = np.stack([(window @ both) for both in fits.both])
    misfit = np.maximum((window**2).sum(axis=1) - (left**2).sum(axis=2), 0.0)
    best = misfit.argmin(axis=0)
    freedom = max(window.shape[1] - fits.both.shape[2] - 2, 1)
    size = np.ptp(window, axis=1)
    variance = np.maximum(way.noise[rows] ** 2 + (MISFIT * size) ** 2, misfit.min(axis=0) / freedom)
    likely = np.exp(-0.5 * (misfit - misfit.min(axis=0)) / variance)
    likely = likely.reshape(len(DISTANCES), len(PLACES), -1).max(axis=1)
    likely /= likely.sum(axis=0)
    depth = np.exp(np.log(DISTANCES) @ likely)
    shape = [_shape(fits, model, part) for model, part in zip(best, window, strict=True)]
    peak, off, low, high = np.array(shape, dtype=np.float64).reshape(-1, 4).T
    step = SPACING_STEP ** kind[1] * way.height[rows]
    row = np.clip(rows + np.round(off).astype(np.int64), 0, way.value.size - 1)
    return Sources(
        row=row,
        first=np.clip(rows + np.ceil(low).astype(np.int64), 0, row),
        last=np.clip(rows + np.floor(high).astype(np.int64), row, way.value.size - 1),
        # A source much wider than its window trades its peak for the background's.
        peak_nT=np.clip(peak, -size, size),
        width_m=(high - low) * step,
        distance_m=depth * way.height[rows],
        above_ground=_share_below(likely, 1.0),
        near=_share_below(likely, NEAR),
    )


def _share_below(likely: FloatArray, limit: float) -> FloatArray:
    """Return the probability of a distance below the limit, in sensor heights."""
    edges = np.log(DISTANCES) + 0.5 * (np.log(DISTANCES[1]) - np.log(DISTANCES[0]))
    weight = np.clip((np.log(limit) - edges) / (edges[1] - edges[0]) + 1.0, 0.0, 1.0)
    return np.asarray(weight @ likely)


def _shape(fits: _Fits, model: int, window: FloatArray) -> tuple[float, float, float, float]:
    """Return peak, its place and the places of the half maximum on either side [readings]."""
    strength = np.linalg.lstsq(fits.design[model], window, rcond=None)[0][3:]
    depth, centre = DISTANCES[model // len(PLACES)], PLACES[model % len(PLACES)]
    step = fits.design[0, -1, 1] / fits.offsets[-1]
    place = np.linspace(fits.offsets[0], fits.offsets[-1], 40 * fits.offsets[-1] + 1)
    field = _dipole((place - centre) * step, depth) @ strength
    top = int(np.abs(field).argmax())
    below: BoolArray = field * np.sign(field[top]) < np.abs(field[top]) / 2
    before, after = np.flatnonzero(below[:top]), np.flatnonzero(below[top:])
    low = place[before[-1]] if before.size else place[0]
    high = place[top + after[0]] if after.size else place[-1]
    return float(field[top]), float(place[top]), float(low), float(high)


def _joined(parts: list[Sources]) -> Sources:
    """Put sources together."""
    empty = np.zeros(0)
    none = Sources(*(np.zeros(0, dtype=np.int64),) * 3, *(empty,) * 5)
    names = list(vars(none))
    return Sources(
        **{name: np.concatenate([getattr(part, name) for part in [none, *parts]]) for name in names}
    )
