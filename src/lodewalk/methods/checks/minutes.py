"""Which minutes of a day the diurnal correction serves: predicted error, chance and verdict."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.errors import InputError
from lodewalk.methods.checks.base_record import chord_departures
from lodewalk.methods.checks.minutes_chance import (
    MINUTE_S,
    Groups,
    chance_over,
    cut_at_minutes,
    gather,
    size_at_chance,
)
from lodewalk.methods.checks.minutes_scale import local_scale
from lodewalk.methods.corrections.diurnal_distance import distance_sd
from lodewalk.validation import (
    FloatArray,
    check_increasing,
    check_positive,
    check_same_length,
    check_within,
)

KEEP: Final = "keep"
DOUBT: Final = "doubt"
REWALK: Final = "re-walk"
UNKNOWN: Final = "unknown"

#: Most minutes that a record may span: forty days. More is a wrong date.
MOST_MINUTES: Final = 57_600


@dataclass(frozen=True)
class Minutes:
    """Predicted diurnal error and verdict of each minute.

    Parameters
    ----------
    start_s : float array, shape (n_minutes,)
        Beginning of each minute, a multiple of 60 [s].
    sd_nT : float array, shape (n_minutes,)
        Rms of the predicted error over the minute [nT]; NaN where it can't be told, as below.
    worst_90_nT, worst_95_nT : float array, shape (n_minutes,)
        Sizes under which the worst error of the minute stays with chances of 90 and 95 % [nT].
    chance_over : float array, shape (n_minutes,)
        Chance that the worst error of the minute exceeds the tolerance.
    chord_nT : float array, shape (n_minutes,)
        Worst departure of the base from a straight chord in the minute [nT]; NaN where no chord
        can be judged, which is not quiet. It supports the verdict and doesn't make it.
    verdict : str array, shape (n_minutes,)
        'keep', 'doubt', 're-walk' or 'unknown'.
    tolerance_nT : float
        The tolerance [nT].
    """

    start_s: FloatArray
    sd_nT: FloatArray
    worst_90_nT: FloatArray
    worst_95_nT: FloatArray
    chance_over: FloatArray
    chord_nT: FloatArray
    verdict: NDArray[np.str_]
    tolerance_nT: float

    def __len__(self) -> int:
        return len(self.start_s)


def needed_tolerance(
    *,
    tolerance_nT: float | None = None,
    smallest_anomaly_nT: float | None = None,
    share: float = 0.1,
) -> float:
    """Return the diurnal error that a survey can bear.

    Parameters
    ----------
    tolerance_nT : float, optional
        The error as such [nT]; goes before the anomaly.
    smallest_anomaly_nT : float, optional
        Peak of the smallest anomaly sought [nT].
    share : float
        Part of that anomaly that the error may reach (default 0.1, common practice).

    Returns
    -------
    float
        Tolerance [nT]; 3.0 where neither is given (the usual tolerance of a base, see
        `chord_departures`).

    Raises
    ------
    InputError
        When a value isn't above zero, or the share is above 1.

    Examples
    --------
    >>> needed_tolerance(smallest_anomaly_nT=20.0), needed_tolerance(tolerance_nT=1.0)
    (2.0, 1.0)
    """
    check_positive(share, name="share")
    check_within(share, name="share", low=0.0, high=1.0)
    if tolerance_nT is not None:
        check_positive(tolerance_nT, name="tolerance_nT")
        return tolerance_nT
    if smallest_anomaly_nT is not None:
        check_positive(smallest_anomaly_nT, name="smallest_anomaly_nT")
        return share * smallest_anomaly_nT
    return 3.0


def minute_verdicts(
    base_time_s: ArrayLike,
    base_nT: ArrayLike,
    *,
    tolerance_nT: float,
    base_noise_nT: float,
    max_gap_s: float,
    start_s: float | None = None,
    end_s: float | None = None,
    distance_m: float = 0.0,
    scale_km: float = 150.0,
    keep_chance: float = 0.05,
    rewalk_chance: float = 0.5,
) -> Minutes:
    """Judge each minute by the predicted error of the linear diurnal correction.

    Parameters
    ----------
    base_time_s : array, shape (n,)
        Increasing times of the base readings, POSIX or any with whole minutes at 0 [s].
    base_nT : array, shape (n,)
        Base readings, spikes and contamination taken out [nT]; missing ones (NaN) are stepped over.
    tolerance_nT : float
        Error that the survey can bear [nT]; see `needed_tolerance`.
    base_noise_nT : float
        Noise sd of one base reading [nT].
    max_gap_s : float
        A longer interval between two base readings is a gap [s].
    start_s, end_s : float, optional
        Span to judge, widened to whole minutes [s]; by default that of the record. Minutes that
        the base doesn't cover are 'unknown'.
    distance_m : float
        Distance from the base to the readings [m] (default 0); see `distance_sd`.
    scale_km : float
        Its scale [km] (default 150).
    keep_chance : float
        Highest chance of an error over the tolerance at which a minute is kept (default 0.05:
        the predicted 95 % size stays within the tolerance).
    rewalk_chance : float
        A higher chance than this asks for walking again (default 0.5); 'doubt' lies between.

    Returns
    -------
    Minutes
        One entry for each UTC minute of the span.

    Raises
    ------
    InputError
        When lengths differ, the times don't increase, a setting is out of its range, or the span
        is longer than forty days or ends before it starts.

    Notes
    -----
    The error of a minute is the largest one at any instant in it: the line between two base
    readings less the true field. Its sd follows from how far each base reading lies off the line
    between its neighbours, weighed over a few minutes around it (`local_scale`), and from base
    noise and distance; the chance from the distribution of the worst of an interval, with the
    scale itself uncertain (`chance_over`).

    Valid where the field between base readings is as rough as its neighbourhood. An event that
    begins and ends between two readings (a pulsation shorter than two base intervals, a vehicle)
    leaves no trace in the record. A minute is 'unknown' where the base is missing, in a gap or
    covers under 95 % of it, and where fewer than about three misfits of the record lie near.

    Examples
    --------
    >>> time = np.arange(0.0, 7260.0, 60.0)
    >>> rng = np.random.default_rng(0)
    >>> base = np.cumsum(rng.normal(size=time.size) * np.where(time < 3600, 0.1, 20.0))
    >>> found = minute_verdicts(
    ...     time, base, tolerance_nT=3.0, base_noise_nT=0.1, max_gap_s=120, end_s=7500
    ... )
    >>> str(found.verdict[20]), str(found.verdict[100]), str(found.verdict[-1])
    ('keep', 're-walk', 'unknown')
    """
    check_minute_settings(
        tolerance_nT, base_noise_nT, max_gap_s, keep=keep_chance, rewalk=rewalk_chance
    )
    if not 0 <= distance_m < np.inf:
        raise InputError("distance_m must not be below zero.", value=distance_m)
    time, value = known_readings(base_time_s, base_nT)
    minute = whole_minutes(time, start_s, end_s)
    groups = predicted_groups(
        time, value, minute, base_noise_nT=base_noise_nT, max_gap_s=max_gap_s,
        distance_m=distance_m, scale_km=scale_km,
    )  # fmt: skip
    chance = chance_over(groups, np.full(minute.size, tolerance_nT))
    worst_90, worst_95 = size_at_chance(groups, (0.10, 0.05))
    return Minutes(
        start_s=minute,
        sd_nT=np.sqrt(groups.mean_nT2),
        worst_90_nT=worst_90,
        worst_95_nT=worst_95,
        chance_over=chance,
        chord_nT=_chords(time, value, minute),
        verdict=_verdicts(chance, keep_chance, rewalk_chance),
        tolerance_nT=tolerance_nT,
    )


def known_readings(base_time_s: ArrayLike, base_nT: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return times and values of the base readings that have a value.

    Parameters
    ----------
    base_time_s : array, shape (n,)
        Increasing times [s].
    base_nT : array, shape (n,)
        Base readings [nT].

    Returns
    -------
    tuple of two float arrays
        Time [s] and value [nT] of those that are finite.

    Raises
    ------
    InputError
        When the lengths differ or the times don't increase.

    Examples
    --------
    >>> known_readings([0.0, 1.0], [float("nan"), 5.0])
    (array([1.]), array([5.]))
    """
    time, value = np.asarray(base_time_s, np.float64), np.asarray(base_nT, np.float64)
    check_same_length(base_time_s=time, base_nT=value)
    check_increasing(time, name="base_time_s")
    known = np.isfinite(value)
    return time[known], value[known]


