"""Whether a lag that was found matters, beside what was decided and applied."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.methods.corrections.lag import Lag
from lodewalk.methods.corrections.lag_fit import SLOPE_M, Walk, along_passages
from lodewalk.validation import check_positive, check_same_length

#: Half-width of a 90 % interval in sd.
NINETY: Final = 1.645

#: A displacement smaller than this share of the position's error can't be told from it on a map:
#: in quadrature it adds a twentieth (common practice).
SHARE: Final = 1 / 3

#: Places where the field is steeper than this share of all of them make the zigzag of a map.
STEEP: Final = 0.9


@dataclass(frozen=True)
class LagJudgement:
    """What a lag amounts to.

    Parameters
    ----------
    lag_s, sd_s : float
        The lag that puts readings right with the arm that is applied, and its sd [s].
    left_s : float
        How much of it isn't applied yet [s].
    displaced_m, change_nT : float
        How far that displaces an anomaly at the usual speed [m], and by how much it changes
        readings where the field is steep [nT].
    certain, matters : bool
        Whether what is left is beyond its 90 % interval; and whether it is large enough to matter.
    """

    lag_s: float
    sd_s: float
    left_s: float
    displaced_m: float
    change_nT: float
    certain: bool
    matters: bool

    @property
    def interval_s(self) -> tuple[float, float]:
        """The 90 % interval of the lag [s]."""
        return self.lag_s - NINETY * self.sd_s, self.lag_s + NINETY * self.sd_s


def judge_lag(
    found: Lag,
    *,
    ahead_m: float,
    applied_s: float,
    position_sd_m: float,
    slope_nT_m: float,
    noise_nT: float,
) -> LagJudgement:
    """Judge what is left of a lag.

    Parameters
    ----------
    found : Lag
        What the survey tells; not of the state "not identifiable".
    ahead_m : float
        The arm ahead that is applied [m], 0 where none is.
    applied_s : float
        The lag that is applied [s], 0 where none is.
    position_sd_m : float
        Error of position between neighbouring passages [m].
    slope_nT_m : float
        Slope of the field where it is steep [nT/m], see `steep_slope`.
    noise_nT : float
        Noise of one reading [nT].

    Returns
    -------
    LagJudgement

    Raises
    ------
    InputError
        When an error or noise isn't above zero.

    Notes
    -----
    A survey tells the shift ``lag - ahead / v`` at its usual speed v. With the arm ``a`` applied,
    the lag ``shift + a / v`` puts the readings right at that speed, whatever the true arm is.

    What is left matters when it moves anomalies, to and fro between lines walked in opposite
    directions, by more than a third of the error of position between them, and when that changes
    the readings on the flanks of anomalies by more than their noise. Less can't be seen on a map.

    Examples
    --------
    >>> found = Lag(0.5, 0.1, 0.0, 0.0, 0.0, 0.0, 0.5, 0.1, 1.2, "measured", 100, 0)
    >>> judged = judge_lag(found, ahead_m=0.0, applied_s=0.0, position_sd_m=0.3, slope_nT_m=2.0,
    ...                    noise_nT=0.5)
    >>> round(judged.displaced_m, 2), round(judged.change_nT, 2), judged.matters
    (0.6, 1.2, True)
    """
    check_positive(position_sd_m, name="position_sd_m")
    check_positive(noise_nT, name="noise_nT")
    lag = found.shift_s + ahead_m / found.speed_m_s
    left = lag - applied_s
    displaced = abs(left) * found.speed_m_s
    change = displaced * slope_nT_m
    return LagJudgement(
        lag_s=lag,
        sd_s=found.shift_sd_s,
        left_s=left,
        displaced_m=displaced,
        change_nT=change,
        certain=bool(abs(left) > NINETY * found.shift_sd_s),
        matters=bool(displaced > SHARE * position_sd_m and change > noise_nT),
    )


def steep_slope(
    time_s: ArrayLike,
    field_nT: ArrayLike,
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    passage: ArrayLike,
) -> float:
    """Return how steep the field is along the lines at a tenth of the readings, or steeper.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Times of the readings [s], in order.
    field_nT : array_like, shape (n,)
        Field [nT]; NaN where missing.
    easting_m, northing_m : array_like, shape (n,)
        Places [m]; NaN where missing.
    passage : array_like, shape (n,)
        Number of the passage of each reading; below 0 for none.

    Returns
    -------
    float
        Size of the slope over 6 m [nT/m]; 0 where there are no lines.

    Raises
    ------
    InputError
        When lengths differ.

    Examples
    --------
    >>> along = np.arange(100.0)
    >>> steep_slope(along, 2.0 * along, along, 0 * along, 0 * along)
    2.0
    """
    check_same_length(
        time_s=time_s,
        field_nT=field_nT,
        easting_m=easting_m,
        northing_m=northing_m,
        passage=passage,
    )
    time, field, east, north = (
        np.atleast_1d(np.asarray(a, dtype=np.float64))
        for a in (time_s, field_nT, easting_m, northing_m)
    )
    number = np.atleast_1d(np.asarray(passage, dtype=np.int64))
    kept = (number >= 0) & np.isfinite(time + field + east + north)
    if not kept.any():
        return 0.0
    walk = Walk(time[kept], east[kept], north[kept], field[kept], number[kept])
    step = float(np.median(np.hypot(np.diff(walk.easting_m), np.diff(walk.northing_m)), axis=0))
    slope = along_passages(walk, max(round(SLOPE_M / max(step, 0.1)), 1))[2]
    slope = np.abs(slope[np.isfinite(slope)])
    return float(np.quantile(slope, STEEP)) if slope.size else 0.0
