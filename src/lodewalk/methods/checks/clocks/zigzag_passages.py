"""Parallel passages of a track: when each place along them was passed, and which lie beside."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.methods.checks.spans import BoolArray, IntArray
from lodewalk.methods.corrections.linear import interpolate_linear
from lodewalk.methods.corrections.lines import passage_geometry, split_track, tie_lines
from lodewalk.validation import FloatArray

#: A passage that turns from the survey's main direction by more than this is left out [degrees].
MAX_OFF_AXIS_DEG: Final = 8.0

#: A passage counts when there are readings for this share of it, give or take the clock's offset.
LEAST_READ: Final = 0.3

#: Sharper bends of the track end a passage [degrees] (common practice).
MAX_TURN_DEG: Final = 40.0

#: Departures of the track from the straight up to this are noise [m]: five sd of 1.6 m.
SMOOTHING_M: Final = 8.0

#: Shortest passage when nothing tells how long the lines are [m].
DEFAULT_MIN_LENGTH_M: Final = 80.0


@dataclass(frozen=True)
class Track:
    """Fixes with a position, in order of the track's own time [s, m]."""

    time_s: FloatArray
    easting_m: FloatArray
    northing_m: FloatArray


@dataclass(frozen=True)
class Passages:
    """Parallel passages in order of their place across; see `parallel_passages`.

    Parameters
    ----------
    time_s : array, shape (n, places)
        The track's time at even steps along the common direction [s]; NaN beyond a passage.
    across_m : array, shape (n,)
        Mean place across, increasing [m].
    velocity_m_s : array, shape (n,)
        Usual speed along the common direction, negative against it [m/s].
    beside : int array, shape (n, 2)
        The next passage on either side; -1 where there is none near enough.
    step_m : float
        Step between places [m].
    """

    time_s: FloatArray
    across_m: FloatArray
    velocity_m_s: FloatArray
    beside: IntArray
    step_m: float

    def __len__(self) -> int:
        return len(self.across_m)

    def coarser(self, every: int) -> "Passages":
        """Return the same passages with every so-manieth place."""
        rows = self.time_s[:, ::every]
        return Passages(rows, self.across_m, self.velocity_m_s, self.beside, self.step_m * every)


def clean_track(time_s: ArrayLike, easting_m: ArrayLike, northing_m: ArrayLike) -> Track:
    """Return the fixes that have a time and a position, in order, one for each time."""
    parts = [
        np.atleast_1d(np.asarray(a, dtype=np.float64)) for a in (time_s, easting_m, northing_m)
    ]
    known = np.isfinite(parts[0] + parts[1] + parts[2])
    time, east, north = (part[known] for part in parts)
    time, rows = np.unique(time, return_index=True)
    return Track(time, east[rows], north[rows])


def line_numbers(line: ArrayLike) -> IntArray:
    """Number the lines by name; -1 for a reading off the lines (-1, None, NaN or no text)."""
    names = np.atleast_1d(np.asarray(line, dtype=object))
    off = np.array([name is None or name != name or name in ("", -1) for name in names.tolist()])
    number = np.full(names.size, -1, dtype=np.int64)
    if not off.all():
        number[~off] = np.unique(names[~off].astype(str), return_inverse=True)[1]
    return number


def usual_length(time_s: FloatArray, number: IntArray, track: Track) -> float:
    """Return the usual length of a line by its marks [m]; NaN when the track tells none."""
    rows = number >= 0
    east, north = (
        interpolate_linear(time_s[rows], track.time_s, axis, max_gap=60.0)
        for axis in (track.easting_m, track.northing_m)
    )
    own = number[rows]
    order = np.argsort(own, kind="stable")
    cuts = np.flatnonzero(np.diff(own[order])) + 1
    parts = (part for part in np.split(order, cuts) if part.size)
    length = np.array([passage_geometry(east[part], north[part]).length_m for part in parts])
    return float(np.median(length[length > 0])) if np.any(length > 0) else float("nan")


def passage_numbers(track: Track, *, usual_length_m: float, max_gap_s: float) -> IntArray:
    """Number the straight passages of a track; -1 on its turns."""
    shortest = usual_length_m / 2 if usual_length_m > 0 else DEFAULT_MIN_LENGTH_M
    return split_track(
        track.time_s,
        track.easting_m,
        track.northing_m,
        min_length_m=max(shortest, 2 * SMOOTHING_M),
        max_turn_deg=MAX_TURN_DEG,
        smoothing_m=SMOOTHING_M,
        max_gap_s=max_gap_s,
    )


def read_passages(number: IntArray, read: BoolArray) -> IntArray:
    """Return the passages of the fixes, -1 also in passages mostly without readings.

    `read` tells, for each fix, whether there are readings at its time.
    """
    on = number >= 0
    count = np.bincount(number[on])
    share = np.bincount(number[on], weights=read[on]) / np.maximum(count, 1)
    kept = on.copy()
    kept[on] = share[number[on]] >= LEAST_READ
    return np.where(kept, number, -1)


