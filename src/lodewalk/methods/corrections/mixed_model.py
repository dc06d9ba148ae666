"""A linear model with random levels: sizes of errors from the data, outliers weighed down.

``y = X c + Z u + e``: ``c`` the coefficients sought, ``u`` the level of each group, ``e`` the own
error of each value. All sums run over the columns ``[X Z y]`` once for each kind of value; what
depends on the sizes of the errors works on these small matrices.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import linalg, sparse
from scipy.stats import chi2, qmc

from lodewalk.methods.checks.spans import IntArray
from lodewalk.validation import FloatArray

#: Median size of a normal value of sd 1, inverted.
NORMAL_SCALE: Final = 1.4826

#: How many readings the expected sizes of the errors are worth.
PRIOR_FREEDOM: Final = 4.0

#: Weights begin to fall at so many sd, and are none from the second on.
KEEP_SD, DROP_SD = 3.5, 6.0

#: In the first rounds weights fall from here on, more slowly (Huber).
HUBER_SD: Final = 1.5
HUBER_ROUNDS, ROUNDS = 5, 12

#: Least weight of a level: an outlier's own level is as good as free.
LEAST_LEVEL: Final = 1e-4

#: Rounds for the sizes of the errors within each round of weights, and at the end.
SIZE_ROUNDS, LAST_SIZE_ROUNDS = 3, 30

#: Binary logarithm of the number of draws over which the sizes are averaged.
DRAWS_LOG2: Final = 4


@dataclass
class Sizes:
    """Scale of the own errors' variance for each kind, and variance of the levels of each kind."""

    noise: FloatArray
    level: FloatArray


@dataclass
class Freedom:
    """Degrees of freedom that each of the `Sizes` rests on."""

    noise: FloatArray
    level: FloatArray


class MixedModel:
    """Values, what they depend on, and the present weight of each.

    Restricted maximum likelihood (Harville 1977) finds the sizes of the errors, the expected ones
    counting as `PRIOR_FREEDOM` values each. Values and levels far off their kind count less.

    Parameters
    ----------
    value : array, shape (n,)
        Values.
    sd : array, shape (n,)
        Expected sd of the own error of each.
    kind : int array, shape (n,)
        Kind of each; kinds have a scale of error each.
    x : array, shape (n, p)
        Change of the value for one unit of each coefficient.
    z : sparse array, shape (n, levels)
        Change of the value for one unit of each level.
    level_kind : int array, shape (levels,)
        Kind of each level; kinds have a variance each.
    expected : array
        Expected variance of the levels of each kind; infinite for levels that are free.
    worth : array, shape (n,), optional
        Share of an independent value that each is worth, as where windows overlap (default 1).

    References
    ----------
    Harville, D. A. (1977), Maximum likelihood approaches to variance component estimation and to
    related problems, Journal of the American Statistical Association 72, 320-338,
    doi:10.1080/01621459.1977.10480998 (from memory).
    """

    def __init__(
        self,
        *,
        value: FloatArray,
        sd: FloatArray,
        kind: IntArray,
        x: FloatArray,
        z: sparse.csr_array,
        level_kind: IntArray,
        expected: FloatArray,
        worth: FloatArray | None = None,
    ) -> None:
        self.value, self.sd, self.kind = value, sd, kind
        self.level_kind, self.expected = level_kind, expected
        self.kinds, self.levels, self.unknowns = int(kind.max()) + 1, level_kind.size, x.shape[1]
        self.columns = sparse.csr_array(sparse.hstack([sparse.csr_array(x), z, value[:, None]]))
        self.worth = np.ones(value.size) if worth is None else worth
        self.weight, self.level_weight = self.worth, np.ones(self.levels)

    def start(self) -> Sizes:
        """Return the expected sizes."""
        return Sizes(np.ones(self.kinds), self.expected.copy())

    def products(self) -> FloatArray:
        """Return the weighted products of the columns for each kind."""
        weight = self.weight / self.sd**2
        parts = []
        for k in range(self.kinds):
            rows = np.flatnonzero(self.kind == k)
            own = self.columns[rows]
            parts.append((own.T @ own.multiply(weight[rows, None])).toarray())
        return np.array(parts)

    def left(self, solution: FloatArray) -> FloatArray:
        """Return what a solution leaves of each value."""
        return np.asarray(-self.columns @ np.append(solution, -1.0))

    def noise_sd(self, sizes: Sizes) -> FloatArray:
        """Return the sd of each value's own error."""
        return self.sd * np.sqrt(sizes.noise[self.kind])

    def precision(self, sizes: Sizes) -> FloatArray:
        """Return the prior precision of each level; 0 for one that is free."""
        return np.asarray(self.level_weight / sizes.level[self.level_kind])


@dataclass(frozen=True)
class Solution:
    """Coefficients and levels, their covariance, and the sum of squares left."""

    value: FloatArray
    covariance: FloatArray
    square: float


