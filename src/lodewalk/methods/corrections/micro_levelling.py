"""Guarded micro-levelling on line data: small stripes along lines, taken off up to a limit."""

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike
from scipy.linalg import solveh_banded
from scipy.ndimage import median_filter

from lodewalk.methods.checks.spans import BoolArray
from lodewalk.methods.corrections.levelling_model import IntArray
from lodewalk.methods.corrections.lines import main_azimuth
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Sd of a Gaussian that halves a wave, in wavelengths: sqrt(ln 2 / 2) / pi.
HALVES: Final = 0.18739
#: Places at which lines are compared, to the shortest wavelength.
PLACES: Final = 12.0
#: Readings within this many sd of the weights are used, at least so many.
REACH: Final = 4.0
LEAST: Final = 3
#: Lines farther apart than this many usual spacings are not compared.
FAR_LINES: Final = 3.0
#: Slopes across this many lines tell what is regional.
REGIONAL_LINES: Final = 9
#: The guard begins and is complete where neighbours differ by this many limits.
GUARD: Final = (1.5, 2.0)


@dataclass(frozen=True)
class MicroLevelling:
    """Corrections of micro-levelling; see `micro_level`.

    Parameters
    ----------
    level_nT : array, shape (n,)
        Correction of each reading, to be taken off [nT]; 0 where the guard forbids one or there
        are no neighbours, NaN off lines. Adding it again undoes it.
    free_nT : array, shape (n,)
        What it would be without limit and guard [nT].
    guard : array, shape (n,)
        Share let through by the guard, 0 to 1; NaN off lines.
    """

    level_nT: FloatArray
    free_nT: FloatArray
    guard: FloatArray


def micro_level(
    passage: ArrayLike,
    along_m: ArrayLike,
    across_m: ArrayLike,
    value_nT: ArrayLike,
    *,
    limit_nT: float,
    min_wavelength_m: float,
    width_lines: float = 2.0,
) -> MicroLevelling:
    """Find stripes along lines that levelling left, no larger than a limit.

    Parameters
    ----------
    passage : int array, shape (n,)
        Number of the passage of each reading; below 0 off lines and on tie lines.
    along_m, across_m : array, shape (n,)
        Position along the direction of the lines and across it [m], the same axes for all lines.
    value_nT : array, shape (n,)
        Levelled anomaly [nT]; NaN where missing.
    limit_nT : float
        Largest correction [nT]; three times the sd that levelling leaves is common practice.
    min_wavelength_m : float
        Wavelength along the line below which nothing is taken off [m]; halved there.
    width_lines : float
        A stripe of this width in line spacings (half a wavelength across) is halved, a wider one
        kept, a narrower one taken off. The default of 2 is common practice.

    Returns
    -------
    MicroLevelling

    Raises
    ------
    InputError
        When lengths differ, or a limit, wavelength or width isn't above zero.

    Notes
    -----
    Each line is smoothed along itself (local straight fits with Gaussian weights). At each place
    the departure of line i from the straight between its neighbours is ``D L``; the correction c
    makes ``|D (L - c)|^2 + m |c|^2`` least, with ``m = (1 - cos(pi / width))^2``, so a wave
    across of k per line is taken off by ``(1 - cos k)^2 / ((1 - cos k)^2 + m)``. It is bent to
    ``limit tanh(c / limit)``. Where a neighbour differs by more than two limits (beyond the
    regional slope, the median of nine lines), two errors of the size of the limit don't explain
    it and nothing is taken off; from one and a half limits on, less.

    **Geology along the lines is lost up to the limit**: at this size and width it cannot be told
    from stripes. So it is for pictures and belongs off where line-parallel bodies matter.

    Examples
    --------
    Of nine flat lines the fifth is 0.5 nT too high; part of that is seen as a stripe:

    >>> line, along = np.repeat(np.arange(9), 101), np.tile(np.arange(0.0, 1010.0, 10.0), 9)
    >>> found = micro_level(line, along, 25.0 * line, 0.5 * (line == 4), limit_nT=1.5,
    ...                     min_wavelength_m=300.0)
    >>> [round(float(found.level_nT[line == i].mean()), 2) for i in (4, 0)]
    [0.21, 0.01]
    """
    check_same_length(passage=passage, along_m=along_m, across_m=across_m, value_nT=value_nT)
    check_positive(limit_nT, name="limit_nT")
    check_positive(min_wavelength_m, name="min_wavelength_m")
    check_positive(width_lines, name="width_lines")
    number = np.atleast_1d(np.asarray(passage, dtype=np.int64))
    along, across, value = (
        np.atleast_1d(np.asarray(a, dtype=float)) for a in (along_m, across_m, value_nT)
    )
    known = np.flatnonzero((number >= 0) & np.isfinite(along + across + value))
    out = [np.full(number.size, np.nan) for _ in range(3)]
    if not known.size:
        return MicroLevelling(*out)
    step = min_wavelength_m / PLACES
    places = np.arange(along[known].min(), along[known].max() + step, step)
    rows = _by_passage(number, known)
    columns = np.stack([across, value], axis=1)
    profiles = np.stack(
        [_smoothed(along[r], columns[r], places, HALVES * min_wavelength_m) for r in rows]
    )
    found = _corrections(profiles, limit_nT, width_lines)
    for r in rows:
        for target in out:
            target[r] = 0.0
    for r, parts in zip(rows, found, strict=True):
        there = np.isfinite(parts[:, 0])
        if there.any():
            for target, part in zip(out, parts.T, strict=True):
                target[r] = np.interp(along[r], places[there], part[there])
    return MicroLevelling(*out)


