"""How probable it is that a traced line is more than noise."""

from typing import Final

import numpy as np

from lodewalk.methods.lineaments.polyline import Line

#: Ratios above this many times the usual one along a line count no more: one spot proves no line.
_CAP: Final = 2.0
#: Lines that noise alone gives with at least some mass, in a square of a line spacing: the
#: logarithm at no mass, and its fall with the mass (trials of `bench/evidence_lineaments.py`).
RATE, FALL = -2.7, 0.195


def mass_of(line: Line, *, go_on: float) -> float:
    """Return by how much a line's ratios exceed the least one, summed along it.

    Parameters
    ----------
    line : Line
        A line, in line spacings.
    go_on : float
        Ratio at which chains go on.

    Returns
    -------
    float
        Sum over the length in line spacings.

    Notes
    -----
    The mass of a cluster above a threshold, as in [1]_; ratios above twice the median count as
    that, so that one strong spot makes no line.

    References
    ----------
    .. [1] Bullmore, E. T., and others (1999), Global, voxel, and cluster tests, by theory and
       permutation, for a difference between two groups of structural MR images of the brain,
       IEEE Transactions on Medical Imaging, 18(1), 32-42 (from memory), doi:10.1109/42.750253.

    Examples
    --------
    >>> place = np.column_stack([np.arange(5.0), np.zeros(5)])
    >>> mass_of(Line(place, np.full(5, 4.5), np.ones(5), 0.5), go_on=2.5)
    8.0
    """
    ratio = np.minimum(line.ratio, _CAP * np.median(line.ratio))
    above = np.maximum(ratio - go_on, 0.0)
    return float(np.sum((above[1:] + above[:-1]) / 2 * np.diff(line.distance)))


#: Evidence from which no trial tells more: the formula goes on beyond the noise maps behind it.
SUREST = 0.999


def evidence_of(mass: float, area: float) -> float:
    """Return the probability that a line of some mass is more than noise.

    Parameters
    ----------
    mass : float
        From `mass_of`.
    area : float
        Area of the map in squares of a line spacing.

    Returns
    -------
    float
        The chance that noise alone gives no line of this mass anywhere in such a map.

    Notes
    -----
    Lines of noise are rare and far from each other, so their number is that of a Poisson process;
    the rate falls exponentially with the mass, as trials on noise alone show.

    Examples
    --------
    >>> evidence_of(0.0, 1e6) < 1e-6 < evidence_of(1e3, 1e6) <= 1.0
    True
    """
    expected = area * np.exp(RATE - FALL * mass)
    return float(np.exp(-expected))