def predicted_groups(
    time: FloatArray,
    value: FloatArray,
    minute: FloatArray,
    *,
    base_noise_nT: float,
    max_gap_s: float,
    distance_m: float = 0.0,
    scale_km: float = 150.0,
) -> Groups:
    """Predict the parts of the worst error of each minute from a base record.

    Parameters
    ----------
    time, value : float array, shape (n,)
        Increasing times [s] and values [nT] of known base readings.
    minute : float array, shape (n_minutes,)
        Beginnings of minutes in an unbroken row [s].
    base_noise_nT, max_gap_s, distance_m, scale_km : float
        As `minute_verdicts`.

    Returns
    -------
    Groups
        No group where no minute can be judged.
    """
    if time.size < 2 or not minute.size or time[-1] <= minute[0]:
        return no_groups(minute.size)
    if time[0] >= minute[-1] + MINUTE_S:
        return no_groups(minute.size)
    distance = np.zeros(time.size)
    if distance_m > 0:
        distance = distance_sd(
            time, time, value, distance_m=distance_m, max_gap_s=max_gap_s,
            base_noise_nT=base_noise_nT, scale_km=scale_km,
        )  # fmt: skip
    return gather(
        time,
        local_scale(time, value, base_noise_nT=base_noise_nT),
        cut_at_minutes(time, minute),
        n_minutes=minute.size,
        max_gap_s=max_gap_s,
        base_noise_nT=base_noise_nT,
        distance_nT=distance,
    )


