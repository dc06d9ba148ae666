"""Markers followed across lines: the shape of the anomaly compared from line to line."""

from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.methods.lineaments.trace import Ridge
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Half the profile compared, its step, and the most that one is shifted [line spacings].
HALF_PROFILE, STEP, SHIFT = 2.0, 0.1, 0.5
#: Readings within this are averaged [line spacings].
MEAN: Final = 0.2
#: Less alike than this, crests that line up by chance are no one body: boulders, mostly.
LEAST_ALIKE: Final = 0.5
#: Readings farther than this from a crossing belong to no profile [line spacings].
_AWAY: Final = 8.0


class Marker(NamedTuple):
    """What survey lines say of one traced line.

    Parameters
    ----------
    passage : int array, shape (n,)
        Passages that cross it, in order along it.
    easting_m, northing_m : array, shape (n,)
        Where they do [m].
    alike : float
        Median correlation of the anomaly's shape from each to the next; NaN for fewer than two.
    """

    passage: NDArray[np.int64]
    easting_m: FloatArray
    northing_m: FloatArray
    alike: float


def follow_marker(
    ridge: Ridge,
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    anomaly_nT: ArrayLike,
    passage: ArrayLike,
    *,
    line_spacing_m: float,
) -> Marker:
    """Return the survey lines that cross a traced line, and how alike its anomaly is on them.

    Parameters
    ----------
    ridge : Ridge
        A line from `trace_ridges`.
    easting_m, northing_m, anomaly_nT : array, shape (n,)
        Readings in the order walked [m, nT].
    passage : int array, shape (n,)
        Number of the passage of each; below zero for none. Leave tie lines out.
    line_spacing_m : float
        Distance between survey lines [m].

    Returns
    -------
    Marker

    Notes
    -----
    On each crossing line the readings are taken at their distance across the strike, two line
    spacings each way, averaged over a fifth of one each way and without their straight-line
    trend; two neighbours are compared at the shift, of half a line spacing at most, that makes
    them most alike. Pearson's correlation.

    Examples
    --------
    >>> north = np.tile(np.arange(0.0, 200.0, 2.0), 3)
    >>> east, number = np.repeat([0.0, 20.0, 40.0], 100), np.repeat([0, 1, 2], 100)
    >>> ridge = Ridge(np.arange(-10.0, 60.0, 10), np.full(7, 100.0), np.ones(7), np.ones(7), 5., 1.)
    >>> found = follow_marker(ridge, east, north, np.exp(-((north - 100) / 15) ** 2), number,
    ...                       line_spacing_m=20.0)
    >>> found.passage.tolist(), found.northing_m.tolist(), round(found.alike, 6)
    ([0, 1, 2], [100.0, 100.0, 100.0], 1.0)
    """
    check_positive(line_spacing_m, name="line_spacing_m")
    check_same_length(
        easting_m=easting_m, northing_m=northing_m, anomaly_nT=anomaly_nT, passage=passage
    )
    place = np.column_stack([np.asarray(easting_m, float), np.asarray(northing_m, float)])
    anomaly, number = np.asarray(anomaly_nT, dtype=float), np.asarray(passage)
    way = np.column_stack([ridge.easting_m, ridge.northing_m])
    found = []
    for own in np.unique(number[number >= 0]):
        rows = np.flatnonzero((number == own) & np.isfinite(place[:, 0]) & np.isfinite(anomaly))
        crossing = _crossing(way, place[rows])
        if crossing is not None:
            at, where, along = crossing
            found.append(
                (
                    at,
                    int(own),
                    where,
                    _profile(place[rows], anomaly[rows], where, along, line_spacing_m),
                )
            )
    found.sort(key=lambda item: item[:2])
    pairs = [_likeness(a[3], b[3]) for a, b in pairwise(found)]
    known = [pair for pair in pairs if np.isfinite(pair)]
    where = np.array([item[2] for item in found]).reshape(-1, 2)
    return Marker(
        np.array([item[1] for item in found], dtype=np.int64),
        where[:, 0],
        where[:, 1],
        float(np.median(known)) if known else float("nan"),
    )


def _crossing(way: FloatArray, walked: FloatArray) -> tuple[float, FloatArray, FloatArray] | None:
    """Return where on a way a walk crosses it first: number of the corner, place, direction."""
    if len(walked) < 2 or len(way) < 2:
        return None
    first, last = walked[:-1], walked[1:]
    for k in range(len(way) - 1):
        step = way[k + 1] - way[k]
        side = [(p - way[k]) @ [step[1], -step[0]] for p in (first, last)]
        for i in np.flatnonzero((side[0] > 0) != (side[1] > 0)):
            share = side[0][i] / (side[0][i] - side[1][i])
            where = first[i] + share * (last[i] - first[i])
            on = float((where - way[k]) @ step / (step @ step))
            if 0.0 <= on <= 1.0:
                return k + on, where, step / np.hypot(*step)
    return None


def _profile(
    place: FloatArray, anomaly: FloatArray, where: FloatArray, along: FloatArray, spacing: float
) -> FloatArray:
    """Return the anomaly at even steps across the strike; NaN beyond the readings."""
    across = (place - where) @ [along[1], -along[0]] / spacing
    near = np.hypot(*(place - where).T) <= _AWAY * spacing
    count = int(np.rint((HALF_PROFILE + SHIFT) / STEP))
    at = STEP * np.arange(-count, count + 1)
    if near.sum() < 5:
        return np.full(at.size, np.nan)
    order = np.argsort(across[near], kind="stable")
    x, y = across[near][order], anomaly[near][order]
    inside = (at >= x[0]) & (at <= x[-1])
    total = np.concatenate([[0.0], np.cumsum(y)])
    first, last = np.searchsorted(x, at - MEAN), np.searchsorted(x, at + MEAN, side="right")
    mean = (total[last] - total[first]) / np.maximum(last - first, 1)
    return np.where(inside, np.where(last > first, mean, np.interp(at, x, y)), np.nan)


def _likeness(one: FloatArray, two: FloatArray) -> float:
    """Return the largest correlation of two profiles over small shifts."""
    most = int(np.rint(SHIFT / STEP))
    middle = one[most:-most]
    best = float("nan")
    for shift in range(-most, most + 1):
        other = two[most + shift : two.size - most + shift]
        known = np.isfinite(middle) & np.isfinite(other)
        if known.sum() < 0.7 * middle.size:
            continue
        a, b = (_about_trend(part[known]) for part in (middle, other))
        size = float(np.sqrt((a @ a) * (b @ b)))
        if size > 0:
            value = float(a @ b) / size
            best = value if not best >= value else best
    return best


def _about_trend(values: FloatArray) -> FloatArray:
    """Return values less their straight line."""
    at = np.arange(values.size) - (values.size - 1) / 2
    slope = float(at @ values) / float(at @ at)
    made: FloatArray = values - values.mean() - slope * at
    return made
