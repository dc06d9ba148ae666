"""Robust Bayesian least squares for levelling, in units of the prior's sd."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from lodewalk.validation import FloatArray

IntArray = NDArray[np.int64]

#: Standardised residual from which Huber's weights fall (95 % efficient; Huber 1981).
HUBER: Final = 1.345
#: Standardised residual from which the bisquare gives no weight (95 % efficient; Huber 1981).
BISQUARE: Final = 4.685
#: Bisquare weights of normal residuals have mean 1 - 2 / c^2 + 3 / c^4 = 0.915, though the estimate
#: is worth 0.95 of all crossings, so information from weights below 1 is too small by this factor.
UNDERSTATED: Final = 0.95 / (1 - 2 / BISQUARE**2 + 3 / BISQUARE**4)
#: Iterations end when no weight changes by more than this.
SETTLED: Final = 1e-6
MOST_ITERATIONS: Final = 200
#: From this iteration on weights go half the way, which stops them from swinging to and fro.
STEADY: Final = 20
#: Standard error of a MAD-sd of n normal values: this times the sd over sqrt(n).
MAD_ERROR: Final = 1.17
#: One-sided 5 % limit of the normal distribution.
LIMIT: Final = 1.645
#: Median size of a standard normal value.
MEDIAN_SIZE: Final = 0.6745
#: Steps of iterative refinement of a solution.
REFINED: Final = 3
#: Least share of a residual that a crossing leaves to the others.
TINY: Final = 1e-12


@dataclass(frozen=True)
class Design:
    """Rows of few values each: `values` (m, k) stand in `column` (m, k) of `size` columns."""

    values: FloatArray
    column: IntArray
    size: int

    def __matmul__(self, solution: FloatArray) -> FloatArray:
        """Return the product (m,) with a vector."""
        product: FloatArray = np.sum(self.values * solution[self.column], axis=1)
        return product

    def back(self, residual: FloatArray) -> FloatArray:
        """Return the product (size,) of the transpose with a vector."""
        weights = (self.values * residual[:, None]).ravel()
        back = np.bincount(self.column.ravel(), weights=weights, minlength=self.size)
        return back.astype(np.float64)  # bincount counts in integers where there is nothing


@dataclass(frozen=True)
class Fit:
    """A robust fit in units of the prior's sd.

    Parameters
    ----------
    solution : array, shape (c,)
        Coefficients over the prior's sd.
    covariance : array, shape (c, c)
        Their covariance.
    information : array, shape (c, c)
        What the crossings alone tell: inverse covariance without the prior.
    standardised : array, shape (m,)
        Difference of each crossing from what all others and the prior say, over its sd.
    foretold : array, shape (m,)
        That sd, over the stated sd of the crossing.
    weight : array, shape (m,)
        Robust weight of each crossing, 0 to 1.
    scale : float
        Factor on the stated sd, 1 or above.
    iterations : int
    converged : bool
    """

    solution: FloatArray
    covariance: FloatArray
    information: FloatArray
    standardised: FloatArray
    foretold: FloatArray
    weight: FloatArray
    scale: float
    iterations: int
    converged: bool


def robust_fit(design: Design, observed: FloatArray) -> Fit:
    """Fit ``observed = design z + noise`` with noise and z of sd 1, apart from outliers.

    Huber's weights, whose solution doesn't hang on the start, give the scale; from there the
    bisquare decides which crossings don't count. The scale, from the median size of the
    standardised residuals, only ever widens the stated sd, and only when above 1 by more than
    chance allows (one-sided, 5 %).
    """
    weight, scale, first, _ = _iterated(
        design, observed, huber, weight=np.ones(observed.size), scale=None
    )
    weight, scale, second, settled = _iterated(
        design, observed, bisquare, weight=weight, scale=scale
    )
    covariance, _ = _covariance(design, weight / scale**2)
    solution = _solution(design, observed, covariance, weight / scale**2)
    residual, foretold = _standardised(design, observed, solution, covariance, weight, scale)
    covariance, information = _covariance(design, np.minimum(UNDERSTATED * weight, 1) / scale**2)
    return Fit(
        solution=solution,
        covariance=covariance,
        information=information,
        standardised=residual,
        foretold=foretold,
        weight=weight,
        scale=scale,
        iterations=first + second,
        converged=settled,
    )


def huber(size: FloatArray) -> FloatArray:
    """Return Huber's weight of standardised residuals."""
    weight: FloatArray = HUBER / np.maximum(np.abs(size), HUBER)
    return weight


