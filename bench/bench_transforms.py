"""Time five transforms of one grid of 2048² beside five chains of scipy's `rfft2`, two workers.

Upward continuation, vertical and north derivative, total-field anomaly to the pole and
pseudo-gravity. Each chain is what one writes by hand: `rfft2`, operator from arrays of
wavenumbers, `irfft2`, all float64. Both begin with the same grid on a torus; a second row has the
whole, with the plane and the ring round the grid, beside chains without any padding, which is
harder than the limit set (five transforms at least 1.4 times faster). Run
``python bench/bench_transforms.py``.
"""

import os

os.environ.setdefault("NUMBA_NUM_THREADS", "2")

import numpy as np
from scipy.fft import fftfreq, irfft2, rfft2, rfftfreq

from common import Row, medians, show
from lodewalk.methods.spectral.operators import (
    Direction,
    north_derivative,
    pseudo_gravity,
    to_pole,
    upward,
    vertical_derivative,
)
from lodewalk.methods.spectral.transforms import prepare

SIDE = 2048
SPACING_M = 5.0
FIELD = Direction(-35.0, -20.0)
OPERATORS = (
    upward(50.0),
    vertical_derivative(),
    north_derivative(),
    to_pole(FIELD),
    pseudo_gravity(FIELD),
)


def chain(values: np.ndarray, number: int) -> np.ndarray:
    """Return one transform as written by hand."""
    spectrum = rfft2(values, workers=2)
    north = 2 * np.pi * fftfreq(values.shape[0], SPACING_M)[:, None]
    east = 2 * np.pi * rfftfreq(values.shape[1], SPACING_M)[None, :]
    if number == 2:
        spectrum *= 1j * north
        return irfft2(spectrum, s=values.shape, workers=2)
    k = np.hypot(north, east)
    if number == 0:
        spectrum *= np.exp(-50.0 * k)
    elif number == 1:
        spectrum *= k
    else:
        towards = FIELD.vector()
        k[0, 0] = 1.0
        factor = towards[2] + 1j * (towards[0] * north + towards[1] * east) / k
        spectrum /= factor * factor
        if number == 4:
            spectrum /= k
        spectrum[0, 0] = 0.0
    return irfft2(spectrum, s=values.shape, workers=2)


def main() -> None:
    rng = np.random.default_rng(1)
    grid = np.cumsum(np.cumsum(rng.normal(size=(SIDE, SIDE)), axis=0), axis=1)
    grid /= grid.std()
    ready = prepare(grid, SPACING_M)
    same = irfft2(ready.spectrum, s=ready.torus)
    # The forward transform counts; the ring round the grid has its own row.
    times = medians(
        {
            "here": lambda: (rfft2(same, workers=2), ready.apply(*OPERATORS)),
            "chains": lambda: [chain(same, number) for number in range(5)],
            "whole": lambda: prepare(grid, SPACING_M).apply(*OPERATORS),
            "bare": lambda: [chain(grid, number) for number in range(5)],
        }
    )
    side = ready.torus[0]
    show(
        [
            Row(
                f"five transforms of {side}² nodes, a grid of {SIDE}² on its torus",
                times["here"], "five rfft2 chains on the same", times["chains"],
                f"{times['chains'] / times['here']:.2f} times faster; 1.4 is the limit set",
            ),
            Row(
                f"five transforms of {SIDE}², plane, ring and masking included",
                times["whole"], f"five rfft2 chains on {SIDE}², no ring", times["bare"],
                f"{times['bare'] / times['whole']:.2f} times faster",
            ),
        ]
    )  # fmt: skip


if __name__ == "__main__":
    main()
