"""The posterior of a clock offset over a wide range, coarse to fine."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from lodewalk.methods.checks.clocks._pair_field import (
    WORTH,
    FieldModel,
    Record,
    best_model,
    broad_prior,
)
from lodewalk.methods.checks.clocks._pair_filter import (
    filter_alone,
    log_likelihood,
    log_likelihoods,
)
from lodewalk.methods.checks.spans import IntArray
from lodewalk.validation import FloatArray

#: Length of the blocks of the coarse search [s].
BLOCK_S: Final = (4.0, 15.0)

#: Offsets whose log likelihood is further below the best are dropped.
COARSE_DROP: Final = 20.0
FINE_DROP: Final = 12.0

#: The step is halved until so many steps share the probability, or down to the finest [s].
ENOUGH_STEPS: Final = 6.0
FINEST_S: Final = 0.002

#: Shares of a normal variable, and the distance from its median that holds each [sd].
NORMAL: Final = {0.90: 1.644854, 0.99: 2.575829}

#: Length of the blocks [s], and number of them, within which misfits may hang together.
SCORE_BLOCK_S: Final = 20.0
SCORE_LAGS: Final = 3


@dataclass(frozen=True)
class Posterior:
    """Probability of offsets at even steps; those between the runs of steps have none.

    `evidence` is the log of the integral of the likelihood over the offset [s].
    """

    shifts: FloatArray
    weights: FloatArray
    step: float
    evidence: float

    @property
    def best(self) -> float:
        return float(self.shifts[np.argmax(self.weights)])

    @property
    def width(self) -> float:
        """Half the width of the peak where it has fallen by half a log unit [s]."""
        return self.step * float(np.sum(self.weights > np.exp(-0.5) * self.weights.max())) / 2

    def median_and_sd(self) -> tuple[float, float]:
        """Return the median, and the sd of a normal variable with the same heavier tail.

        The distances from the median that hold 90 and 99 % are taken in units of a normal
        variable's, and the larger counts: a second peak of some per cent must not leave a narrow
        first one to stand for all.
        """
        ends = np.column_stack([self.shifts - self.step / 2, self.shifts + self.step / 2]).ravel()
        below = np.repeat(np.cumsum(self.weights), 2)
        below[::2] -= self.weights
        median = float(np.interp(0.5, below, ends))
        radii = np.sort(np.abs(ends - median))
        held = np.interp(median + radii, ends, below) - np.interp(median - radii, ends, below)
        return median, float(np.max(np.interp(list(NORMAL), held, radii) / list(NORMAL.values())))


class Pair:
    """Two records and a model, ready to be asked for the likelihood of offsets."""

    def __init__(
        self, first: Record, second: Record, model: FieldModel, *, block: float = 0.0
    ) -> None:
        self.first = _blocks(first.table(model.first), model, block)
        self.second = _blocks(second.table(model.second), model, block)
        size = self.second.shape[1]
        states = np.empty((size, 4)), np.empty((size, 4, 4))
        prior = broad_prior(first, second)
        alone = filter_alone(self.second, model.rates, prior, *states)
        self.of_second = float(alone[-1])
        self.rest = model.rates, prior, *states, alone, _reach(model, self.second[0])

    def likelihoods(self, shifts: FloatArray) -> FloatArray:
        """Return log p(first | second) with the first clock ahead by each shift."""
        found: FloatArray = log_likelihoods(shifts, self.first, self.second, *self.rest)
        return found

    def running(self, shift: float) -> FloatArray:
        """Return the log likelihood as it grows from reading to reading of the first record."""
        found = np.empty(self.first.shape[1])
        found[-1] = log_likelihood(shift, self.first, self.second, *self.rest, found)
        return found


def _blocks(table: FloatArray, model: FieldModel, length: float) -> FloatArray:
    """Return the means over blocks of a length [s], their noise raised for the blur."""
    if not length:
        return table
    time, value, noise = table
    starts = np.flatnonzero(np.diff(np.floor(time / length), prepend=-np.inf))
    count = np.diff(starts, append=time.size)
    means = [np.add.reduceat(part, starts) / count for part in (time, value)]
    span = time[starts + count - 1] - time[starts]
    # A mean isn't the field at one time; twice the difference of a walk (span / 12) is safe.
    blur = model.walk * span / 6 + model.bend * span**3 / 100
    return np.stack([*means, noise[starts] / count + blur])


def _reach(model: FieldModel, time: FloatArray) -> float:
    """Return how far after a time the second record still tells of it [s]."""
    interval = float(np.median(np.diff(time)))
    noise = model.second * interval
    memory = max(np.sqrt(noise / model.walk), (noise / model.bend) ** 0.25, model.memory)
    return float(min(6 * memory, 600.0) + 3 * interval)


def search(first: Record, second: Record, model: FieldModel, limit: float) -> Posterior:
    """Return the posterior of the offset within ± `limit` [s], all alike beforehand."""
    block = float(np.clip(0.5 * np.sqrt(min(model.first, model.second) / model.walk), *BLOCK_S))
    steps = np.ceil(limit / block)
    shifts = np.arange(-steps, steps + 1) * (limit / steps)
    found = Pair(first, second, model, block=block).likelihoods(shifts)
    kept = np.flatnonzero(found > found.max() - COARSE_DROP) - int(steps)
    return refine(Pair(first, second, model), kept, limit / steps, limit)


def refine(
    pair: Pair,
    ticks: IntArray,
    step: float,
    limit: float,
    *,
    inflation: float = 1.0,
) -> Posterior:
    """Return the posterior on ever finer steps around the offsets ``ticks * step``.

    Log likelihoods are divided by `inflation`.
    """
    while True:
        ticks = np.unique(np.concatenate([2 * ticks - 1, 2 * ticks, 2 * ticks + 1]))
        step /= 2
        ticks = ticks[np.abs(ticks) * step <= limit]
        shifts: FloatArray = step * ticks.astype(np.float64)
        found = pair.likelihoods(shifts) / inflation
        likely = found > found.max() - FINE_DROP
        ticks = ticks[likely]
        weights: FloatArray = np.exp(found[likely] - found.max())
        total = weights.sum()
        if total >= ENOUGH_STEPS or step < FINEST_S:
            evidence = float(found.max() + np.log(total * step))
            return Posterior(shifts[likely], weights / total, step, evidence)


def widened(pair: Pair, posterior: Posterior, inflation: float, limit: float) -> Posterior:
    """Return the posterior with its log likelihoods divided by `inflation`."""
    step = posterior.step * 8
    near = np.unique(np.rint(posterior.shifts / step).astype(np.int64))
    reach = int(np.ceil(4 * posterior.width * np.sqrt(inflation) / step)) + 1
    ticks = np.unique(near[:, np.newaxis] + np.arange(-reach, reach + 1))
    return refine(pair, ticks, step, limit, inflation=inflation)


def refit(first: Record, second: Record, model: FieldModel, shift: float) -> FieldModel:
    """Fit field and noise to both records at an offset, where they share the field itself.

    They may differ slowly besides, if that makes them clearly likelier.
    """

    def likelihood(model: FieldModel) -> float:
        pair = Pair(first, second, model)
        return float(pair.likelihoods(np.array([shift]))[0] + pair.of_second)

    start = replace(model, apart=model.apart or 1e-4 * (model.first + model.second))
    fit = best_model(likelihood, start, first, second)
    same = replace(fit.model, apart=0.0)
    return fit.model if likelihood(same) < fit.likelihood - WORTH else same


def misfit_inflation(pair: Pair, posterior: Posterior) -> float:
    """Return by how much the misfit, where it hangs together, widens the variance of the offset.

    The slope of the log likelihood with the offset is a sum over the readings. Where the model is
    right its parts are unrelated and their variance equals the curvature; their variance with the
    covariances of neighbouring blocks over the curvature (the sandwich of White 1982 and Newey &
    West 1987) is the inflation, less twice its own standard deviation.
    """
    best, width = posterior.best, max(posterior.width, FINEST_S)
    ahead, behind, at = (pair.running(best + s) for s in (width, -width, 0.0))
    curvature = (2 * at[-1] - ahead[-1] - behind[-1]) / width**2
    time = pair.first[0]
    block = np.floor((time - time[0]) / SCORE_BLOCK_S).astype(np.int64)
    slopes = np.bincount(block, np.diff((ahead - behind) / (2 * width), prepend=0.0))
    slopes -= slopes.mean()
    variance = float(slopes @ slopes)
    for lag in range(1, SCORE_LAGS + 1):
        share = 1 - lag / (SCORE_LAGS + 1)
        variance += 2 * share * float(slopes[lag:] @ slopes[:-lag])
    if not curvature > 0:
        return 1.0
    doubt = np.sqrt(4 / 3 * (SCORE_LAGS + 1) / slopes.size)
    return float(max(1.0, variance / curvature - 2 * doubt))