def check_minute_settings(
    tolerance_nT: float,
    base_noise_nT: float,
    max_gap_s: float,
    *,
    keep: float = 0.05,
    rewalk: float = 0.5,
) -> None:
    """Raise where a setting of `minute_verdicts` is out of its range.

    Examples
    --------
    >>> check_minute_settings(3.0, 0.1, 90.0)
    """
    check_positive(tolerance_nT, name="tolerance_nT")
    check_positive(max_gap_s, name="max_gap_s")
    if not 0 <= base_noise_nT < np.inf:
        raise InputError("base_noise_nT must not be below zero.", value=base_noise_nT)
    if not 0 < keep < rewalk < 1:
        raise InputError(
            "keep_chance must be above 0, below rewalk_chance, and that below 1.",
            value=f"keep_chance {keep}, rewalk_chance {rewalk}",
        )


def whole_minutes(time: FloatArray, start_s: float | None, end_s: float | None) -> FloatArray:
    """Return the beginnings of the whole minutes that hold a span.

    Parameters
    ----------
    time : float array, shape (n,)
        Increasing times of the record [s].
    start_s, end_s : float, optional
        The span [s]; by default that of the record.

    Returns
    -------
    float array, shape (n_minutes,)
        Multiples of 60 in an unbroken row [s]; none without a record and a span.

    Raises
    ------
    InputError
        When the span ends before it starts or is longer than forty days.

    Examples
    --------
    >>> whole_minutes(np.array([70.0, 180.0]), None, None).tolist()
    [60.0, 120.0]
    """
    start = start_s if start_s is not None else (time[0] if time.size else None)
    end = end_s if end_s is not None else (time[-1] if time.size else None)
    if start is None or end is None:
        return np.empty(0)
    if not end >= start:
        raise InputError(
            "The span must not end before it starts.", value=f"start_s {start}, end_s {end}"
        )
    first = np.floor(start / MINUTE_S)
    stop = max(np.ceil(end / MINUTE_S), first + 1)
    if stop - first > MOST_MINUTES:
        raise InputError(
            "A span of minutes must not be longer than forty days.",
            value=f"{(end - start) / 86_400:.0f} days",
            remedy="Is the date of one instrument wrong?",
        )
    minutes: FloatArray = MINUTE_S * np.arange(first, stop)
    return minutes


def no_groups(n_minutes: int) -> Groups:
    """Return groups that judge none of the minutes.

    Parameters
    ----------
    n_minutes : int
        Number of minutes.

    Returns
    -------
    Groups
        Without a group.

    Examples
    --------
    >>> chance_over(no_groups(1), np.array([3.0])).tolist()
    [nan]
    """
    none, unknown = np.empty(0), np.full(n_minutes, np.nan)
    return Groups(np.empty(0, dtype=np.int64), none, none, none, none, unknown)


def _verdicts(chance: FloatArray, keep: float, rewalk: float) -> NDArray[np.str_]:
    """Return the verdict for each chance."""
    cases = [np.isnan(chance), chance <= keep, chance <= rewalk]
    verdict: NDArray[np.str_] = np.select(cases, [UNKNOWN, KEEP, DOUBT], REWALK)
    return verdict


def _chords(time: FloatArray, value: FloatArray, minute: FloatArray) -> FloatArray:
    """Return the worst chord departure of the readings in each minute."""
    worst = np.full(minute.size, np.nan)
    if time.size < 2 or not minute.size:
        return worst
    departure = chord_departures(time, value).departure_nT
    which = ((time - minute[0]) // MINUTE_S).astype(np.int64)
    inside = (which >= 0) & (which < minute.size) & np.isfinite(departure)
    np.fmax.at(worst, which[inside], departure[inside])
    return worst
