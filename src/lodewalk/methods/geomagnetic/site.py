"""What the reference field says about one site: the numbers a crew wants before it sets out."""

import math
from dataclasses import dataclass

from lodewalk.errors import InputError
from lodewalk.methods.geomagnetic.coefficients import IGRF_MODEL
from lodewalk.methods.geomagnetic.precession import precession_frequency_hz, tuning_microtesla
from lodewalk.methods.geomagnetic.reference import (
    field_elements,
    igrf_change,
    igrf_field,
    total_field_change,
)


@dataclass(frozen=True)
class SiteValues:
    """The reference field at one site and epoch.

    Parameters
    ----------
    total_field_nT : float
        Total intensity [nT].
    inclination_deg, declination_deg : float
        Positive down, and positive east of true north [degrees].
    north_nT, east_nT, down_nT : float
        Components in the geodetic frame [nT].
    horizontal_nT : float
        Horizontal intensity [nT].
    change_nT_per_year : float
        Change of the total intensity [nT/yr].
    precession_Hz : float
        Precession frequency of protons [Hz].
    tuning_uT : float
        Value to tune a proton sensor to, in whole microtesla [uT].
    model : str
        Name of the model.
    """

    total_field_nT: float
    inclination_deg: float
    declination_deg: float
    north_nT: float
    east_nT: float
    down_nT: float
    horizontal_nT: float
    change_nT_per_year: float
    precession_Hz: float
    tuning_uT: float
    model: str


def site_values(
    latitude_deg: float, longitude_deg: float, height_m: float, *, decimal_year: float
) -> SiteValues:
    """Return the reference field of one site, with what is needed to tune a sensor there.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        Geodetic position on WGS84 [degrees].
    height_m : float
        Height above the ellipsoid [m].
    decimal_year : float
        Epoch, 1900.0 to 2030.0 [yr].

    Returns
    -------
    SiteValues
        By IGRF-14.

    Raises
    ------
    InputError
        If a value is missing or out of range.

    Notes
    -----
    See `igrf_field`, `total_field_change`, `precession_frequency_hz` and `tuning_microtesla`.

    Examples
    --------
    >>> site = site_values(-33.0, 21.0, 850.0, decimal_year=2025.4)
    >>> site.model, site.tuning_uT
    ('IGRF-14', 26.0)
    """
    for value in (latitude_deg, longitude_deg, height_m):
        if math.isnan(value):
            raise InputError("A site needs a latitude, a longitude and a height.", value=value)
    place = (latitude_deg, longitude_deg, height_m)
    field = igrf_field(*place, decimal_year=decimal_year)
    change = igrf_change(*place, decimal_year=decimal_year)
    elements = field_elements(*field)
    total = float(elements.total_nT)
    return SiteValues(
        total_field_nT=total,
        inclination_deg=float(elements.inclination_deg),
        declination_deg=float(elements.declination_deg),
        north_nT=float(field[0]),
        east_nT=float(field[1]),
        down_nT=float(field[2]),
        horizontal_nT=float(elements.horizontal_nT),
        change_nT_per_year=float(total_field_change(field, change)),
        precession_Hz=float(precession_frequency_hz(total)),
        tuning_uT=float(tuning_microtesla(total)),
        model=IGRF_MODEL,
    )
