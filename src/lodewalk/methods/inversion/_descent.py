"""Damped Gauss-Newton steps to the least sum of squares."""

from dataclasses import dataclass

import numpy as np

from lodewalk.methods.inversion._problem import Point, Problem
from lodewalk.validation import FloatArray

#: Most steps, and the share of the cost below which a step is not worth going.
STEPS, ENOUGH = 60, 1e-10


@dataclass(frozen=True)
class Minimum:
    """Where a search ended, whether it came to rest there, and the coordinates at their ends."""

    point: Point
    rested: bool
    bound: tuple[str, ...]


def descend(problem: Problem, inner: FloatArray, *, steps: int = STEPS) -> Minimum:
    """Return the minimum that steps from some inner coordinates lead to.

    The weights of the curves are solved at every place (variable projection), the steps taken in
    the rest with the slopes across them (Kaufman 1975, from memory).
    """
    low, high = problem.bounds
    point = problem.at(np.clip(inner, low, high))
    damping, rested = 1e-2, not inner.size
    for _ in range(steps if inner.size else 0):
        matrix, pull = point.slopes @ point.slopes.T, point.slopes @ point.rest
        free = ~(((point.inner <= low) & (pull < 0.0)) | ((point.inner >= high) & (pull > 0.0)))
        scale = np.diag(matrix) + 1e-30
        step = np.zeros(inner.size)
        if free.any():
            inside = np.ix_(free, free)
            step[free] = np.linalg.solve(
                matrix[inside] + damping * np.diag(scale[free]), pull[free]
            )
        step = np.clip(step, -_reach(problem), _reach(problem))
        to = np.clip(point.inner + step, low, high)
        promised = float(pull @ (to - point.inner))
        if promised <= ENOUGH * point.cost or np.abs(to - point.inner).max() < 1e-12:
            rested = True
            break
        other = problem.at(to)
        if other.cost < point.cost:
            point, damping = other, max(damping * 0.1, 1e-9)
        else:
            damping = max(damping * 8.0, 1e-4)
            if damping > 1e8:
                rested = True
                break
    at_end = (point.inner <= low + 1e-9) | (point.inner >= high - 1e-9)
    return Minimum(point, rested, tuple(n for n, b in zip(problem.names, at_end, strict=True) if b))


def _reach(problem: Problem) -> FloatArray:
    """Return the longest step of each inner coordinate."""
    reach = {"position_m": 0.25 * problem.length, "dip_deg": 20.0}
    return np.array([reach.get(name, 1.5) for name in problem.names])


def joint_descent(problem: Problem, start: Point) -> tuple[FloatArray, FloatArray, bool]:
    """Return coordinates and weights at the minimum where the weights don't stand linear."""
    count = start.inner.size
    low, high = problem.bounds
    both, damping = np.concatenate([start.inner, start.weights]), 1e-3
    rest, slopes = problem.joint(start.inner, start.weights)
    for _ in range(STEPS):
        matrix, pull = slopes @ slopes.T, slopes @ rest
        step = np.linalg.solve(matrix + damping * np.diag(np.diag(matrix) + 1e-30), pull)
        to = both + step
        to[:count] = np.clip(to[:count], low, high)
        if pull @ (to - both) <= ENOUGH * (rest @ rest):
            return both[:count], both[count:], True
        other, other_slopes = problem.joint(to[:count], to[count:])
        if np.isfinite(other).all() and other @ other < rest @ rest:
            both, rest, slopes, damping = to, other, other_slopes, max(0.1 * damping, 1e-9)
        else:
            damping *= 8.0
            if damping > 1e10:
                return both[:count], both[count:], True
    return both[:count], both[count:], False
