"""Logarithm and angle over arrays in loops that a compiler can lay side by side.

Taylor series after exact reductions; in error by a few last digits (tested against the standard
functions). The kernels that need both for every reading spend most of their time here.
"""

import math

import numpy as np
from numba import njit

from lodewalk.validation import FloatArray

_LN2 = math.log(2.0)
_ROOT2 = math.sqrt(2.0)
_MANTISSA = np.int64((1 << 52) - 1)
_ONE = np.int64(1023 << 52)


@njit(nogil=True, cache=True, error_model="numpy")
def logarithms(values: FloatArray, found: FloatArray) -> None:
    """Fill the natural logarithms of positive normal values; `values` is overwritten."""
    bits = values.view(np.int64)
    for i in range(values.size):
        found[i] = float((bits[i] >> 52) - 1023)
        bits[i] = (bits[i] & _MANTISSA) | _ONE
    for i in range(values.size):
        one = values[i]
        big = one > _ROOT2
        one = 0.5 * one if big else one
        power = found[i] + (1.0 if big else 0.0)
        s = (one - 1.0) / (one + 1.0)
        q = s * s
        p = 1 / 15 + q * (1 / 17 + q * (1 / 19 + q * (1 / 21 + q * (1 / 23))))
        p = 1 / 7 + q * (1 / 9 + q * (1 / 11 + q * (1 / 13 + q * p)))
        p = 1.0 + q * (1 / 3 + q * (1 / 5 + q * p))
        found[i] = power * _LN2 + 2.0 * s * p


@njit(nogil=True, cache=True, error_model="numpy")
def angles(up: FloatArray, along: FloatArray, found: FloatArray) -> None:
    """Fill atan2(up, along) [rad], where not both are zero."""
    for i in range(up.size):
        y, x = abs(up[i]), abs(along[i])
        steep = y > x
        a = (x if steep else y) / (y if steep else x)
        # twice the half angle, so that the series is short
        a = a / (1.0 + math.sqrt(1.0 + a * a))
        a = a / (1.0 + math.sqrt(1.0 + a * a))
        q = a * a
        p = 1 / 15 - q * (1 / 17 - q * (1 / 19 - q * (1 / 21 - q * (1 / 23 - q / 25))))
        p = 1 / 7 - q * (1 / 9 - q * (1 / 11 - q * (1 / 13 - q * p)))
        p = 4.0 * a * (1.0 - q * (1 / 3 - q * (1 / 5 - q * p)))
        p = 0.5 * math.pi - p if steep else p
        p = math.pi - p if along[i] < 0.0 else p
        found[i] = -p if up[i] < 0.0 else p
