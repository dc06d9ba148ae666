"""How often clocks are off by how much, before anything was measured."""

from typing import Final

import numpy as np
from scipy.special import ndtr

from lodewalk.units import SECONDS_PER_DAY
from lodewalk.validation import FloatArray

#: Shares of clocks that are right, that are off by a round slip, and by anything (judgement).
RIGHT: Final = 0.9
ROUND: Final = 0.097
ANYTHING: Final = 0.003

#: Scatter of a right clock, and of a round slip, about its value [s]: a clock set by hand, a
#: clock that keeps GPS time, and a field that runs a little later in other ground.
SCATTER_S: Final = 20.0

#: Least range over which any slip is equally likely [s].
LEAST_RANGE_S: Final = 187_200.0

HALF_HOURS = 1800.0 * np.arange(1, 29)
DAYS = SECONDS_PER_DAY * np.array([*range(1, 11), 7168])  # 7168 days: 1024 weeks of GPS
ROUND_SLIPS_S: Final = np.concatenate([-HALF_HOURS, HALF_HOURS, -DAYS, DAYS])


def right_mass(low_s: FloatArray, high_s: FloatArray) -> FloatArray:
    """Return the prior probability that the clock is right and reads between two offsets."""
    mass: FloatArray = RIGHT * (ndtr(high_s / SCATTER_S) - ndtr(low_s / SCATTER_S))
    return mass


def slip_mass(low_s: FloatArray, high_s: FloatArray, *, range_s: float) -> FloatArray:
    """Return the prior probability of a slip between two offsets.

    An infinite range leaves the round slips only.
    """
    width = high_s - low_s
    mass: FloatArray = ANYTHING * width / max(range_s, LEAST_RANGE_S)
    slips = ROUND_SLIPS_S[:, None]
    inside = ndtr((high_s - slips) / SCATTER_S) - ndtr((low_s - slips) / SCATTER_S)
    mass += ROUND * inside.mean(axis=0)
    return mass
