"""How the field moves and how noisy two records are, by maximum likelihood."""

from collections.abc import Callable
from dataclasses import astuple, dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from scipy.optimize import minimize

from lodewalk.methods.checks.clocks._pair_filter import filter_alone
from lodewalk.methods.checks.resolution import value_resolution
from lodewalk.validation import FloatArray

#: Least sd of the noise of a reading [nT]; it only keeps the search finite.
LEAST_NOISE_NT: Final = 1e-4

#: Limits of the memory of the fast slope [s].
MEMORY_S: Final = (0.1, 300.0)

#: Parameters of a model: so many of the field, the noise of both records, their difference.
OF_FIELD: Final = 3
NOISES: Final = slice(3, 5)

#: Change of the likelihood with each parameter's logarithm, roughly (per root of the readings
#: where it is noise); a step of the search then moves each as far as it matters.
STIFFNESS: Final = (5.0, 2.0, 2.0)

#: A prior on each logarithm so broad that it only decides what the records leave open.
PRIOR_SD: Final = 4.0

#: Factors by which a record's field may be stronger than that of both, and what the likeliest of
#: them may raise the log likelihood by without meaning anything.
STRENGTHS: Final = 2.0 ** np.arange(-6, 7)
OWN_STRENGTH: Final = 2.0

#: A slow difference of the records must raise the log likelihood by this to be believed.
WORTH: Final = 2.0


@dataclass(frozen=True)
class Record:
    """Times [s], readings less their median [nT], and the known sd of the noise [nT] or NaN."""

    time: FloatArray
    value: FloatArray
    noise: float

    @cached_property
    def least_noise(self) -> float:
        """Least variance of the noise [nT^2]: that of rounding."""
        return max(LEAST_NOISE_NT, value_resolution(self.value) / 12**0.5) ** 2

    @property
    def interval(self) -> float:
        return float(np.median(np.diff(self.time)))

    def table(self, noise: float) -> FloatArray:
        """Return time, value and variance of the noise as rows."""
        return np.stack([self.time, self.value, np.full(self.time.size, noise)])

    def between(self, start: float, end: float) -> "Record":
        first, stop = np.searchsorted(self.time, [start, end])
        return Record(self.time[first:stop], self.value[first:stop], self.noise)


@dataclass(frozen=True)
class FieldModel:
    """Walk [nT^2/s], memory [s], bend [nT^2/s^3], noise variance of both [nT^2], difference."""

    walk: float
    memory: float
    bend: float
    first: float
    second: float
    apart: float = 0.0

    @property
    def rates(self) -> FloatArray:
        return np.array([self.walk, self.memory, self.bend, self.apart])

    @property
    def differs(self) -> bool:
        """Whether the records move apart by more over a minute than the field itself moves."""
        return self.apart > self.walk + self.bend * 60.0**2 / 3


@dataclass(frozen=True)
class Fit:
    """A model and its log likelihood, the prior of its parameters left out."""

    model: FieldModel
    likelihood: float


def broad_prior(*records: Record) -> FloatArray:
    """Return variances of level, slope and difference so broad that they say little."""
    sizes = [float(np.var(record.value)) for record in records]
    slopes = [
        size / (record.time[-1] - record.time[0]) ** 2
        for size, record in zip(sizes, records, strict=True)
    ]
    return np.array([1e4 * sum(sizes) + 1.0, 100 * max(slopes), 1e4 * sum(sizes) + 1.0])


def fit_apart(first: Record, second: Record) -> FieldModel:
    """Fit one field to two records that have nothing to do with each other."""
    prior = broad_prior(first, second)

    def likelihood(model: FieldModel) -> float:
        return float(_of_each(first, second, model, prior).sum())

    return best_model(likelihood, first_guess(first, second), first, second).model


def unrelated_likelihood(first: Record, second: Record, model: FieldModel) -> float:
    """Return the log likelihood of two records that have nothing to do with each other.

    The field of each has its own strength where that is clearly likelier.
    """
    prior = broad_prior(first, second)
    models = [replace(model, walk=model.walk * by, bend=model.bend * by) for by in STRENGTHS]
    found = np.array([_of_each(first, second, model, prior) for model in models])
    return float(max(found.sum(axis=1).max(), found.max(axis=0).sum() - OWN_STRENGTH))


def _of_each(first: Record, second: Record, model: FieldModel, prior: FloatArray) -> FloatArray:
    """Return the log likelihood of each of two records by itself."""
    no_states = np.empty((0, 4)), np.empty((0, 4, 4))
    tables = (first.table(model.first), second.table(model.second))
    return np.array([filter_alone(t, model.rates, prior, *no_states)[-1] for t in tables])


def best_model(
    likelihood: Callable[[FieldModel], float], start: FieldModel, first: Record, second: Record
) -> Fit:
    """Return the likeliest model near a start; known noise stays, and no difference stays none."""
    origin = np.log(np.maximum(astuple(start), np.finfo(float).tiny))
    free = np.array([True] * OF_FIELD + [np.isnan(r.noise) for r in (first, second)] + [False])
    free[-1] = start.apart > 0
    scale = np.array([*STIFFNESS, *(np.sqrt(r.time.size / 2) for r in (first, second)), 2.0])
    bounds = np.column_stack([origin - 12.0, origin + 12.0])
    bounds[1] = np.log(MEMORY_S)
    bounds[NOISES, 0] = np.log([first.least_noise, second.least_noise])

    def model(scaled: FloatArray) -> FieldModel:
        logs = origin.copy()
        logs[free] = scaled / scale[free]
        walk, memory, bend, one, two, apart = np.exp(logs)
        return FieldModel(walk, memory, bend, one, two, apart if free[-1] else 0.0)

    def cost(scaled: FloatArray) -> float:
        off = (scaled / scale[free] - origin[free]) / PRIOR_SD
        return -likelihood(model(scaled)) + 0.5 * float(off @ off)

    done = minimize(
        cost,
        (origin * scale)[free],
        method="L-BFGS-B",
        bounds=(bounds * scale[:, np.newaxis])[free],
        options={"eps": 0.02, "ftol": 1e-5, "maxiter": 30},
    )
    return Fit(model(done.x), likelihood(model(done.x)))


def first_guess(first: Record, second: Record) -> FieldModel:
    """Return a model from differences: of neighbours for the noise, over 30 s for the walk."""
    noises = [
        max(np.median(np.diff(r.value) ** 2) if np.isnan(r.noise) else r.noise**2, r.least_noise)
        for r in (first, second)
    ]
    lag = min(max(1, round(30 / second.interval)), second.time.size - 1)
    square = 2.2 * float(np.median((second.value[lag:] - second.value[:-lag]) ** 2))
    walk = max(square - 2 * noises[1], 0.1 * square, second.least_noise) / (lag * second.interval)
    return FieldModel(walk, 2.0, walk / 3600.0, *(float(noise) for noise in noises))
