"""How far a global model of the main field may be off at a place, as stated for one of them."""

import math
from dataclasses import dataclass
from typing import Final

from lodewalk.validation import check_within

#: Below this horizontal intensity a compass is to be used with caution, and below the second it is
#: of no use [nT] (practice of the World Magnetic Model, from memory).
CAUTION_NT, USELESS_NT = 6000.0, 2000.0

#: Steeper than this a compass is called unreliable, whatever the intensity (common practice).
STEEP_DEG: Final = 88.0


@dataclass(frozen=True)
class StatedUncertainty:
    """One standard deviation of a model's field at the ground, rocks included.

    Parameters
    ----------
    north_nT, east_nT, down_nT, horizontal_nT, total_field_nT : float
        Of the components and intensities [nT].
    inclination_deg, declination_deg : float
        Of the angles [deg]; of declination at most 180.
    source : str
        Whose figures they are.
    """

    north_nT: float
    east_nT: float
    down_nT: float
    horizontal_nT: float
    total_field_nT: float
    inclination_deg: float
    declination_deg: float
    source: str


def stated_uncertainty(horizontal_nT: float) -> StatedUncertainty:
    """Return the uncertainty stated for the World Magnetic Model 2025.

    Parameters
    ----------
    horizontal_nT : float
        Horizontal intensity at the place [nT].

    Returns
    -------
    StatedUncertainty
        IGRF-14 has no figures of its own; these are of a model of the same kind and years.

    Raises
    ------
    InputError
        For a negative intensity.

    Notes
    -----
    137, 89, 141, 133 and 138 nT for X, Y, Z, H and F, 0.20 degrees for I, and
    ``sqrt(0.26**2 + (5417 / H)**2)`` degrees for D [1]_. Most of it is the field of rocks, which no
    model of the core holds. It is no part of a survey's error: an anomaly is told from the field
    around it.

    References
    ----------
    .. [1] World Magnetic Model 2025, technical report (read second hand).

    Examples
    --------
    >>> round(stated_uncertainty(20000.0).declination_deg, 2)
    0.38
    """
    check_within(horizontal_nT, name="Horizontal intensity", low=0, high=math.inf, unit="nT")
    turn = math.hypot(0.26, 5417.0 / horizontal_nT) if horizontal_nT > 0 else math.inf
    return StatedUncertainty(
        north_nT=137.0,
        east_nT=89.0,
        down_nT=141.0,
        horizontal_nT=133.0,
        total_field_nT=138.0,
        inclination_deg=0.20,
        declination_deg=min(turn, 180.0),
        source="stated for WMM2025, another model of the same kind; rocks included",
    )


def compass_use(*, horizontal_nT: float, inclination_deg: float) -> str:
    """Return how far a compass can be trusted: "good", "with caution" or "none".

    Parameters
    ----------
    horizontal_nT : float
        Horizontal intensity [nT].
    inclination_deg : float
        Inclination [deg].

    Returns
    -------
    str
        "with caution" below 6000 nT or above 88 degrees, "none" below 2000 nT.

    Examples
    --------
    >>> compass_use(horizontal_nT=4000.0, inclination_deg=86.0)
    'with caution'
    """
    if horizontal_nT < USELESS_NT:
        return "none"
    if horizontal_nT < CAUTION_NT or abs(inclination_deg) > STEEP_DEG:
        return "with caution"
    return "good"
