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
def _solve(matrix: FloatArray, target: FloatArray) -> None:
    """Put the solution into `target`, by elimination with the largest pivot of each column.

    For so few unknowns as quick as a library's, which takes seconds to compile.
    """
    count = target.size
    for k in range(count):
        pivot = k
        for i in range(k + 1, count):
            if abs(matrix[i, k]) > abs(matrix[pivot, k]):
                pivot = i
        for j in range(k, count):
            matrix[k, j], matrix[pivot, j] = matrix[pivot, j], matrix[k, j]
        target[k], target[pivot] = target[pivot], target[k]
        for i in range(k + 1, count):
            share = matrix[i, k] / matrix[k, k]
            for j in range(k + 1, count):
                matrix[i, j] -= share * matrix[k, j]
            target[i] -= share * target[k]
    for k in range(count - 1, -1, -1):
        for j in range(k + 1, count):
            target[k] -= matrix[k, j] * target[j]
        target[k] /= matrix[k, k]


@njit(nogil=True, cache=True)
def _own_weights(
    apart: FloatArray, away: FloatArray, noise: FloatArray, field: float
) -> FloatArray:
    """Return the weights of least error variance: simple kriging."""
    count = away.size
    matrix, target = np.empty((count, count)), np.empty(count)
    for i in range(count):
        for j in range(i):
            matrix[i, j] = noise[i, j] + field * _correlation(apart[i, j])
            matrix[j, i] = matrix[i, j]
        matrix[i, i] = noise[i, i] + (1.0 + _JITTER) * field
        target[i] = field * _correlation(away[i])
    _solve(matrix, target)
    return target


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
    _solve(matrix, target)
    return target[:count]


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
def _product(one: FloatArray, row: int, other: FloatArray, place: int) -> float:
    """Return the sum of the products of a row of one table and a row of another."""
    total = 0.0
    for k in range(one.shape[1]):
        total += one[row, k] * other[place, k]
    return total


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
    e, n, away, own_variance = np.empty(count), np.empty(count), np.empty(count), np.empty(count)
    for node in range(node_east.size):
        for i in range(count):
            at = near[node, i]
            e[i] = (east[at] - node_east[node]) / (2.0 * depth)
            n[i] = (north[at] - node_north[node]) / (2.0 * depth)
            away[i], own_variance[i] = e[i] * e[i] + n[i] * n[i], variance[at]
            for j in range(i + 1):
                other = near[node, j]
                square = (e[i] - e[j]) ** 2 + (n[i] - n[j]) ** 2
                common = 0.0
                if passage[at] >= 0 and passage[at] == passage[other]:
                    common = line + _product(shared, at, shared, other)
                apart[i, j] = apart[j, i] = square
                noise[i, j] = noise[j, i] = common
            noise[i, i] += variance[at]
            if passage[at] < 0:
                noise[i, i] += _product(shared, at, shared, at)
        if stiffness < 0.0:
            weight = _own_weights(apart, away, noise, field)
        else:
            weight = _plate_weights(apart, away, e, n, own_variance, stiffness)
        unknown, error = _shares(weight, apart, away, noise, field)
        if node_passage[node] >= 0:
            error += line + _product(node_shared, node, node_shared, node)
            for i in range(count):
                if passage[near[node, i]] == node_passage[node]:
                    common = line + _product(shared, near[node, i], node_shared, node)
                    error -= 2.0 * weight[i] * common
        shares[node, 0], shares[node, 1] = unknown, max(error, 0.0)
