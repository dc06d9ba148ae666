"""Position at a time from the track of a satellite receiver."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.methods.corrections.linear import interpolate_linear
from lodewalk.validation import FloatArray, check_increasing, check_same_length


@dataclass(frozen=True)
class TrackPlaces:
    """Places along a track.

    Parameters
    ----------
    easting_m, northing_m : arrays, shape (n,)
        Projected position [m]; NaN outside the track and in its gaps.
    height_m : array, shape (n,)
        Height [m]; NaN also where the track has none.
    from_fix_s : array, shape (n,)
        Time to the nearest fix, before or after [s]; NaN without a fix.
    """

    easting_m: FloatArray
    northing_m: FloatArray
    height_m: FloatArray
    from_fix_s: FloatArray


def position_at(
    time_s: ArrayLike,
    *,
    track_time_s: ArrayLike,
    track_easting_m: ArrayLike,
    track_northing_m: ArrayLike,
    track_height_m: ArrayLike,
    max_gap_s: float,
) -> TrackPlaces:
    """Return the place on a track at given times.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Times in any order [s].
    track_time_s : array_like, shape (n_fixes,)
        Increasing times of the fixes [s].
    track_easting_m, track_northing_m : array_like, shape (n_fixes,)
        Projected position of the fixes [m]; a fix without both is stepped over.
    track_height_m : array_like, shape (n_fixes,)
        Height of the fixes [m]; a missing one (NaN) is stepped over.
    max_gap_s : float
        A longer interval between two fixes is a gap [s].

    Returns
    -------
    TrackPlaces
        On the straight line between fixes; never beyond the track, never inside a gap.

    Raises
    ------
    InputError
        When the lengths differ, the fixes don't increase in time, or `max_gap_s` isn't above
        zero.

    Examples
    --------
    >>> place = position_at([2.0], track_time_s=[0, 10], track_easting_m=[100, 110],
    ...                     track_northing_m=[0, 20], track_height_m=[800, 805], max_gap_s=15)
    >>> [float(axis[0]) for axis in (place.easting_m, place.northing_m, place.height_m)]
    [102.0, 4.0, 801.0]
    """
    fix_time = np.asarray(track_time_s, dtype=np.float64)
    easting = np.asarray(track_easting_m, dtype=np.float64)
    northing = np.asarray(track_northing_m, dtype=np.float64)
    height = np.asarray(track_height_m, dtype=np.float64)
    check_same_length(
        track_time_s=fix_time,
        track_easting_m=easting,
        track_northing_m=northing,
        track_height_m=height,
    )
    check_increasing(fix_time, name="track_time_s")
    known = np.isfinite(easting) & np.isfinite(northing)
    time, fix_time = np.asarray(time_s, dtype=np.float64), fix_time[known]
    east, north, up = (
        interpolate_linear(time, fix_time, axis[known], max_gap=max_gap_s)
        for axis in (easting, northing, height)
    )
    return TrackPlaces(east, north, up, _from_nearest(time, fix_time))


def _from_nearest(time: FloatArray, fix_time: FloatArray) -> FloatArray:
    """Return the time to the nearest fix."""
    if not fix_time.size:
        return np.full(time.shape, np.nan)
    after = np.searchsorted(fix_time, time)
    before = np.maximum(after - 1, 0)
    after = np.minimum(after, fix_time.size - 1)
    return np.minimum(np.abs(time - fix_time[before]), np.abs(time - fix_time[after]))
