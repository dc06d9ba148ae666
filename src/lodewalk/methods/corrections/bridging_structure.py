"""How fast a record wanders: its structure function, from the sides of a gap."""

from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from scipy.special import stdtrit

from lodewalk.methods.checks.spans import BoolArray, IntArray
from lodewalk.methods.checks.time_order import nominal_interval
from lodewalk.methods.corrections.linear import interpolate_linear
from lodewalk.validation import FloatArray

#: Powers of the lag that a structure function is a sum of, each valid by itself; 0 is noise,
#: 1 a random walk, and near 2 a curve that is almost smooth.
POWERS: Final = np.array([0.0, 0.5, 1.0, 1.5, 1.9])

#: Lags that are looked at, and even steps of the record in the longest.
N_LAGS: Final = 10
STEPS_IN_GAP: Final = 120

#: A lag counts when so many misfits are known; so many lags are needed.
FEWEST_MISFITS: Final = 3
FEWEST_LAGS: Final = 2

#: Least share of a squared misfit that is left when the noise is taken off.
LEAST_SHARE: Final = 0.1

#: Rounds of the fit.
FIT_ROUNDS: Final = 3

#: Stands in for a squared misfit of nothing [nT^2].
TINY: Final = 1e-12

#: Record on each side that is looked at, in lengths of the gap.
SIDE_LENGTHS: Final = 8.0


@dataclass(frozen=True)
class Record:
    """Readings in order of time, the missing ones left out.

    Parameters
    ----------
    time_s : float array, shape (n,)
        Increasing times [s].
    value_nT : float array, shape (n,)
        Readings [nT].
    """

    time_s: FloatArray
    value_nT: FloatArray

    def part(self, chosen: BoolArray | IntArray) -> "Record":
        """Return the chosen readings."""
        return Record(self.time_s[chosen], self.value_nT[chosen])

    def at(self, time_s: FloatArray) -> FloatArray:
        """Return the record at given times, straight between readings; NaN in its gaps [nT]."""
        if self.time_s.size < 2 or not np.isfinite(time_s).any():
            return np.full(time_s.shape, np.nan)
        longest = 3 * nominal_interval(self.time_s)
        first = np.searchsorted(self.time_s, np.nanmin(time_s), side="right") - 1
        stop = np.searchsorted(self.time_s, np.nanmax(time_s), side="left") + 1
        near = slice(max(int(first), 0), int(stop))
        return interpolate_linear(time_s, self.time_s[near], self.value_nT[near], max_gap=longest)


@dataclass(frozen=True)
class Gap:
    """A gap, from the last reading before it to the first one after it [s].

    An end without a reading beyond it is infinite; `first_s` to `last_s` is to be bridged.
    """

    start_s: float
    end_s: float
    first_s: float
    last_s: float

    @property
    def two_sided(self) -> bool:
        """Whether there is record before and after."""
        return bool(np.isfinite(self.start_s) and np.isfinite(self.end_s))

    @property
    def length_s(self) -> float:
        """Length to be bridged [s]."""
        return self.last_s - self.first_s

    def distance(self, time_s: FloatArray) -> FloatArray:
        """Return how far times lie from the gap, 0 inside [s]."""
        return np.maximum(np.maximum(self.first_s - time_s, time_s - self.last_s), 0.0)


@dataclass(frozen=True)
class Structure:
    """Half the expected squared difference over a lag, as a sum of `POWERS` of the lag.

    Parameters
    ----------
    weights_nT2 : float array, shape (5,)
        Weight of each power for a lag of one unit [nT^2]; the first is the noise of a reading.
        NaN where the record is too short to tell.
    unit_s : float
        Unit of the lags [s].
    """

    weights_nT2: FloatArray
    unit_s: float

    @property
    def known(self) -> bool:
        """Whether the record told enough."""
        return bool(np.isfinite(self.weights_nT2).all())

    def between(self, first_s: FloatArray, second_s: FloatArray) -> FloatArray:
        """Return it, noise left out, for each pair of times [nT^2]."""
        lag = np.abs(first_s[:, None] - second_s[None, :]) / self.unit_s
        total = np.zeros(lag.shape)
        for weight, power in zip(self.weights_nT2[1:], POWERS[1:], strict=True):
            if weight > 0:
                total += weight * lag**power
        return total

    def chord_error(self, length_s: float) -> float:
        """Return the squared error of a line of that length at its middle [nT^2]."""
        return float(chord_factors(length_s / 2 / self.unit_s)[1:] @ self.weights_nT2[1:])


