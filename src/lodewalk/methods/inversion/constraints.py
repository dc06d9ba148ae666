"""What is known of a body from elsewhere: boreholes, outcrops, a hand meter."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lodewalk.errors import InputError
from lodewalk.methods.inversion.results import Estimate
from lodewalk.validation import FloatArray

#: What can be constrained, in the order that the posterior holds it.
CONSTRAINED = ("position_m", "depth_m", "half_width_m", "index_angle_deg", "strength_nT_m")


@dataclass(frozen=True)
class Constraint:
    """A parameter of a body that is known to lie between two values, more or less.

    Parameters
    ----------
    name : str
        ``position_m`` along the profile, ``depth_m`` of the top below the sensor's reference
        height, ``half_width_m``, ``index_angle_deg`` or ``strength_nT_m``.
    low, high : float
        Between these every value is alike; the same number twice for a measured value, infinite
        where one side is open.
    sd : float
        Standard deviation with which a value may lie outside, above zero.

    Raises
    ------
    InputError
        For another name, ends out of order, or an sd not above zero.

    Examples
    --------
    >>> Constraint("depth_m", 20.0, np.inf, 0.5).low  # a borehole not reached it to 20 m
    20.0
    """

    name: str
    low: float
    high: float
    sd: float

    def __post_init__(self) -> None:
        if self.name not in CONSTRAINED:
            raise InputError(f"Constrained is one of {', '.join(CONSTRAINED)}.", value=self.name)
        if not self.low <= self.high:
            raise InputError(
                "The lower end of a constraint must not be above the upper one.", value=self.low
            )
        if not 0.0 < self.sd < np.inf:
            raise InputError("The sd of a constraint must be above zero.", value=self.sd)


#: Standard deviation of a depth [m], and of a width in parts of itself, where a fact tells none
#: (common practice).
DEPTH_SD_M, WIDTH_SD = 0.5, 0.1


def fact_constraint(
    what: str, value: float, *, sd: float | None, sensor_height_m: float
) -> Constraint:
    """Return what a borehole or an outcrop says of the body, as a constraint.

    Parameters
    ----------
    what : {"depth", "not_reached", "width"}
        Depth of the top, depth to which a borehole did not reach it, horizontal width. A dip
        constrains the index angle, under a magnetisation (`dips.index_of_dip`).
    value : float
        Depth below ground, or width [m].
    sd : float or None
        Its standard deviation [m]; a usual one where none is told.
    sensor_height_m : float
        Height of the profile's reference above the ground at the body [m].

    Returns
    -------
    Constraint
        On ``depth_m`` below the reference height, or on ``half_width_m``.

    Raises
    ------
    InputError
        For another fact.

    Examples
    --------
    >>> fact_constraint("not_reached", 20.0, sd=None, sensor_height_m=2.0)
    Constraint(name='depth_m', low=22.0, high=inf, sd=0.5)
    """
    if what == "width":
        half = value / 2.0
        return Constraint("half_width_m", half, half, (sd or WIDTH_SD * value) / 2.0)
    if what not in ("depth", "not_reached"):
        raise InputError("Constraints come from depth, not_reached or width.", value=what)
    depth = value + sensor_height_m
    high = depth if what == "depth" else np.inf
    return Constraint("depth_m", depth, high, sd or DEPTH_SD_M)


def off_by(constraint: Constraint, told: Estimate) -> float:
    """Return how far an estimate lies from what is known, in standard deviations of both.

    Parameters
    ----------
    constraint : Constraint
        What is known from elsewhere.
    told : Estimate
        The same parameter, by the data alone. One that isn't resolved counts by its interval: it
        is at rest anywhere inside.

    Returns
    -------
    float
        0 where the two agree.

    Examples
    --------
    >>> round(off_by(Constraint("depth_m", 10.0, 10.0, 0.3), Estimate(12.0, 0.4, 11.3, 12.7)), 3)
    4.0
    >>> off_by(Constraint("depth_m", 20.0, np.inf, 0.5), Estimate(30.0, 2.0, 26.7, 33.3))
    0.0
    """
    low, high = (told.value, told.value) if told.resolved else (told.low, told.high)
    gap = max(constraint.low - high, low - constraint.high, 0.0)
    spread = told.sd if told.resolved and np.isfinite(told.sd) else 0.0
    return float(gap / np.hypot(constraint.sd, spread)) if np.isfinite(gap) else 0.0


def limits_of(constraints: Sequence[Constraint]) -> FloatArray:
    """Return low, high and spread of each constrained parameter, shape (5, 3).

    Two of the same parameter are joined: measured values by weight, ends by the narrower.
    The strength stands as its logarithm.
    """
    limits = np.array([[-np.inf, np.inf, np.inf]] * len(CONSTRAINED))
    for item in constraints:
        low, high, sd = item.low, item.high, item.sd
        if item.name == "strength_nT_m":
            sd = sd / max(abs(low if np.isfinite(low) else high), 1e-300)
            low = np.log(low) if low > 0.0 else -np.inf
            high = np.log(high) if high > 0.0 else np.inf
        row = limits[CONSTRAINED.index(item.name)]
        row[:] = _joined(row, np.array([low, high, sd]))
    return limits


def _joined(first: FloatArray, second: FloatArray) -> FloatArray:
    """Return two constraints on one parameter as one."""
    if not np.isfinite(first[2]):
        return second
    weight = first[2] ** -2 + second[2] ** -2
    measured = first[0] == first[1] and second[0] == second[1]
    if measured:
        value = (first[0] * first[2] ** -2 + second[0] * second[2] ** -2) / weight
        return np.array([value, value, weight**-0.5])
    for this, other in ((first, second), (second, first)):
        if this[0] == this[1]:
            return this if other[0] <= this[0] <= other[1] else _nearer(this, other)
    low, high = max(first[0], second[0]), min(first[1], second[1])
    spread = max(first[2], second[2])
    return np.array([min(low, high), max(low, high), spread])


def _nearer(value: FloatArray, range_: FloatArray) -> FloatArray:
    """Return a measured value that contradicts a range: the mean of both ends by weight."""
    end = range_[0] if value[0] < range_[0] else range_[1]
    return _joined(value, np.array([end, end, range_[2]]))