class Removed(NamedTuple):
    """What micro-levelling took off, over the readings on lines.

    Parameters
    ----------
    readings : int
        Number of readings on lines.
    rms_nT, most_nT : float
        Root mean square and largest size of the correction [nT].
    constant_share : float
        Share of its power that is one constant a passage, and so goes along the whole line.
    limit_share : float
        Share of the readings where the limit bends the correction: without it, it would be as
        large as the limit or larger.
    guarded_share : float
        Share of the readings where the guard forbids the correction, in part or altogether.
    """

    readings: int
    rms_nT: float
    most_nT: float
    constant_share: float
    limit_share: float
    guarded_share: float


def removed(passage: ArrayLike, found: MicroLevelling, *, limit_nT: float) -> Removed:
    """Sum up what `micro_level` took off.

    Parameters
    ----------
    passage : int array, shape (n,)
        As for `micro_level`.
    found : MicroLevelling
        What it returned.
    limit_nT : float
        The limit that it was given [nT].

    Returns
    -------
    Removed

    Examples
    --------
    Two readings on each of two lines; what the second lost is no constant:

    >>> took = np.array([0.5, 0.5, 0.5, -0.5])
    >>> removed([0, 0, 1, 1], MicroLevelling(took, took, np.ones(4)), limit_nT=0.5)
    Removed(readings=4, rms_nT=0.5, most_nT=0.5, constant_share=0.5, limit_share=1.0, \
guarded_share=0.0)
    """
    number = np.atleast_1d(np.asarray(passage, dtype=np.int64))
    check_same_length(passage=number, level_nT=found.level_nT)
    known = np.flatnonzero((number >= 0) & np.isfinite(found.level_nT))
    level = found.level_nT[known]
    power = float(np.sum(level**2))
    if not power:
        return Removed(known.size, 0.0, 0.0, 0.0, 0.0, _share(found.guard[known] < 1))
    constants = sum(r.size * np.mean(found.level_nT[r]) ** 2 for r in _by_passage(number, known))
    return Removed(
        readings=known.size,
        rms_nT=float(np.sqrt(power / known.size)),
        most_nT=float(np.max(np.abs(level))),
        constant_share=float(constants) / power,
        limit_share=_share(np.abs(found.free_nT[known]) >= limit_nT),
        guarded_share=_share(found.guard[known] < 1),
    )


def _share(true: BoolArray) -> float:
    """Return the share that is true; 0 of nothing."""
    return float(np.mean(true)) if true.size else 0.0


