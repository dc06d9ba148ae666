"""Kernel of the standard error: weights of each node's neighbours, and what they leave open."""

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from lodewalk.validation import FloatArray

IntArray = NDArray[np.int64]

#: Added to each variance, in parts of the field's, so that readings in one place can be solved.
_JITTER = 1e-10


@njit(nogil=True, cache=True, inline="always")
def _correlation(square: float) -> float:
    """Return the field's correlation at a squared distance, in squares of twice the depth."""
    return 1.0 / ((1.0 + square) * math.sqrt(1.0 + square))


@njit(nogil=True, cache=True, inline="always")
def _plate(square: float) -> float:
    """Return the plate's r^2 log(r^2)."""
    return square * math.log(square) if square > 0.0 else 0.0


@njit(nogil=True, cache=True)
def _own_weights(
    apart: FloatArray, away: FloatArray, noise: FloatArray, field: float
) -> FloatArray:
    """Return the weights of least error variance: simple kriging."""
    count = away.size
    matrix, target = noise.copy(), np.empty(count)
    for i in range(count):
        for j in range(i):
            both = field * _correlation(apart[i, j])
            matrix[i, j] += both
            matrix[j, i] += both
        matrix[i, i] += (1.0 + _JITTER) * field
        target[i] = field * _correlation(away[i])
    return np.linalg.solve(matrix, target).astype(np.float64)


@njit(nogil=True, cache=True)
def _plate_weights(
    apart: FloatArray,
    away: FloatArray,
    east: FloatArray,
    north: FloatArray,
    variance: FloatArray,
    stiffness: float,
) -> FloatArray:
    """Return the weights of a bent plate, which a plane costs nothing."""
    count = away.size
    matrix, target = np.zeros((count + 3, count + 3)), np.zeros(count + 3)
    for i in range(count):
        for j in range(i):
            matrix[i, j] = matrix[j, i] = _plate(apart[i, j])
        matrix[i, i] = stiffness * variance[i]
        target[i] = _plate(away[i])
        matrix[i, count] = matrix[count, i] = 1.0
        matrix[i, count + 1] = matrix[count + 1, i] = east[i]
        matrix[i, count + 2] = matrix[count + 2, i] = north[i]
    target[count] = 1.0
    return np.linalg.solve(matrix, target)[:count].astype(np.float64)


@njit(nogil=True, cache=True)
def _shares(
    weight: FloatArray, apart: FloatArray, away: FloatArray, noise: FloatArray, field: float
) -> tuple[float, float]:
    """Return what the weights leave open of the field, and what they let in of errors."""
    unknown, error = 1.0, 0.0
    for i in range(weight.size):
        unknown += weight[i] * (weight[i] - 2.0 * _correlation(away[i]))
        error += weight[i] * weight[i] * noise[i, i]
        for j in range(i):
            both = 2.0 * weight[i] * weight[j]
            unknown += both * _correlation(apart[i, j])
            error += both * noise[i, j]
    return max(unknown * field, 0.0), error


@njit(nogil=True, cache=True)
def krige(
    node_east: FloatArray,
    node_north: FloatArray,
    node_passage: IntArray,
    near: IntArray,
    east: FloatArray,
    north: FloatArray,
    variance: FloatArray,
    passage: IntArray,
    shared: FloatArray,
    node_shared: FloatArray,
    field: float,
    depth: float,
    line: float,
    stiffness: float,
    shares: FloatArray,
) -> None:
    """Set the field's and the noise's share of the error variance of each node.

    `near` holds the neighbours of each node; `field` and `line` are variances. A node with a
    passage has that passage's error too, as a reading has; `shared` and `node_shared` hold the
    other errors that a passage has in common; a block without a passage has them alone. Without a
    stiffness (below zero) the weights are those of least variance, else those of a plate.
    """
    count = near.shape[1]
    noise, apart = np.empty((count, count)), np.empty((count, count))
    for node in range(node_east.size):
        a = near[node]
        e = (east[a] - node_east[node]) / (2.0 * depth)
        n = (north[a] - node_north[node]) / (2.0 * depth)
        own, away = passage[a], e * e + n * n
        for i in range(count):
            for j in range(i + 1):
                square = (e[i] - e[j]) ** 2 + (n[i] - n[j]) ** 2
                common = 0.0
                if own[i] >= 0 and own[i] == own[j]:
                    common = line + np.sum(shared[a[i]] * shared[a[j]])
                apart[i, j] = apart[j, i] = square
                noise[i, j] = noise[j, i] = common
            noise[i, i] += variance[a[i]]
            if own[i] < 0:
                noise[i, i] += np.sum(shared[a[i]] ** 2)
        if stiffness < 0.0:
            weight = _own_weights(apart, away, noise, field)
        else:
            weight = _plate_weights(apart, away, e, n, variance[a], stiffness)
        unknown, error = _shares(weight, apart, away, noise, field)
        if node_passage[node] >= 0:
            error += line + np.sum(node_shared[node] ** 2)
            for i in range(count):
                if own[i] == node_passage[node]:
                    common = line + np.sum(shared[a[i]] * node_shared[node])
                    error -= 2.0 * weight[i] * common
        shares[node, 0], shares[node, 1] = unknown, max(error, 0.0)
