"""K index of geomagnetic activity by the FMI method, and activity of a total-field record."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.errors import InputError
from lodewalk.validation import FloatArray, check_increasing, check_positive, check_same_length

#: Lower limits of the classes K = 1 to 9 in per cent of the K = 9 limit.
CLASS_LIMITS_PERCENT: Final = (1, 2, 4, 8, 14, 24, 40, 66, 100)

#: Activity words and the lowest K class of each: a scale in public use (magie.ie, "FMI method"),
#: its three grades of storm joined.
ACTIVITY_WORDS: Final = ("quiet", "unsettled", "active", "storm")
ACTIVITY_LOWEST_K: Final = (0, 2, 4, 5)

#: Share of an interval's minutes below which the interval is incomplete.
COMPLETE_SHARE: Final = 0.9

_HOUR: Final = 60  # minutes
_DAY: Final = 24  # hours
_INTERVAL: Final = 3  # hours
_INTERVAL_MINUTES: Final = _INTERVAL * _HOUR

_HARMONIC_ORDER: Final = 5
_LENGTHENING_EXPONENT: Final = 3.3
_LEAST_MINUTES_IN_HOUR: Final = 30
_LEAST_HOURS_IN_DAY: Final = 22  # 90 % of 24, rounded up
_LONGEST_BRIDGE_HOURS: Final = 2
_HIGHEST_DEGREE: Final = 4
_TREND_NAMES: Final = ("level", "line", "parabola", "cubic", "quartic")
_LONGEST_RECORD_DAYS: Final = 3660

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]
StrArray = NDArray[np.str_]


@dataclass(frozen=True)
class KIntervals:
    """K indices of 3-hour UT intervals; see `k_index`."""

    start_s: FloatArray
    k: FloatArray
    range_nT: FloatArray
    coverage: FloatArray
    quiet_curve: StrArray


@dataclass(frozen=True)
class ActivityIntervals:
    """Activity words of 3-hour UT intervals; see `scalar_activity`."""

    start_s: FloatArray
    activity: StrArray
    range_nT: FloatArray
    complete: BoolArray
    coverage: FloatArray
    quiet_curve: StrArray


@dataclass(frozen=True)
class _Ranges:
    """Largest residual range of each interval that holds a reading."""

    start_s: FloatArray
    range_nT: FloatArray
    coverage: FloatArray
    quiet_curve: StrArray

    @property
    def complete(self) -> BoolArray:
        return self.coverage >= COMPLETE_SHARE


def class_limits(k9_nT: float) -> FloatArray:
    """Lower limits of the classes K = 1 to 9.

    Parameters
    ----------
    k9_nT : float
        Lower limit of K = 9 at the site [nT].

    Returns
    -------
    numpy.ndarray, shape (9,)
        Lower limits [nT]; a range on a limit belongs to the class above it.

    Raises
    ------
    InputError
        If `k9_nT` is not above zero.

    Notes
    -----
    The limit rises towards the auroral zone; each observatory has its own, set by the International
    Service of Geomagnetic Indices: 500 nT at Niemegk, Wingst and Conrad, 540 nT in Ireland, 750 nT
    at Eskdalemuir. There is no default, because a wrong limit shifts every index.

    References
    ----------
    Bartels, J., Heck, N. H. & Johnston, H. F. (1939). The three-hour-range index measuring
    geomagnetic activity. Terrestrial Magnetism and Atmospheric Electricity 44, 411-454.
    https://doi.org/10.1029/TE044i004p00411

    Examples
    --------
    >>> class_limits(500.0).tolist()
    [5.0, 10.0, 20.0, 40.0, 70.0, 120.0, 200.0, 330.0, 500.0]
    """
    check_positive(k9_nT, name="k9_nT")
    return np.array(CLASS_LIMITS_PERCENT) * k9_nT / 100.0


def k_of_range(range_nT: ArrayLike, *, k9_nT: float) -> FloatArray:
    """K class of a range of disturbance.

    Parameters
    ----------
    range_nT : array_like
        Largest minus smallest residual of an interval [nT]; NaN where missing.
    k9_nT : float
        Lower limit of K = 9 at the site [nT].

    Returns
    -------
    numpy.ndarray
        K, 0 to 9 as float; NaN where `range_nT` is.

    Raises
    ------
    InputError
        If `k9_nT` is not above zero.

    Examples
    --------
    >>> k_of_range([4.9, 5.0, 69.9, 70.0, float("nan")], k9_nT=500.0).tolist()
    [0.0, 1.0, 4.0, 5.0, nan]
    """
    ranges = np.asarray(range_nT, dtype=float)
    classes = np.searchsorted(class_limits(k9_nT), ranges, side="right").astype(float)
    return np.where(np.isnan(ranges), np.nan, classes)


def k_index(
    time_s: ArrayLike,
    first_nT: ArrayLike,
    second_nT: ArrayLike,
    *,
    k9_nT: float,
    longitude_deg: float | None = None,
) -> KIntervals:
    """K index of each 3-hour UT interval from two horizontal components.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Times in order, POSIX seconds [s], UTC; any spacing up to 60 s, gaps allowed.
    first_nT, second_nT : array_like, shape (n,)
        Two horizontal components at a right angle, north and east or the two of a variometer
        [nT]; NaN where missing. A declination must be turned into nT beforehand: horizontal
        field times its change in radians.
    k9_nT : float
        Lower limit of K = 9 at the site [nT]; see `class_limits`.
    longitude_deg : float, optional
        East longitude of the site [degrees], to tell night from day. Without it the windows are
        not lengthened at night.

    Returns
    -------
    KIntervals
        One entry for each interval that holds a reading of both components: `start_s`, its start
        [s]; `k`, 0 to 9, or NaN in an incomplete interval (less than 90 % of its minutes);
        `range_nT`, the larger of the two ranges of what is there [nT]; `coverage`, the share of
        its 180 minutes that hold both components; `quiet_curve`, the curve that was taken away
        ("harmonic", or in a short record "quartic", "cubic", "parabola", "line" or "level").

    Raises
    ------
    InputError
        If arrays differ in length, a time is missing or runs backwards, the record is longer than
        ten years, or `k9_nT` is not above zero.

    Notes
    -----
    The FMI method (Sucksdorff et al. 1991; recommended by Menvielle et al. 1995):

    1. Minute means. A first K from the raw range of each component in each interval.
    2. For each hour the mean over the hour lengthened at both ends by ``K**3.3 + m`` minutes,
       where m is 0 by day (06-18 local time), 60 in the morning and evening (03-06, 18-21) and
       120 at night.
    3. A harmonic series through the hourly means of each UT day: the quiet curve.
    4. K from the range of what remains. Steps 2 to 4 once more with that K.

    The exponent, the hours of m and the order 5 of the series are from memory of those papers. The
    series carries a straight line, since a day seldom ends where it began (the non-cyclic change
    of Chapman & Bartels 1940).

    Ours, for records that are no observatory's: a gap of three hours or more splits the record.
    Each part of at least a day has a series for each UT day, at its ends over the nearest 24 hours.
    A shorter part, or a day with fewer than 22 hours, has a polynomial instead, one degree for each
    three hours and at most 4; below 3 hours it is a level, and the daily variation stays in the
    range. Cut from Conrad's record of 9-12 May 2024, records of 3 to 18 hours gave the K of the
    whole record in more than seven of ten intervals, and one more than a class away in fewer than
    one of ten.

    References
    ----------
    Sucksdorff, C., Pirjola, R. & Häkkinen, L. (1991). Computer production of K-indices based on
    linear elimination. Geophysical Transactions 36, 333-345.

    Menvielle, M. et al. (1995). Computer production of K indices: review and comparison of
    methods. Geophysical Journal International 123, 866-886.
    https://doi.org/10.1111/j.1365-246X.1995.tb06895.x

    Chapman, S. & Bartels, J. (1940). Geomagnetism, chapter 16. Oxford University Press.

    Examples
    --------
    A pulse of 45 nT for ten minutes on a still day:

    >>> time = np.arange(0.0, 86_400.0, 60.0)
    >>> north = np.where((time >= 40_000.0) & (time < 40_600.0), 45.0, 0.0)
    >>> k_index(time, north, np.zeros(1440), k9_nT=500.0).k.tolist()
    [0.0, 0.0, 0.0, 4.0, 0.0, 0.0, 0.0, 0.0]
    """
    found = _residual_ranges(time_s, [first_nT, second_nT], k9_nT, longitude_deg)
    return KIntervals(
        start_s=found.start_s,
        k=np.where(found.complete, k_of_range(found.range_nT, k9_nT=k9_nT), np.nan),
        range_nT=found.range_nT,
        coverage=found.coverage,
        quiet_curve=found.quiet_curve,
    )


def scalar_activity(
    time_s: ArrayLike,
    total_field_nT: ArrayLike,
    *,
    k9_nT: float,
    longitude_deg: float | None = None,
) -> ActivityIntervals:
    """Activity in each 3-hour UT interval from a total-field record, such as a base's.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Times in order, POSIX seconds [s], UTC; any spacing up to 60 s, gaps allowed.
    total_field_nT : array_like, shape (n,)
        Total field [nT]; NaN where missing.
    k9_nT : float
        Lower limit of K = 9 at the site [nT]; see `class_limits`.
    longitude_deg : float, optional
        East longitude of the site [degrees]; as in `k_index`.

    Returns
    -------
    ActivityIntervals
        One entry for each interval that holds a reading: `start_s`, its start [s]; `activity`, one
        of "quiet", "unsettled", "active", "storm", "unknown"; `range_nT`, the range of what
        remains after the quiet curve [nT]; `complete`, whether at least 90 % of its minutes are
        there; `coverage`, their share; `quiet_curve`, as in `k_index`. In an incomplete interval
        a word is the least that is proven, and "unknown" stands where that is nothing.

    Raises
    ------
    InputError
        As `k_index`.

    Notes
    -----
    The quiet curve is that of `k_index`; the words are its classes 0-1, 2-3, 4 and 5-9. This is
    never a K index, which is defined on two horizontal components: a disturbance dH, dZ changes
    the total field by ``dH cos I + dZ sin I``, so where the field is steep the word
    may be too mild.

    Examples
    --------
    >>> time = np.arange(0.0, 86_400.0, 60.0)
    >>> field = 48_000.0 + np.where((time >= 40_000.0) & (time < 40_600.0), 45.0, 0.0)
    >>> scalar_activity(time, field, k9_nT=500.0).activity.tolist()[2:5]
    ['quiet', 'active', 'quiet']
    """
    found = _residual_ranges(time_s, [total_field_nT], k9_nT, longitude_deg)
    return ActivityIntervals(
        start_s=found.start_s,
        activity=_activity_words(found, k9_nT),
        range_nT=found.range_nT,
        complete=found.complete,
        coverage=found.coverage,
        quiet_curve=found.quiet_curve,
    )


def _activity_words(found: _Ranges, k9_nT: float) -> StrArray:
    """Word of each range; in an incomplete interval only what the range already proves."""
    classes = k_of_range(found.range_nT, k9_nT=k9_nT)
    rank = np.searchsorted(ACTIVITY_LOWEST_K, classes, side="right") - 1
    unproven = ~found.complete & (rank == 0)
    return np.where(unproven, "unknown", np.array(ACTIVITY_WORDS)[rank])


def _residual_ranges(
    time_s: ArrayLike,
    components_nT: list[ArrayLike],
    k9_nT: float,
    longitude_deg: float | None,
) -> _Ranges:
    """Largest range over the components in each interval, after two passes of the method."""
    limits = class_limits(k9_nT)
    time, components = _checked(time_s, components_nT)
    if not time.size:
        empty = np.empty(0)
        return _Ranges(empty, empty, empty, np.empty(0, dtype=np.str_))
    first_day = int(np.floor(time[0] / 86_400.0))
    minutes = _minute_means(time, components, first_day)
    night = _night_minutes(minutes.shape[1] // _HOUR, longitude_deg)
    residuals = minutes
    for _ in range(2):
        # An interval without data counts as class 0: its hours take no part in the curve.
        classes = np.searchsorted(limits, np.nan_to_num(_ranges(residuals)), side="right")
        lengthening = np.rint(np.repeat(classes, _INTERVAL) ** _LENGTHENING_EXPONENT) + night
        quiet, names = _quiet_curve(minutes, lengthening.astype(np.int64))
        residuals = minutes - quiet
    coverage = np.isfinite(minutes[0]).reshape(-1, _INTERVAL_MINUTES).mean(axis=1)
    start_s = first_day * 86_400.0 + np.arange(coverage.size) * 60.0 * _INTERVAL_MINUTES
    held = coverage > 0
    return _Ranges(start_s[held], _ranges(residuals)[held], coverage[held], names[held])


def _checked(time_s: ArrayLike, components_nT: list[ArrayLike]) -> tuple[FloatArray, FloatArray]:
    """Times and components (c, n) of the readings that have every component."""
    named = {f"component {i + 1}": values for i, values in enumerate(components_nT)}
    check_same_length(time_s=time_s, **named)
    time = np.atleast_1d(np.asarray(time_s, dtype=float))
    if not np.all(np.isfinite(time)):
        raise InputError("Every reading must have a time.", value="a missing time")
    check_increasing(time, name="time_s", strictly=False)
    if time.size and time[-1] - time[0] > _LONGEST_RECORD_DAYS * 86_400.0:
        raise InputError(
            "A record may span ten years at most.",
            value=f"{(time[-1] - time[0]) / 86_400.0:.0f} days",
            remedy="Is one of the dates wrong?",
        )
    components = np.array([np.atleast_1d(np.asarray(c, dtype=float)) for c in components_nT])
    whole = np.all(np.isfinite(components), axis=0)
    return time[whole], components[:, whole]


def _minute_means(time: FloatArray, components: FloatArray, first_day: int) -> FloatArray:
    """Minute means (c, whole days of minutes) about the first reading; NaN where empty."""
    # A millisecond of slack: 12:00:00 may be stored as a hair before noon.
    minute = np.floor((time - first_day * 86_400.0 + 1e-3) / 60.0).astype(np.int64)
    size = (int(minute[-1]) // (_DAY * _HOUR) + 1) * _DAY * _HOUR
    count = np.bincount(minute, minlength=size)
    centred = components - components[:, :1]
    total = np.array([np.bincount(minute, weights=row, minlength=size) for row in centred])
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _ranges(residuals: FloatArray) -> FloatArray:
    """Largest range over the components in each interval; NaN where there is no minute."""
    parts = residuals.reshape(residuals.shape[0], -1, _INTERVAL_MINUTES)
    spread: FloatArray = np.fmax.reduce(parts, axis=2) - np.fmin.reduce(parts, axis=2)
    largest: FloatArray = np.max(spread, axis=0)
    return largest


def _night_minutes(hours: int, longitude_deg: float | None) -> IntArray:
    """Minutes by which the window of each hour is lengthened for the local time of day."""
    if longitude_deg is None:
        return np.zeros(hours, dtype=np.int64)
    local = (np.arange(hours) + 0.5 + longitude_deg / 15.0) % _DAY
    from_midnight = np.minimum(local, _DAY - local)
    return np.where(from_midnight < 3, 120, np.where(from_midnight < 6, 60, 0))


def _quiet_curve(minutes: FloatArray, lengthening: IntArray) -> tuple[FloatArray, StrArray]:
    """Quiet curve (c, minutes), and its name in each interval."""
    in_hour = np.isfinite(minutes[0]).reshape(-1, _HOUR).sum(axis=1)
    means = _window_means(minutes, lengthening)
    quiet = np.full(minutes.shape, np.nan)
    names = np.full(in_hour.size, "", dtype="<U8")
    for first, last in _parts(in_hour > 0):
        for day in range(first // _DAY, (last - 1) // _DAY + 1):
            span = slice(max(first, day * _DAY), min(last, (day + 1) * _DAY))
            window = _window(day, first, last)
            used = np.flatnonzero(in_hour[window] >= _LEAST_MINUTES_IN_HOUR) + window.start
            if not used.size:  # a few minutes only
                used = np.flatnonzero(in_hour[window] > 0) + window.start
            name, degree = _kind(window, used.size)
            at = np.arange(span.start * _HOUR, span.stop * _HOUR)
            fitted = _fit(used + 0.5, means[:, used], (at + 0.5) / _HOUR, window, degree)
            quiet[:, at], names[span] = fitted, name
    by_interval = names.reshape(-1, _INTERVAL)
    return quiet, by_interval[np.arange(len(by_interval)), np.argmax(by_interval != "", axis=1)]


def _window_means(minutes: FloatArray, lengthening: IntArray) -> FloatArray:
    """Mean (c, hours) over each hour lengthened at both ends; NaN where the window is empty."""
    here = np.isfinite(minutes)
    before = ((0, 0), (1, 0))
    total = np.pad(np.cumsum(np.where(here, minutes, 0.0), axis=1), before)
    count = np.pad(np.cumsum(here, axis=1), before)
    start = np.arange(lengthening.size) * _HOUR
    low = np.maximum(start - lengthening, 0)
    high = np.minimum(start + _HOUR + lengthening, minutes.shape[1])
    number = count[:, high] - count[:, low]
    return np.where(number > 0, (total[:, high] - total[:, low]) / np.maximum(number, 1), np.nan)


def _parts(held: BoolArray) -> list[tuple[int, int]]:
    """First hour and hour after the last of each part of the record, split at long gaps."""
    hours = np.flatnonzero(held)
    splits = np.flatnonzero(np.diff(hours) > _LONGEST_BRIDGE_HOURS + 1) + 1
    return [(int(part[0]), int(part[-1]) + 1) for part in np.split(hours, splits)]


def _window(day: int, first: int, last: int) -> slice:
    """Hours on which the curve of a day rests: the day, or the nearest 24 hours of the part."""
    start = max(first, min(day * _DAY, last - _DAY))
    return slice(start, min(last, start + _DAY))


def _kind(window: slice, hours: int) -> tuple[str, int | None]:
    """Name and polynomial degree of the curve; no degree where it is harmonic."""
    if window.stop - window.start == _DAY and hours >= _LEAST_HOURS_IN_DAY:
        return "harmonic", None
    degree = min(hours // _INTERVAL, _HIGHEST_DEGREE)
    return _TREND_NAMES[degree], degree


def _fit(
    hour: FloatArray, means: FloatArray, at: FloatArray, window: slice, degree: int | None
) -> FloatArray:
    """Least-squares curve through hourly means (c, h), evaluated at the hours `at`."""
    design = _basis(hour, window, degree)
    coefficients = np.linalg.lstsq(design, means.T, rcond=None)[0]
    return (_basis(at, window, degree) @ coefficients).T


def _basis(hour: FloatArray, window: slice, degree: int | None) -> FloatArray:
    """Columns of the curve: a line and harmonics of a day, or Legendre polynomials."""
    scaled = 2.0 * (hour - window.start) / (window.stop - window.start) - 1.0
    if degree is not None:
        return np.asarray(np.polynomial.legendre.legvander(scaled, degree))
    angle = np.pi * scaled[:, None] * np.arange(1, _HARMONIC_ORDER + 1)
    return np.column_stack([np.ones_like(scaled), scaled, np.cos(angle), np.sin(angle)])
