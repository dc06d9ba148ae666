"""Where the sensor was: recorded places moved by lag and lever arm, with the error that adds."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.checks.clocks.zigzag_passages import Track, clean_track
from lodewalk.methods.checks.spans import BoolArray
from lodewalk.methods.corrections.lag import apply_lag
from lodewalk.methods.corrections.linear import interpolate_linear
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Error of an arm measured with a tape: the sensor swings as one walks (common practice) [m].
ARM_SD_M: Final = 0.1

#: The speed is taken from so long before a reading to so long after it [s].
SPEED_S: Final = 3.0


@dataclass(frozen=True)
class SensorPlaces:
    """Places of the sensor.

    Parameters
    ----------
    easting_m, northing_m : float arrays, shape (n,)
        Places [m]; NaN where none was recorded.
    sd_m : float array, shape (n,)
        What lag and arm add to the error of the place, one sd [m]; 0 without a place.
    moved : bool array, shape (n,)
        Readings that were moved. Others keep the recorded place, and `sd_m` holds what they should
        have been moved by.
    """

    easting_m: FloatArray
    northing_m: FloatArray
    sd_m: FloatArray
    moved: BoolArray


def sensor_places(
    time_s: ArrayLike,
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    *,
    track_time_s: ArrayLike,
    track_easting: ArrayLike,
    track_northing: ArrayLike,
    lag_s: float = 0.0,
    lag_sd_s: float = 0.0,
    ahead_m: float | None = None,
    right_m: float | None = None,
    max_gap_s: float = 10.0,
) -> SensorPlaces:
    """Move recorded places to where the sensor was when it read.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Times of the readings [s], in any order.
    easting_m, northing_m : array_like, shape (n,)
        Their places as recorded, those of the antenna at that time [m]; NaN where there is none.
    track_time_s, track_easting, track_northing : array_like, shape (n_fixes,)
        Times [s] and places [m] of the antenna, in any order.
    lag_s, lag_sd_s : float
        Time of the field reading less time of the position, and its sd [s] (default 0).
    ahead_m, right_m : float, optional
        Sensor ahead and to the right of the antenna [m]; None where it wasn't measured (default).
    max_gap_s : float
        A longer interval between two fixes is a gap [s] (default 10).

    Returns
    -------
    SensorPlaces

    Raises
    ------
    InputError
        When lengths differ, an sd is below zero or the gap isn't above it.

    Notes
    -----
    Each place is moved by the way from the track's place at the reading's time to the sensor's
    (see `apply_lag`). At the ends of the track, in its gaps and, with an arm, where the walker has
    no direction, nothing can be moved.

    The lag's error acts along the walk, as speed times `lag_sd_s`; it is given whole to each axis,
    which is the most that it can be. A measured arm adds 0.1 m (common practice).

    Examples
    --------
    Walking east at 1 m/s with the field half a second late and the sensor 0.8 m behind:

    >>> time = np.arange(60.0)
    >>> found = sensor_places([20.0], [20.0], [0.0], track_time_s=time, track_easting=time,
    ...     track_northing=0 * time, lag_s=0.5, lag_sd_s=0.2, ahead_m=-0.8)
    >>> round(float(found.easting_m[0]), 2), round(float(found.sd_m[0]), 3)
    (18.7, 0.224)
    """
    check_same_length(time_s=time_s, easting_m=easting_m, northing_m=northing_m)
    check_same_length(
        track_time_s=track_time_s, track_easting=track_easting, track_northing=track_northing
    )
    check_positive(max_gap_s, name="max_gap_s")
    if not lag_sd_s >= 0:
        raise InputError("lag_sd_s must be zero or more.", value=lag_sd_s)
    time, east, north = (
        np.atleast_1d(np.asarray(a, dtype=np.float64)) for a in (time_s, easting_m, northing_m)
    )
    track = clean_track(track_time_s, track_easting, track_northing)
    arm = ahead_m is not None or right_m is not None
    to_east, to_north = apply_lag(
        time,
        track_time_s=track.time_s,
        track_easting=track.easting_m,
        track_northing=track.northing_m,
        lag_s=lag_s,
        ahead_m=ahead_m or 0.0,
        right_m=right_m or 0.0,
        max_gap_s=max_gap_s,
    )
    to_east -= _at(time, track, track.easting_m, max_gap_s)
    to_north -= _at(time, track, track.northing_m, max_gap_s)
    placed = np.isfinite(east + north)
    moved = placed & np.isfinite(to_east + to_north)
    speed = _speed(time, track, max_gap_s)
    sd = np.hypot(speed * lag_sd_s, ARM_SD_M if arm else 0.0)
    missed = np.hypot(speed * lag_s, np.hypot(ahead_m or 0.0, right_m or 0.0))
    return SensorPlaces(
        np.where(moved, east + to_east, east),
        np.where(moved, north + to_north, north),
        np.where(placed, np.where(moved, sd, np.hypot(sd, missed)), 0.0),
        moved,
    )


def _at(time: FloatArray, track: Track, axis: FloatArray, max_gap_s: float) -> FloatArray:
    """Return one axis of the track's places at times; NaN outside it and in its gaps."""
    return interpolate_linear(time, track.time_s, axis, max_gap=max_gap_s)


def _speed(time: FloatArray, track: Track, max_gap_s: float) -> FloatArray:
    """Return the speed at each time, the usual one where it isn't known [m/s]."""
    if not track.time_s.size:
        return np.zeros(time.shape)
    first, last = track.time_s[[0, -1]]
    sides = [np.clip(time + side, first, last) for side in (-SPEED_S, SPEED_S)]
    ends = [
        [_at(side, track, axis, max_gap_s) for side in sides]
        for axis in (track.easting_m, track.northing_m)
    ]
    lasting = np.where(sides[1] > sides[0], sides[1] - sides[0], np.nan)
    speed = np.hypot(*(after - before for before, after in ends)) / lasting
    known = speed[np.isfinite(speed)]
    usual = float(np.median(known)) if known.size else 0.0
    return np.where(np.isfinite(speed), speed, usual)