def solve(model: MixedModel, products: FloatArray, sizes: Sizes, space: FloatArray) -> Solution:
    """Solve the mixed-model equations with the coefficients confined to `space`, shape (p, r)."""
    total = np.einsum("k,kij->ij", 1 / sizes.noise, products)
    rank = space.shape[1]
    size = rank + model.levels
    turn = np.zeros((model.unknowns + model.levels, size))
    turn[: model.unknowns, :rank] = space
    turn[model.unknowns :, rank:] = np.eye(model.levels)
    matrix = turn.T @ total[:-1, :-1] @ turn
    matrix[np.arange(rank, size), np.arange(rank, size)] += model.precision(sizes)
    inverse = linalg.inv(matrix) if size else np.empty((0, 0))
    right = turn.T @ total[:-1, -1]
    value = inverse @ right
    square = float(total[-1, -1] - value @ right)
    return Solution(turn @ value, turn @ inverse @ turn.T, square)


def update(
    model: MixedModel, products: FloatArray, sizes: Sizes, space: FloatArray
) -> tuple[Sizes, Freedom]:
    """Return better sizes by one round of restricted maximum likelihood, and their freedom."""
    found = solve(model, products, sizes, space)
    extended = np.append(found.value, -1.0)
    squares = np.einsum("i,kij,j->k", extended, products, extended)
    spent = np.einsum("ij,kji->k", found.covariance, products[:, :-1, :-1]) / sizes.noise
    number = np.bincount(model.kind, model.weight, model.kinds)
    freedom = PRIOR_FREEDOM + np.maximum(number - spent, 0.0)
    noise = (PRIOR_FREEDOM + squares) / freedom
    level, level_freedom = sizes.level.copy(), np.full(sizes.level.size, np.inf)
    levels = found.value[model.unknowns :]
    variance = np.diag(found.covariance)[model.unknowns :]
    precision = model.precision(sizes)
    for k in np.flatnonzero(np.isfinite(sizes.level)):
        own = np.flatnonzero(model.level_kind == k)
        spread = float(np.sum(model.level_weight[own] * levels[own] ** 2))
        known = own.size - float(np.sum(variance[own] * precision[own]))
        level_freedom[k] = PRIOR_FREEDOM + max(known, 0.0)
        level[k] = (PRIOR_FREEDOM * model.expected[k] + spread) / level_freedom[k]
    return Sizes(noise, level), Freedom(freedom, level_freedom)


def settle(model: MixedModel, space: FloatArray) -> tuple[Sizes, Freedom, FloatArray]:
    """Weigh outliers down and find the sizes of the errors, in turn."""
    sizes = model.start()
    for number in range(ROUNDS):
        products = model.products()
        for _ in range(SIZE_ROUNDS):
            sizes, freedom = update(model, products, sizes, space)
        found = solve(model, products, sizes, space)
        huber = number < HUBER_ROUNDS
        robust = _weights(model.left(found.value) / model.sd, model.kind, huber)
        model.weight = model.worth * robust
        _weigh_levels(model, found.value[model.unknowns :], huber)
    products = model.products()
    for _ in range(LAST_SIZE_ROUNDS):
        sizes, freedom = update(model, products, sizes, space)
    return sizes, freedom, products


def _weights(left: FloatArray, kind: IntArray, huber: bool) -> FloatArray:
    """Return the weight of each value by its error in units of its kind's usual error."""
    weight = np.ones(left.size)
    for k in np.unique(kind):
        own = kind == k
        usual = _usual(left[own], 1.0)
        weight[own] = _weight(np.abs(left[own]) / usual, huber)
    return weight


def _weigh_levels(model: MixedModel, level: FloatArray, huber: bool) -> None:
    """Set the weight of each level in the same way."""
    for k in np.flatnonzero(np.isfinite(model.expected)):
        own = np.flatnonzero(model.level_kind == k)
        usual = _usual(level[own], float(np.sqrt(model.expected[k])))
        size = np.abs(level[own]) / usual
        model.level_weight[own] = np.maximum(_weight(size, huber), LEAST_LEVEL)


def _usual(left: FloatArray, expected: float) -> float:
    """Return the sd by the median, drawn to the expected one where there are few."""
    seen = (NORMAL_SCALE * float(np.median(np.abs(left)))) ** 2 if left.size else 0.0
    total = PRIOR_FREEDOM * expected**2 + left.size * seen
    return float(np.sqrt(total / (PRIOR_FREEDOM + left.size)))


def _weight(size: FloatArray, huber: bool) -> FloatArray:
    """Return weights by size in sd."""
    if huber:
        return np.minimum(1.0, HUBER_SD / np.maximum(size, 1e-12))
    return np.clip((DROP_SD - size) / (DROP_SD - KEEP_SD), 0.0, 1.0) * np.minimum(
        1.0, KEEP_SD / np.maximum(size, 1e-12)
    )


def draws(sizes: Sizes, freedom: Freedom) -> list[Sizes]:
    """Return sizes spread evenly over what is likely: scaled inverse chi-squared each."""
    kinds = sizes.noise.size
    free = np.isfinite(sizes.level)
    count = kinds + int(free.sum())
    share = qmc.Sobol(count, scramble=False).random_base2(DRAWS_LOG2)
    share = share + 0.5 / 2**DRAWS_LOG2
    degrees = np.concatenate([freedom.noise, freedom.level[free]])
    factor = degrees / chi2.ppf(share, degrees)
    found = []
    for row in factor:
        level = sizes.level.copy()
        level[free] *= row[kinds:]
        found.append(Sizes(sizes.noise * row[:kinds], level))
    return found