def bisquare(size: FloatArray) -> FloatArray:
    """Return the bisquare weight of standardised residuals."""
    weight: FloatArray = np.maximum(1 - (size / BISQUARE) ** 2, 0.0) ** 2
    return weight


def _iterated(
    design: Design,
    observed: FloatArray,
    function: Callable[[FloatArray], FloatArray],
    *,
    weight: FloatArray,
    scale: float | None,
) -> tuple[FloatArray, float, int, bool]:
    """Weigh and solve in turn until the weights settle; `scale` is found where it is None.

    Returns weights, scale, number of solutions, and whether the weights settled.
    """
    factor, settled, count, wide = scale or 1.0, not observed.size, 0, False
    while not settled and count < MOST_ITERATIONS:
        count += 1
        covariance, _ = _covariance(design, weight / factor**2)
        solution = _solution(design, observed, covariance, weight / factor**2)
        residual, _ = _standardised(design, observed, solution, covariance, weight, factor)
        if scale is None:
            factor, wide = _widened(residual * factor, wide=wide)
        new = function(residual)
        settled = float(np.max(np.abs(new - weight))) < SETTLED
        weight = (weight + new) / 2 if count > STEADY else new
    return weight, factor, count, settled


def _covariance(design: Design, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the covariance of the solution and the information of the crossings."""
    information = _information(design.values, design.column, weight, design.size)
    unit = np.eye(design.size)
    covariance: FloatArray = cho_solve(cho_factor(information + unit), unit)
    return covariance, information


def _solution(
    design: Design,
    observed: FloatArray,
    covariance: FloatArray,
    weight: FloatArray,
) -> FloatArray:
    """Return the solution, refined because sd far below the prior's cost digits."""
    solution: FloatArray = covariance @ design.back(weight * observed)
    for _ in range(REFINED):
        rest = design.back(weight * (observed - design @ solution)) - solution
        solution = solution + covariance @ rest
    return solution


def _standardised(
    design: Design,
    observed: FloatArray,
    solution: FloatArray,
    covariance: FloatArray,
    weight: FloatArray,
    scale: float,
) -> tuple[FloatArray, FloatArray]:
    """Return each difference from what the others foretell over its sd, and that sd.

    With leverage h = g C g' / scale^2 and weight w of a crossing, its residual e becomes e / (1 -
    w h) without it, and the variance of that is scale^2 (1 + h / (1 - w h)).
    """
    leverage = _leverage(design.values, design.column, covariance) / scale**2
    left = np.maximum(1 - weight * leverage, TINY)
    residual: FloatArray = (observed - design @ solution) / scale
    return residual / np.sqrt(left * (left + leverage)), scale * np.sqrt(1 + leverage / left)


def _widened(residual: FloatArray, *, wide: bool) -> tuple[float, bool]:
    """Return the factor by which the stated sd are too small, and whether it counts.

    It counts from when chance doesn't explain it; `wide` tells that it did before, without which
    the iteration could swing about that limit.
    """
    scale = float(np.median(np.abs(residual))) / MEDIAN_SIZE
    wide = wide or scale > 1 + LIMIT * MAD_ERROR / np.sqrt(residual.size)
    return max(scale, 1.0) if wide else 1.0, wide


@njit(nogil=True, cache=True)
def _information(values: FloatArray, column: IntArray, weight: FloatArray, size: int) -> FloatArray:
    """Sum of the weighted outer products of the rows."""
    out = np.zeros((size, size))
    for i in range(values.shape[0]):
        for a in range(values.shape[1]):
            part = weight[i] * values[i, a]
            for b in range(values.shape[1]):
                out[column[i, a], column[i, b]] += part * values[i, b]
    return out


@njit(nogil=True, cache=True)
def _leverage(values: FloatArray, column: IntArray, covariance: FloatArray) -> FloatArray:
    """Variance of the product of each row with the solution."""
    out = np.zeros(values.shape[0])
    for i in range(values.shape[0]):
        for a in range(values.shape[1]):
            for b in range(values.shape[1]):
                share = covariance[column[i, a], column[i, b]]
                out[i] += values[i, a] * share * values[i, b]
    return out
