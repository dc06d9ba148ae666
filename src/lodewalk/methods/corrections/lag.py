"""Lag between the field's times and the positions', and the lever arm from antenna to sensor."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.methods.checks.clocks.zigzag import STEP_M, Series, zigzag_offset
from lodewalk.methods.checks.clocks.zigzag_passages import (
    Passages,
    Track,
    clean_track,
    line_numbers,
    parallel_passages,
    passage_numbers,
    read_passages,
    usual_length,
)
from lodewalk.methods.checks.spans import IntArray
from lodewalk.methods.corrections.heading import walking_heading
from lodewalk.methods.corrections.lag_fit import (
    Shift,
    Walk,
    crossing_rows,
    fit_shift,
    passage_series,
    window_rows,
)
from lodewalk.methods.corrections.linear import interpolate_linear
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Rounds of fitting: the shift found moves the readings for the next.
ROUNDS: Final = 3

#: A step of at most this share of its sd ends the rounds.
SETTLED_SD: Final = 0.05

#: An arm counts as told when its sd is at most this share of what was expected before.
TOLD_SHARE: Final = 0.5

#: A step of more than this many seconds, or a last one of more than so many of its sd, says that
#: the rounds do not settle: what they come to next is as likely.
UNSETTLED_S: Final = 2.5
UNSETTLED_SD: Final = 1.0


@dataclass(frozen=True)
class Lag:
    """Lag and lever arm.

    Parameters
    ----------
    lag_s, lag_sd_s : float
        Time of the field reading less time of the position [s]: a reading stamped t was taken
        where the track was at ``t - lag``. Its sd is infinite where nothing can be said.
    ahead_m, ahead_sd_m : float
        Sensor ahead of the antenna, along the walk [m].
    right_m, right_sd_m : float
        Sensor to the right of the antenna [m].
    shift_s, shift_sd_s : float
        ``lag - ahead / speed``, all that lines walked at one speed can tell [s].
    speed_m_s : float
        The usual speed, at which the shift holds [m/s].
    state : str
        "measured": lag and arm ahead are both known. "combination only": the shift is, the lag and
        the arm ahead can't be told apart, and their sd say so. "not identifiable": none is.
    windows, crossings : int
        Windows of passages, and crossings, that the answer rests on.
    """

    lag_s: float
    lag_sd_s: float
    ahead_m: float
    ahead_sd_m: float
    right_m: float
    right_sd_m: float
    shift_s: float
    shift_sd_s: float
    speed_m_s: float
    state: str
    windows: int
    crossings: int


#: The answer where nothing can be said.
_NAN, _INF = float("nan"), float("inf")
UNKNOWN: Final = Lag(_NAN, _INF, _NAN, _INF, _NAN, _INF, _NAN, _INF, _NAN, "not identifiable", 0, 0)


def estimate_lag(
    time_s: ArrayLike,
    field_nT: ArrayLike,
    line: ArrayLike,
    *,
    track_time_s: ArrayLike,
    track_easting: ArrayLike,
    track_northing: ArrayLike,
    ahead_m: float | None = None,
    right_m: float | None = None,
    arm_sd_m: float = 1.0,
    position_sd_m: float = 1.0,
    max_lag_s: float = 10.0,
    window_m: float = 100.0,
    max_spacing_m: float = 75.0,
    max_gap_s: float = 60.0,
) -> Lag:
    """Find the lag and the lever arm from neighbouring passages and from crossings.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Times of the readings [s], in any order.
    field_nT : array_like, shape (n,)
        Field with the daily variation and the heading error taken off [nT]; NaN where missing.
    line : array_like, shape (n,)
        Name or number of the line of each reading, as in `zigzag_offset`.
    track_time_s, track_easting, track_northing : array_like, shape (n_fixes,)
        Times [s] and projected positions [m] of the antenna; for a rover with a receiver of its
        own, those of the readings.
    ahead_m, right_m : float, optional
        The arm as measured with a tape: sensor ahead and to the right of the antenna [m]. None
        where it isn't known (default).
    arm_sd_m : float
        Expected size of an arm that isn't given [m] (default 1, common practice).
    position_sd_m : float
        Expected error of position of a passage, along it [m] (default 1); worth four passages.
    max_lag_s : float
        Lags up to this are looked for [s] (default 10). Larger ones are clock errors.
    window_m, max_spacing_m, max_gap_s : float
        As in `zigzag_offset`.

    Returns
    -------
    Lag
        Nothing (NaN, infinite sd) where `zigzag_offset` finds no common anomalies, or the fit
        doesn't settle.

    Raises
    ------
    InputError
        When lengths differ or a setting isn't above zero.

    Notes
    -----
    With lag d, arm a ahead and b to the right, a reading that the track puts at p was taken at
    ``p - v d + a u + b r``, where v is the velocity, u its direction and r the right-hand side.

    - Along a passage an anomaly appears displaced by ``v d - a`` in the direction of walking. The
      displacements of windows against both neighbours are those of `zigzag_offset`, which also
      gives the first value.
    - At a crossing the readings differ by ``grad T . [-(v1 - v2) d + (u1 - u2) a + (r1 - r2) b]``,
      the gradient taken from the slopes along both passages.

    At one speed v only ``d - a / v`` can be told. So the fit is made for this shift at the usual
    speed and, beside it, for arms that are expected to be about `arm_sd_m` long: where speeds
    differ the readings decide, where they don't the expected size remains, as the sd says.

    Passages have an error of position each, which enters the displacement of three, and a
    displacement of their own where strikes bend; sizes come from the evidence (see `MixedModel`).
    The sd covers the spread over likely sizes. Of more than fifty lines, the fifty neighbours that
    tell most are used, so that a large survey takes seconds.

    Examples
    --------
    Ten lines there and back at 1 m/s over a dyke; the field half a second late, no arm:

    >>> along = np.concatenate([np.arange(0.0, 401), np.full(20, 400.0)])
    >>> east = np.tile(np.concatenate([along, 400.0 - along]), 5)
    >>> north = np.cumsum(np.tile(np.concatenate([np.zeros(400), np.ones(21)]), 10)) * 20 / 21
    >>> field = 40.0 / (1.0 + ((east - 200.0 + 0.5 * north) / 15.0) ** 2)
    >>> clock = np.arange(east.size) + 0.0
    >>> found = estimate_lag(clock + 0.5, field, np.repeat(np.arange(10), 421),
    ...     track_time_s=clock, track_easting=east, track_northing=north, ahead_m=0.0)
    >>> round(found.lag_s, 1), found.state
    (0.5, 'measured')
    """
    for name, value in (
        ("arm_sd_m", arm_sd_m),
        ("position_sd_m", position_sd_m),
        ("max_lag_s", max_lag_s),
    ):
        check_positive(value, name=name)
    first = zigzag_offset(
        time_s,
        field_nT,
        line,
        track_time_s=track_time_s,
        track_easting=track_easting,
        track_northing=track_northing,
        max_offset_s=max_lag_s,
        window_m=window_m,
        max_spacing_m=max_spacing_m,
        max_gap_s=max_gap_s,
    )
    if not np.isfinite(first.offset_s):
        return UNKNOWN
    clock, field = (np.atleast_1d(np.asarray(a, dtype=np.float64)) for a in (time_s, field_nT))
    track = clean_track(track_time_s, track_easting, track_northing)
    length = usual_length(clock, line_numbers(line), track)
    number = passage_numbers(track, usual_length_m=length, max_gap_s=max_gap_s)
    survey = _survey(
        clock,
        field,
        track,
        number,
        window_m=min(window_m, length / 3) if length > 0 else window_m,
        max_spacing_m=max_spacing_m,
        max_gap_s=max_gap_s,
        offset_s=first.offset_s,
    )
    if survey is None:
        return UNKNOWN
    return _in_rounds(survey, first.offset_s, (ahead_m, right_m), arm_sd_m, position_sd_m)


@dataclass(frozen=True)
class _Survey:
    """What the rounds of the fit need."""

    time_s: FloatArray
    field_nT: FloatArray
    track: Track
    number: IntArray
    series: Series
    passages: Passages
    window_m: float
    max_gap_s: float

    def walk(self, offset_s: float) -> Walk:
        """Return the readings on passages, `offset_s` taken off their times."""
        order = np.argsort(self.time_s, kind="stable")
        time = self.time_s[order] - offset_s
        east, north = (
            interpolate_linear(time, self.track.time_s, axis, max_gap=self.max_gap_s)
            for axis in (self.track.easting_m, self.track.northing_m)
        )
        after = np.clip(np.searchsorted(self.track.time_s, time), 1, self.number.size - 1)
        passage = self.number[after]
        field = self.field_nT[order]
        kept = (passage >= 0) & (passage == self.number[after - 1])
        kept &= np.isfinite(east + north + field)
        return Walk(time[kept], east[kept], north[kept], field[kept], passage[kept])


def _survey(
    clock: FloatArray,
    field: FloatArray,
    track: Track,
    number: IntArray,
    *,
    window_m: float,
    max_spacing_m: float,
    max_gap_s: float,
    offset_s: float,
) -> _Survey | None:
    """Return the survey with its parallel passages; None with too few."""
    after = np.clip(np.searchsorted(track.time_s, clock - offset_s), 0, number.size - 1)
    series = passage_series(clock, field, number[after])
    if series is None:
        return None
    number = read_passages(number, np.isfinite(series.at(track.time_s)))
    passages = parallel_passages(
        track, number, step_m=STEP_M / 2, max_spacing_m=max_spacing_m, window_m=window_m
    )
    if passages is None:
        return None
    return _Survey(clock, field, track, number, series, passages, window_m, max_gap_s)


def _in_rounds(
    survey: _Survey,
    offset_s: float,
    arms: tuple[float | None, float | None],
    arm_sd_m: float,
    position_sd_m: float,
) -> Lag:
    """Fit, move the readings, and fit again."""
    speed = float(np.nanmedian(np.abs(survey.passages.velocity_m_s)))
    offset = offset_s
    for _ in range(ROUNDS):
        windows = window_rows(
            survey.series,
            survey.passages,
            offset_s=offset,
            window_m=survey.window_m,
            position_sd_m=position_sd_m,
            usual_speed=speed,
        )
        if windows is None:
            return UNKNOWN
        crossings = crossing_rows(
            survey.walk(offset), position_sd_m=position_sd_m, usual_speed=speed
        )
        counts = [0 if rows is None else rows.value.size for rows in (windows, crossings)]
        parts = [rows for rows in (windows, crossings) if rows is not None]
        found = fit_shift(parts, arms, arm_sd_m)
        step = float(found.value[0])
        offset += step
        if abs(step) > UNSETTLED_S:
            return UNKNOWN
        sd = float(np.sqrt(found.covariance[0, 0]))
        if abs(step) <= SETTLED_SD * sd:
            break
    if abs(step) > UNSETTLED_SD * sd:
        return UNKNOWN
    return _lag(found, offset, speed, arm_sd_m, counts)


def _lag(found: Shift, shift_s: float, speed: float, arm_sd_m: float, counts: list[int]) -> Lag:
    """Return lag and arm from the shift at the usual speed."""
    to_lag = np.array([1.0, 1.0 / speed, 0.0])
    sd = np.sqrt(np.diag(found.covariance))
    told = sd[1] <= TOLD_SHARE * arm_sd_m
    return Lag(
        lag_s=shift_s + float(found.value[1]) / speed,
        lag_sd_s=float(np.sqrt(to_lag @ found.covariance @ to_lag)),
        ahead_m=float(found.value[1]),
        ahead_sd_m=float(sd[1]),
        right_m=float(found.value[2]),
        right_sd_m=float(sd[2]),
        shift_s=shift_s,
        shift_sd_s=float(sd[0]),
        speed_m_s=speed,
        state="measured" if told else "combination only",
        windows=counts[0],
        crossings=counts[1],
    )


def apply_lag(
    time_s: ArrayLike,
    *,
    track_time_s: ArrayLike,
    track_easting: ArrayLike,
    track_northing: ArrayLike,
    lag_s: float,
    ahead_m: float = 0.0,
    right_m: float = 0.0,
    max_gap_s: float = 10.0,
    smoothing_m: float = 15.0,
) -> tuple[FloatArray, FloatArray]:
    """Return where the sensor was at each reading.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Times of the readings [s], in any order.
    track_time_s, track_easting, track_northing : array_like, shape (n_fixes,)
        Times [s] and projected positions [m] of the antenna, in any order; NaN where missing.
    lag_s : float
        Time of the field reading less time of the position [s], as `Lag` has it.
    ahead_m, right_m : float
        Sensor ahead and to the right of the antenna [m] (default 0).
    max_gap_s : float
        A longer interval between two fixes is a gap [s] (default 10).
    smoothing_m : float
        Length over which the direction of walking is taken [m] (default 15).

    Returns
    -------
    tuple of float arrays, shape (n,)
        Easting and northing of the sensor [m]; NaN outside the track, inside its gaps and, with an
        arm, where the walker has no direction.

    Raises
    ------
    InputError
        When the lengths of the track differ, or a setting isn't above zero.

    Notes
    -----
    ``p(t - lag) + ahead u + right r``: u the direction of walking there, r its right-hand side.

    Examples
    --------
    Walking north at 1 m/s, the field 0.5 s late, sensor 1 m ahead and 0.2 m to the left:

    >>> place = apply_lag([20.0], track_time_s=np.arange(60.0), track_easting=np.zeros(60),
    ...                   track_northing=np.arange(60.0), lag_s=0.5, ahead_m=1.0, right_m=-0.2)
    >>> [float(axis[0]) for axis in place]
    [-0.2, 20.5]
    """
    check_same_length(
        track_time_s=track_time_s, track_easting=track_easting, track_northing=track_northing
    )
    check_positive(max_gap_s, name="max_gap_s")
    track = clean_track(track_time_s, track_easting, track_northing)
    at = np.atleast_1d(np.asarray(time_s, dtype=np.float64)) - lag_s
    east, north = (
        interpolate_linear(at, track.time_s, axis, max_gap=max_gap_s)
        for axis in (track.easting_m, track.northing_m)
    )
    if ahead_m == 0.0 and right_m == 0.0:
        return east, north
    heading = np.radians(
        walking_heading(
            track.easting_m,
            track.northing_m,
            track.time_s,
            smoothing_m=smoothing_m,
            max_gap_s=max_gap_s,
        )
    )
    sine, cosine = (
        interpolate_linear(at, track.time_s, part, max_gap=max_gap_s)
        for part in (np.sin(heading), np.cos(heading))
    )
    size = np.hypot(sine, cosine)
    size[size == 0] = np.nan
    sine, cosine = sine / size, cosine / size
    return (
        east + ahead_m * sine + right_m * cosine,
        north + ahead_m * cosine - right_m * sine,
    )
