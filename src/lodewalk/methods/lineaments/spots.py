"""Spots: compact sources, round in the total gradient."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter, maximum_filter

from lodewalk.validation import FloatArray, check_positive

#: Width of the filter [line spacings].
WIDTH: Final = 0.7
#: Spots that noise alone gives above a ratio, in a square of a line spacing: the logarithm at no
#: ratio, and its fall with the ratio (trials of `bench/evidence_lineaments.py`).
RATE, FALL = 1.3, 1.75
#: Least share of the weaker in the stronger curvature: below it the source is long, not round.
ROUND: Final = 0.35
#: The median of the absolute value of a normal number is this share of its standard deviation.
_MAD: Final = 0.6744897501960817


@dataclass(frozen=True)
class Spot:
    """A compact source.

    Parameters
    ----------
    easting_m, northing_m : float
        Its middle [m].
    strength : float
        Total gradient there [nT/m].
    ratio : float
        How far it stands out, over the usual roughness of the map.
    evidence : float
        Probability that it is more than noise.
    """

    easting_m: float
    northing_m: float
    strength: float
    ratio: float
    evidence: float


def find_spots(
    total_gradient: FloatArray,
    *,
    west_m: float,
    south_m: float,
    spacing_m: float,
    line_spacing_m: float,
    away_from: FloatArray | None = None,
    least_evidence: float = 0.95,
) -> list[Spot]:
    """Return compact sources of a map, the surest first.

    Parameters
    ----------
    total_gradient : array, shape (n_north, n_east)
        Total gradient [nT/m]; NaN where it is masked.
    west_m, south_m, spacing_m : float
        Place of the first node and distance between nodes [m].
    line_spacing_m : float
        Distance between survey lines [m].
    away_from : array, shape (n, 2), optional
        Easting and northing of places of lineaments [m]; within two line spacings of one a peak is
        the lineament's own.
    least_evidence : float
        Least probability of being more than noise.

    Returns
    -------
    list of Spot

    Notes
    -----
    Peaks of minus the Laplacian of a Gaussian whose width is that between the lines, so that what
    shows on one line only counts for little [1]_. The scale of the noise is the median size of
    the filter's response over the map. A peak of which one curvature is far weaker than the other
    belongs to something long.

    References
    ----------
    .. [1] Lindeberg, T. (1998), Feature detection with automatic scale selection, International
       Journal of Computer Vision, 30(2), 79-116 (from memory), doi:10.1023/A:1008045108935.

    Examples
    --------
    >>> north, east = np.mgrid[:60, :60] * 5.0
    >>> rough = np.random.default_rng(1).normal(0, 0.1, north.shape)
    >>> hill = 2 / (1 + ((north - 150) ** 2 + (east - 120) ** 2) / 20**2) ** 2
    >>> found = find_spots(hill + rough, west_m=0.0, south_m=0.0, spacing_m=5.0,
    ...                    line_spacing_m=20.0)
    >>> len(found), round(found[0].easting_m, -1), round(found[0].northing_m, -1)
    (1, 120.0, 150.0)
    """
    check_positive(spacing_m, name="spacing_m")
    check_positive(line_spacing_m, name="line_spacing_m")
    known = np.isfinite(total_gradient)
    unit = line_spacing_m / spacing_m
    if known.sum() < 9 or min(known.shape) < 3:
        return []
    response, weaker = _curvatures(total_gradient, known, WIDTH * unit)
    noise = float(np.median(np.abs(response[known]))) / _MAD
    if not noise > 0:
        return []
    size = 2 * int(np.ceil(unit)) + 1
    peak = known & (response == maximum_filter(response, size)) & (response > 0)
    peak &= weaker >= ROUND * (response - weaker)
    peak &= distance_transform_edt(np.pad(known, 1))[1:-1, 1:-1] > unit
    area = float(known.sum()) / unit**2
    found = []
    for row, column in np.argwhere(peak):
        ratio = float(response[row, column]) / noise
        evidence = float(np.exp(-area * np.exp(RATE - FALL * ratio)))
        place = west_m + spacing_m * column, south_m + spacing_m * row
        if evidence >= least_evidence and _apart(place, away_from, 2 * line_spacing_m):
            strength = float(total_gradient[row, column])
            found.append(Spot(float(place[0]), float(place[1]), strength, ratio, evidence))
    return sorted(found, key=lambda spot: -spot.ratio)


def _curvatures(
    values: FloatArray, known: NDArray[np.bool_], width: float
) -> tuple[FloatArray, FloatArray]:
    """Return minus the Laplacian of the smoothed map, and the weaker of its two curvatures."""
    index = distance_transform_edt(~known, return_distances=False, return_indices=True)
    smooth = values[tuple(index)]
    north, east, cross = (
        -gaussian_filter(smooth, width, order=order) for order in ((2, 0), (0, 2), (1, 1))
    )
    mean, half = (north + east) / 2, np.hypot((north - east) / 2, cross)
    return north + east, mean - half


def _apart(place: tuple[float, float], others: FloatArray | None, reach_m: float) -> bool:
    """Tell whether a place lies away from all others."""
    if others is None or not len(others):
        return True
    return bool(np.hypot(others[:, 0] - place[0], others[:, 1] - place[1]).min() > reach_m)