@dataclass(frozen=True)
class Misfits:
    """Departures of a record over one lag, with their weights.

    Parameters
    ----------
    lag_s, step_s : float
        The lag, and the time between neighbouring misfits [s].
    value_nT : float array, shape (n,)
        Of a reading from the middle of the line between those a lag before and after; for a gap
        with a single side, of a reading from that a lag before. NaN where one is missing.
    weight : float array, shape (n,)
        More beside the gap than far away.
    """

    lag_s: float
    step_s: float
    value_nT: FloatArray
    weight: FloatArray

    def mean_square(self) -> float:
        """Return the weighted mean square [nT^2]; NaN where too few are known."""
        known = np.isfinite(self.value_nT)
        if known.sum() < FEWEST_MISFITS:
            return float("nan")
        return float(np.average(self.value_nT[known] ** 2, weights=self.weight[known]))

    def caution(self) -> float:
        """Return the square of Student's 95 % point over the normal one, for the lags seen."""
        seen = max(np.isfinite(self.value_nT).sum() * self.step_s / self.lag_s, 1.0)
        return float((stdtrit(seen, 0.95) / 1.645) ** 2)


def chord_factors(lag: float) -> FloatArray:
    """Return the squared misfit at the middle of a line of two lags, for each power."""
    factors: FloatArray = (2 - 0.5 * 2**POWERS) * lag**POWERS
    return factors


def difference_factors(lag: float) -> FloatArray:
    """Return the squared difference over a lag, for each power."""
    factors: FloatArray = 2 * lag**POWERS
    return factors


def fit_structure(
    sides: Record, gap: Gap, *, noise_nT: float, free_noise: bool = False
) -> Structure:
    """Return the structure function of a record on the sides of a gap.

    `noise_nT` is the noise of a reading; with `free_noise` the least it can be. On a single side
    few lags as long as the gap have been seen, and the squares are raised for that.
    """
    factors = chord_factors if gap.two_sided else difference_factors
    rows, squares = [], []
    for found in side_misfits(sides, gap):
        square = found.mean_square()
        if np.isfinite(square):
            rows.append(factors(found.lag_s / gap.length_s))
            squares.append(square * (1.0 if gap.two_sided else found.caution()))
    if len(rows) < FEWEST_LAGS:
        return Structure(np.full(POWERS.size, np.nan), gap.length_s)
    weights = _fit_weights(np.array(rows), np.array(squares), noise_nT, free_noise=free_noise)
    return Structure(weights, gap.length_s)


def _fit_weights(
    rows: FloatArray, squares: FloatArray, noise_nT: float, *, free_noise: bool
) -> FloatArray:
    """Return the weights that fit the squares, each in proportion to its size.

    At first in proportion to the square found, then to the square fitted: chance makes small
    ones too heavy.
    """
    left = np.maximum(squares - noise_nT**2 * rows[:, 0], LEAST_SHARE * squares)
    left = np.maximum(left, TINY)
    chosen = np.arange(0 if free_noise else 1, POWERS.size)
    size, weights = left, np.zeros(POWERS.size)
    for _ in range(FIT_ROUNDS):
        weights[chosen] = _least_squares_above_zero(rows[:, chosen] / size[:, None], left / size)
        size = np.maximum(rows @ weights, LEAST_SHARE * left)
    weights[0] += noise_nT**2
    return weights


def _least_squares_above_zero(rows: FloatArray, wanted: FloatArray) -> FloatArray:
    """Return the weights, none below zero, that fit best: the best of all sets of columns."""
    normal, right = rows.T @ rows, rows.T @ wanted
    best, least = np.zeros(len(right)), 0.0
    for count in range(1, len(right) + 1):
        for columns in combinations(range(len(right)), count):
            found = np.linalg.lstsq(normal[np.ix_(columns, columns)], right[[*columns]])[0]
            misfit = -float(right[[*columns]] @ found)
            if found.min() >= 0 and misfit < least:
                best, least = np.zeros(len(right)), misfit
                best[[*columns]] = found
    return best


def side_misfits(sides: Record, gap: Gap) -> list[Misfits]:
    """Return the misfits of the sides of a gap, from the shortest lag to the length of the gap."""
    even, step = _even_sides(sides, gap)
    if even.time_s.size < 2:
        return []
    weight = 1 / (1 + gap.distance(even.time_s) / gap.length_s)
    longest = max(int(gap.length_s / step), 1)
    lags = np.unique(np.geomspace(1, longest, N_LAGS).round().astype(np.int64))
    found = []
    for lag in lags.tolist():
        value = even.value_nT
        if gap.two_sided:
            misfit = value[lag:-lag] - (value[2 * lag :] + value[: -2 * lag]) / 2
            around = weight[lag:-lag]
        else:
            misfit = value[lag:] - value[:-lag]
            around = weight[lag // 2 : lag // 2 + misfit.size]
        found.append(Misfits(lag * step, step, misfit, around[: misfit.size]))
    return found


def _even_sides(sides: Record, gap: Gap) -> tuple[Record, float]:
    """Return the sides at even steps, NaN in gaps, and the step [s]."""
    near = sides.part(gap.distance(sides.time_s) <= SIDE_LENGTHS * gap.length_s)
    interval = nominal_interval(near.time_s)
    if not np.isfinite(interval):
        return near, float("nan")
    step = interval * max(1, round(gap.length_s / STEPS_IN_GAP / interval))
    at = np.arange(near.time_s[0], near.time_s[-1] + step / 2, step)
    level = near.value_nT - near.value_nT[0]
    return Record(at, interpolate_linear(at, near.time_s, level, max_gap=1.5 * step)), step
