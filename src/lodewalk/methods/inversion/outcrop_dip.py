"""A dip that is known from outcrop: what it says of the index angle, or of the magnetisation."""

import numpy as np

from lodewalk.methods.inversion.dips import index_of_dip, section_direction
from lodewalk.methods.inversion.results import NINETY, Estimate
from lodewalk.validation import check_positive


def with_dip(
    index: Estimate,
    dip_deg: float,
    *,
    sd_deg: float,
    inclination_deg: float,
    profile_azimuth_deg: float,
    body_inclination_deg: float | None = None,
    body_azimuth_deg: float | None = None,
) -> tuple[Estimate, float]:
    """Return an index angle with a dip from outcrop taken in, under a stated magnetisation.

    Parameters
    ----------
    index : Estimate
        Index angle as fitted [deg].
    dip_deg, sd_deg : float
        Dip from the profile's direction and its standard deviation [deg].
    inclination_deg, profile_azimuth_deg : float
        Inclination of the field, and azimuth of the profile from magnetic north [deg].
    body_inclination_deg, body_azimuth_deg : float, optional
        Those of a given magnetisation; by default it is induced.

    Returns
    -------
    index : Estimate
        Mean of both by weight.
    off : float
        How many standard deviations the two lie apart: from 3 on the dip contradicts the readings
        under that magnetisation.

    Notes
    -----
    A body less magnetic than its host, or magnetised the other way round, turns the index angle
    by half a circle and leaves the dip: the nearer of the two is taken.

    Examples
    --------
    >>> told, off = with_dip(Estimate(-50.0, 3.0, -55.0, -45.0), 80.0, sd_deg=3.0,
    ...     inclination_deg=60.0, profile_azimuth_deg=0.0)
    >>> round(told.value, 6), round(told.sd, 3), round(off, 6)
    (-50.0, 2.121, 0.0)
    """
    check_positive(sd_deg, name="The sd of a dip")
    expected = index_of_dip(
        dip_deg,
        inclination_deg=inclination_deg,
        profile_azimuth_deg=profile_azimuth_deg,
        body_inclination_deg=body_inclination_deg,
        body_azimuth_deg=body_azimuth_deg,
    )
    expected += 180.0 * round((index.value - expected) / 180.0)
    weight = np.array([index.sd**-2, sd_deg**-2])
    value = float(weight @ [index.value, expected] / weight.sum())
    sd = float(weight.sum() ** -0.5)
    off = abs(index.value - expected) / float(np.hypot(index.sd, sd_deg))
    return Estimate(value, sd, value - NINETY * sd, value + NINETY * sd), off


def magnetisation_of_dip(
    index: Estimate,
    dip_deg: float,
    *,
    sd_deg: float,
    inclination_deg: float,
    profile_azimuth_deg: float,
) -> tuple[Estimate, Estimate]:
    """Return the magnetisation's direction in the section that an index angle and a dip leave.

    Parameters
    ----------
    index : Estimate
        Index angle as fitted [deg].
    dip_deg, sd_deg : float
        Dip from the profile's direction and its standard deviation [deg].
    inclination_deg, profile_azimuth_deg : float
        Inclination of the field, and azimuth of the profile from magnetic north [deg].

    Returns
    -------
    direction : Estimate
        Angle of the magnetisation from the profile's direction, positive down [deg].
    turn : Estimate
        The same from the field's direction there, in -180 to 180 [deg]: 0 within its interval
        where induction alone explains it, otherwise there is remanence.

    Notes
    -----
    From ``Q = I' + J' - d - 90`` (see `dips.dip_of`) ``J' = Q - I' + d + 90``. The direction is
    that of a body more magnetic than its host.

    Examples
    --------
    >>> found, turn = magnetisation_of_dip(Estimate(-50.0, 3.0, -55.0, -45.0), 80.0, sd_deg=4.0,
    ...     inclination_deg=60.0, profile_azimuth_deg=0.0)
    >>> round(found.value, 6), round(turn.value, 6), found.sd
    (60.0, 0.0, 5.0)
    """
    check_positive(sd_deg, name="The sd of a dip")
    field = section_direction(inclination_deg, profile_azimuth_deg)[0]
    sd = float(np.hypot(index.sd, sd_deg))
    reach = NINETY * sd
    direction = (index.value - field + dip_deg + 90.0 + 180.0) % 360.0 - 180.0
    turn = (direction - field + 180.0) % 360.0 - 180.0
    return (
        Estimate(direction, sd, direction - reach, direction + reach),
        Estimate(turn, sd, turn - reach, turn + reach),
    )
