"""The half width of a dyke by its likelihood, since its square may hardly be told."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import PchipInterpolator

from lodewalk.methods.inversion._descent import descend
from lodewalk.methods.inversion._errors import Errors, linear_errors
from lodewalk.methods.inversion._evidence import laplace
from lodewalk.methods.inversion._problem import Point, Problem
from lodewalk.validation import FloatArray

#: Roots of the likelihood ratio between which the likelihood is followed, and most places in it.
FAR, MOST = 3.0, 9
#: Places of the posterior.
FINE = 400


@dataclass(frozen=True)
class Width:
    """Squared half widths from zero up, roots of the likelihood ratio and logs of the evidence.

    The root is negative below the most likely square. The evidence takes in how tightly each width
    holds the other parameters.
    """

    square: FloatArray
    root: FloatArray
    evidence: FloatArray

    def interval(self, wide: float) -> tuple[float, float]:
        """Return the half widths where the root is as far from zero as `wide` either way."""
        ends = []
        for level in (-wide, wide):
            inside = np.interp(level, self.root, self.square)
            ends.append(float(np.sqrt(max(inside, 0.0))))
        return ends[0], ends[1]

    @property
    def median(self) -> float:
        """Median of the half width under a prior that is even in its square."""
        fine = np.linspace(self.square[0], self.square[-1], FINE)
        curve = PchipInterpolator(self.square, self.evidence)(fine)
        weight = np.exp(curve - np.max(curve))
        total = np.cumsum(0.5 * (weight[1:] + weight[:-1]))
        return float(np.sqrt(np.interp(0.5 * total[-1], total, fine[1:])))


def profiled_width(problem: Problem, least: Point, sd: float) -> Width | None:
    """Return the likelihood of the half width, everything else at its best; None where it fails.

    Parameters
    ----------
    problem : Problem
        The problem of a dyke with its width free.
    least : Point
        Its minimum.
    sd : float
        Linear standard deviation of the squared half width [m^2].
    """
    at = problem.names.index("half_width_m")
    best = float(problem.shape(least.inner)[0][2])
    found: dict[float, Point] = {}
    rest = np.delete(least.inner, at)
    for side in (-1.0, 1.0):
        near, step, root = rest, 0.8 * sd, 0.0
        # a square below zero is no dyke's: from there the way up begins with the thin sheet
        square = best if best > 0.0 else -step
        for _ in range(MOST):
            square = max(square + side * step, 0.0)
            if square in found or (side < 0.0 and best <= 0.0):
                break
            end = descend(problem.held(half_width_m=float(np.sqrt(square))), near)
            found[square], near = end.point, end.point.inner
            now = np.sqrt(max(end.point.cost - least.cost, 0.0))
            if now > FAR or (side < 0.0 and square == 0.0):
                break
            # the next step so long that the root grows by 0.8
            step *= float(np.clip(0.8 / max(now - root, 0.2), 0.5, 4.0))
            root = now
    squares = np.array(sorted(found))
    cost = np.array([found[one].cost for one in squares])
    roots = np.sign(squares - best) * np.sqrt(np.maximum(cost - least.cost, 0.0))
    if best > 0.0:
        place = int(np.searchsorted(squares, best))
        squares, roots = np.insert(squares, place, best), np.insert(roots, place, 0.0)
        found[best] = replace(least, inner=rest)
    steady = squares.size > 3 and bool((np.diff(roots) > 0.0).all())
    if not steady:
        return None
    return Width(squares, roots, np.array([_evidence(problem, one, found[one]) for one in squares]))


def _evidence(problem: Problem, square: float, point: Point) -> float:
    """Return the logarithm of the evidence with the width held."""
    held = problem.held(half_width_m=float(np.sqrt(square)))
    return laplace(held, point.inner, linear_errors(held, point.inner, point.weights))


def log_evidence(
    problem: Problem, inner: FloatArray, errors: Errors, width: Width | None = None
) -> float:
    """Return the natural logarithm of the evidence for a kind, summed over the half width.

    A dyke's likelihood may be flat down to the thin sheet, so that its curvature at the minimum
    tells nothing; priors as in `laplace`.
    """
    if width is None:
        return laplace(problem, inner, errors)
    step = problem.length / (problem.data.size - 1)
    logs = np.linspace(np.log(0.1 * step), np.log(problem.length), FINE)
    curve = np.interp(np.exp(2.0 * logs), width.square, width.evidence, right=-np.inf)
    if not np.isfinite(curve).any():
        return laplace(problem, inner, errors)
    best = float(curve.max())
    # laplace has no share for a width that is held, so the mean over its logarithm is the sum
    return best + float(np.log(np.mean(np.exp(curve - best))))
