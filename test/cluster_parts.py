"""Functions that the tests of executors send to other processes."""

import time
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_info

from lodewalk.errors import InputError

GATE_S = 120


def weighed(weight, values):
    """Return weighted values and a sum that depends on the order of adding."""
    return weight * values, float(np.sum(weight * values))


def gated(gate, first, number):
    """Return an array of the part; parts from `first` on begin, say so, and wait for the gate."""
    if number >= first:
        Path(f"{gate}-{number}").touch()
        wait_for(Path(gate).exists)
    return np.full(3, number) ** 2 / 7


def wait_for(there):
    """Wait until something is there; give up long after it should be."""
    for _ in range(100 * GATE_S):
        if there():
            return
        time.sleep(0.01)
    raise RuntimeError(f"{there} waited in vain")


def refusing(number):
    """Refuse parts from the third on, the later the sooner."""
    if number >= 2:
        time.sleep(0.05 * (6 - number))
        raise InputError("Parts must be below two.", value=number, remedy="Count again.")
    return number


def dividing(number):
    """Fail at a part of 0 as a mistake in a program does."""
    return 1 / number


def blas_threads(_part):
    """Return how many threads each BLAS library of the process may use."""
    return [found["num_threads"] for found in threadpool_info() if found["user_api"] == "blas"]


def dozing(folder, number):
    """Say that a part has begun, and take a while."""
    Path(folder, str(number)).touch()
    time.sleep(2.0)
    return number
