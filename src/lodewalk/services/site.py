"""The reference field at a place and date."""

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from lodewalk.errors import InputError
from lodewalk.validation import check_within

if TYPE_CHECKING:
    from lodewalk.methods.geomagnetic import SiteValues


def site(
    latitude_deg: float, longitude_deg: float, *, height_m: float = 0.0, date: str | None = None
) -> "SiteValues":
    """Return the reference field at a place, at 00 UTC of the date.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        Place, WGS84 [deg].
    height_m : float
        Height above the ellipsoid [m].
    date : str, optional
        Date as YYYY-MM-DD; today's when left out.

    Raises
    ------
    InputError
        For a place off the Earth or a date outside the model.
    """
    from lodewalk.methods.geomagnetic import decimal_year, site_values

    check_within(latitude_deg, name="Latitude", low=-90, high=90, unit="degrees")
    check_within(longitude_deg, name="Longitude", low=-180, high=360, unit="degrees")
    check_within(height_m, name="Height", low=-10_000, high=100_000, unit="m")
    try:
        day = datetime.strptime(date, "%Y-%m-%d") if date else datetime.now(UTC)
    except ValueError as error:
        raise InputError("A date is written YYYY-MM-DD.", value=date) from error
    start = datetime(day.year, day.month, day.day, tzinfo=UTC)
    year = float(decimal_year(start.timestamp()))
    return site_values(latitude_deg, longitude_deg, height_m, decimal_year=year)