def parallel_passages(
    track: Track, number: IntArray, *, step_m: float, max_spacing_m: float, window_m: float
) -> Passages | None:
    """Return the passages along the main direction of the survey; None with fewer than three.

    Parameters
    ----------
    track : Track
        The track.
    number : int array
        Passage of each fix; -1 on turns.
    step_m : float
        Step between places along a passage [m].
    max_spacing_m : float
        Passages further apart are no neighbours [m].
    window_m : float
        Neighbours lie side by side over at least 1.5 times this [m].

    Returns
    -------
    Passages or None
    """
    rows = [np.flatnonzero(number == place) for place in np.unique(number[number >= 0])]
    seen = [passage_geometry(track.easting_m[part], track.northing_m[part]) for part in rows]
    length = np.array([part.length_m for part in seen])
    azimuth = np.array([part.azimuth_deg for part in seen])
    axis, chosen = _main_direction(azimuth, length)
    if chosen.size < 3:
        return None
    along = track.easting_m * np.sin(axis) + track.northing_m * np.cos(axis)
    across = track.easting_m * np.cos(axis) - track.northing_m * np.sin(axis)
    place = np.array([across[rows[one]].mean() for one in chosen])
    chosen = chosen[np.argsort(place)]
    grid = _grid([along[rows[one]] for one in chosen], step_m)
    if grid.size < 2:  # all on one spot
        return None
    sense = np.where(np.cos(np.radians(azimuth[chosen]) - axis) < 0, -1.0, 1.0)
    time = np.array(
        [
            _times_at(grid, along[rows[one]], track.time_s[rows[one]], sign)
            for one, sign in zip(chosen, sense, strict=True)
        ]
    )
    walked = np.isfinite(time).sum(axis=1) > 1  # one that stands still has no time between places
    if walked.sum() < 3:
        return None
    time, place = time[walked], np.sort(place)[walked]
    beside = _beside(time, place, max_spacing_m, 1.5 * window_m / step_m)
    return Passages(time, place, _velocity(time, step_m), beside, step_m)


def _main_direction(azimuth_deg: FloatArray, length_m: FloatArray) -> tuple[float, IntArray]:
    """Return the main axis [rad] and the passages along it."""
    if not azimuth_deg.size:
        return 0.0, np.empty(0, dtype=np.int64)
    main = ~tie_lines(azimuth_deg, length_m)
    double = np.radians(2 * azimuth_deg)
    weight = np.where(main, length_m, 0.0)
    axis = 0.5 * np.arctan2(np.sum(weight * np.sin(double)), np.sum(weight * np.cos(double)))
    off = np.abs(np.angle(np.exp(1j * (double - 2 * axis)))) / 2
    return float(axis), np.flatnonzero(main & (off <= np.radians(MAX_OFF_AXIS_DEG)))


def _grid(along: list[FloatArray], step_m: float) -> FloatArray:
    """Return even places that hold all passages."""
    low, high = min(part.min() for part in along), max(part.max() for part in along)
    places: FloatArray = low + step_m * np.arange(int((high - low) / step_m) + 1)
    return places


def _times_at(grid: FloatArray, along: FloatArray, time_s: FloatArray, sense: float) -> FloatArray:
    """Return when each place was passed, midway for one passed twice; NaN beyond the passage."""
    place, at = sense * along, sense * grid
    first = np.maximum.accumulate(place)
    last = np.minimum.accumulate(place[::-1])[::-1]
    total = np.zeros(grid.size)
    for way, keep in (
        (first, np.append(True, np.diff(first) > 0)),
        (last, np.append(np.diff(last) > 0, True)),
    ):
        total += np.interp(at, way[keep], time_s[keep], left=np.nan, right=np.nan)
    return total / 2


def _velocity(time_s: FloatArray, step_m: float) -> FloatArray:
    """Return the usual speed along each passage, with its sign."""
    slow = np.nanmedian(np.diff(time_s, axis=1), axis=1)
    return np.asarray(step_m / np.where(slow == 0, np.nan, slow))


def _beside(
    time_s: FloatArray, across_m: FloatArray, max_spacing_m: float, places: float
) -> IntArray:
    """Return the nearest passage on either side that runs beside each."""
    passed: NDArray[np.float64] = np.isfinite(time_s).astype(np.float64)
    common = passed @ passed.T >= places
    found = np.full((across_m.size, 2), -1, dtype=np.int64)
    for one in range(across_m.size):
        near = common[one] & (np.abs(across_m - across_m[one]) <= max_spacing_m)
        before, after = np.flatnonzero(near[:one]), np.flatnonzero(near[one + 1 :])
        if before.size:
            found[one, 0] = before[-1]
        if after.size:
            found[one, 1] = one + 1 + after[0]
    return found