def line_axes(
    easting_m: ArrayLike, northing_m: ArrayLike, *, azimuth_deg: ArrayLike, length_m: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Turn positions to the common direction of lines.

    Parameters
    ----------
    easting_m, northing_m : array, shape (n,)
        Positions [m].
    azimuth_deg, length_m : array, shape (lines,)
        Azimuth [degrees] and length [m] of the lines; an azimuth may be NaN.

    Returns
    -------
    along, across : array, shape (n,)
        Distance along the mean direction of the lines, weighted by length, and to the right of
        it, from the mean position [m].

    Examples
    --------
    >>> along, across = line_axes([0.0, 3.0], [0.0, 8.0], azimuth_deg=[0.0, 180.0],
    ...                           length_m=[50.0, 50.0])
    >>> along.round(9).tolist(), across.round(9).tolist()
    ([-4.0, 4.0], [-1.5, 1.5])
    """
    azimuth, length = (np.asarray(a, dtype=np.float64) for a in (azimuth_deg, length_m))
    known = np.isfinite(azimuth)
    main = main_azimuth(azimuth[known], length[known]) if known.any() else 0.0
    east, north = (np.asarray(a, dtype=np.float64) for a in (easting_m, northing_m))
    if np.isfinite(east + north).any():
        east, north = east - np.nanmean(east), north - np.nanmean(north)
    return (
        east * np.sin(main) + north * np.cos(main),
        east * np.cos(main) - north * np.sin(main),
    )


def _by_passage(number: IntArray, known: IntArray) -> list[IntArray]:
    """Return the readings of each passage."""
    order = known[np.argsort(number[known], kind="stable")]
    return np.split(order, np.flatnonzero(np.diff(number[order])) + 1)


def _smoothed(along: FloatArray, values: FloatArray, places: FloatArray, sd_m: float) -> FloatArray:
    """Return local straight fits (places, columns); NaN beyond the line and in its gaps."""
    out = np.full((places.size, values.shape[1]), np.nan)
    order = np.argsort(along, kind="stable")
    s, v = along[order], values[order]
    low, high = (np.searchsorted(s, places + side * REACH * sd_m) for side in (-1, 1))
    beside = np.searchsorted(s, places - sd_m) < np.searchsorted(s, places + sd_m)
    inside = np.flatnonzero(beside & (high - low >= LEAST))
    _fit_straight((s - s[0]) / sd_m, v, (places - s[0]) / sd_m, inside, low, high, out)
    return out


@njit(nogil=True, cache=True)
def _fit_straight(
    s: FloatArray,
    values: FloatArray,
    places: FloatArray,
    wanted: IntArray,
    low: IntArray,
    high: IntArray,
    out: FloatArray,
) -> None:
    """Fill `out` with the weighted straight fits through the readings from `low` to `high`."""
    for i in wanted:
        s0, s1, s2 = 0.0, 0.0, 0.0
        v0, v1 = np.zeros(values.shape[1]), np.zeros(values.shape[1])
        for j in range(low[i], high[i]):
            away = s[j] - places[i]
            weight = np.exp(-0.5 * away * away)
            s0 += weight
            s1 += weight * away
            s2 += weight * away * away
            v0 += weight * values[j]
            v1 += weight * away * values[j]
        width = s0 * s2 - s1 * s1
        if width > 0:
            out[i] = (s2 * v0 - s1 * v1) / width


def _corrections(profiles: FloatArray, limit: float, width_lines: float) -> FloatArray:
    """Return limited correction, free correction and guard (lines, places, 3)."""
    out = np.full((*profiles.shape[:2], 3), np.nan)
    damping = (1 - np.cos(np.pi / max(width_lines, 1.0))) ** 2
    usual = _usual_spacing(profiles[:, :, 0])
    for place in range(profiles.shape[1]):
        there = np.flatnonzero(np.isfinite(profiles[:, place, 0]))
        order = there[np.argsort(profiles[there, place, 0], kind="stable")]
        across, value = profiles[order, place].T
        near = np.diff(across) <= FAR_LINES * usual
        free = _stripes(across, value, near, damping)
        guard = _guard(across, value, near, limit)
        out[order, place] = np.stack([limit * np.tanh(free / limit) * guard, free, guard], axis=1)
    return out


def _usual_spacing(across: FloatArray) -> float:
    """Return the median distance from a line to the next at the same place [m]."""
    ordered = np.sort(across, axis=0)  # NaN last
    steps = np.diff(ordered, axis=0)
    steps = steps[np.isfinite(steps)]
    return float(np.median(steps)) if steps.size else np.inf


def _stripes(
    across: FloatArray,
    value: FloatArray,
    near: np.ndarray[tuple[int], np.dtype[np.bool_]],
    damping: float,
) -> FloatArray:
    """Return the part of each line that its neighbours don't share, without a limit [nT]."""
    middle = np.flatnonzero(near[:-1] & near[1:]) + 1
    if not middle.size:
        return np.zeros(value.size)
    before, after = across[middle] - across[middle - 1], across[middle + 1] - across[middle]
    both = before + after
    share = np.divide(after, both, out=np.full(both.size, 0.5), where=both > 0)
    parts = (-share, np.ones(middle.size), share - 1.0)
    departure = sum(c * value[middle + k] for k, c in zip((-1, 0, 1), parts, strict=True))
    observed = np.zeros(value.size)
    band = np.zeros((3, value.size))  # of the symmetric matrix D'D + m, lower form
    band[0] = damping
    for k, c in zip((-1, 0, 1), parts, strict=True):
        observed[middle + k] += c * departure
        band[0, middle + k] += c**2
    band[1, middle - 1] += parts[0] * parts[1]
    band[1, middle] += parts[1] * parts[2]
    band[2, middle - 1] += parts[0] * parts[2]
    return np.asarray(solveh_banded(band, observed, lower=True))


def _guard(
    across: FloatArray,
    value: FloatArray,
    near: np.ndarray[tuple[int], np.dtype[np.bool_]],
    limit: float,
) -> FloatArray:
    """Return how much of a correction each line may have: 0 where a neighbour differs too much."""
    if value.size < 2:
        return np.ones(value.size)
    apart, step = np.diff(across), np.diff(value)
    slope = np.divide(step, apart, out=np.zeros_like(step), where=apart > 0)
    regional = median_filter(slope, size=REGIONAL_LINES, mode="nearest")
    beyond = np.where(near, np.abs(step - regional * apart), 0.0)
    most = np.maximum(np.append(beyond, 0.0), np.append(0.0, beyond)) / limit
    through: FloatArray = np.clip((GUARD[1] - most) / (GUARD[1] - GUARD[0]), 0.0, 1.0)
    return through
