"""Small checks of arguments, each with one clear message."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lodewalk.errors import InputError

FloatArray = NDArray[np.float64]


def check_same_length(**arrays: ArrayLike) -> None:
    """Raise when the named one-dimensional arrays differ in length.

    Raises
    ------
    InputError
        With the length of each array.

    Examples
    --------
    >>> check_same_length(time=[1, 2], field=[3, 4])
    """
    lengths = {name: len(np.atleast_1d(np.asarray(array))) for name, array in arrays.items()}
    if len(set(lengths.values())) > 1:
        found = ", ".join(f"{name} {length}" for name, length in lengths.items())
        raise InputError("Arrays must have the same length.", value=found)


def check_increasing(values: ArrayLike, *, name: str, strictly: bool = True) -> None:
    """Raise when `values` are not in increasing order.

    Examples
    --------
    >>> check_increasing([1.0, 2.0], name="time")
    """
    steps = np.diff(np.asarray(values, dtype=float))
    bad = np.flatnonzero(~(steps > 0) if strictly else ~(steps >= 0))
    if bad.size:
        raise InputError(
            f"{name} must {'increase' if strictly else 'not decrease'} from value to value.",
            value=f"{name}[{bad[0] + 1}] after {name}[{bad[0]}]",
        )


def check_positive(value: float, *, name: str) -> None:
    """Raise when `value` is not a finite number above zero.

    Examples
    --------
    >>> check_positive(0.5, name="spacing")
    """
    if not (np.isfinite(value) and value > 0):
        raise InputError(f"{name} must be above zero.", value=value)


def check_within(values: ArrayLike, *, name: str, low: float, high: float, unit: str = "") -> None:
    """Raise when a finite value lies outside `low` to `high`; NaN passes as missing.

    Examples
    --------
    >>> check_within([10.0, float("nan")], name="latitude", low=-90, high=90, unit="degrees")
    """
    array = np.atleast_1d(np.asarray(values, dtype=float))
    bad = array[(array < low) | (array > high) | np.isinf(array)]
    if bad.size:
        rule = f"{name} must lie in {low:g} to {high:g}{' ' if unit else ''}{unit}."
        raise InputError(rule, value=float(bad[0]))
