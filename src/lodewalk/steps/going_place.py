"""Where a survey that is planned will be: the middle of its area, and the field there."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.adapters.geometry import area_polygons
from lodewalk.adapters.projection import grid_convergence_deg, to_geographic, to_projected
from lodewalk.errors import InputError, SettingsError
from lodewalk.methods.bodies import ambient_vector
from lodewalk.methods.geomagnetic import (
    IGRF_FIRST_YEAR,
    IGRF_LAST_YEAR,
    IGRF_MODEL,
    SiteValues,
    decimal_year,
    site_values,
)
from lodewalk.records.recorded import Shapes

Floats = NDArray[np.float64]
#: Epoch where no first day is set: the middle of the model's last interval, so that the answer
#: doesn't move from day to day; a field moves by a few parts in a thousand until then.
USUAL_EPOCH = 2027.5


@dataclass(frozen=True)
class GoingPlace:
    """The middle of the area that is planned, and the field there.

    Parameters
    ----------
    latitude_deg, longitude_deg, easting_m, northing_m : float
        The middle [deg, m].
    area_m2 : float or None
        Size of the area [m2]; None where none is given.
    outline_m : array, shape (n, 2), or None
        Easting and northing of the corners of its largest polygon, from the middle [m].
    convergence_deg : float
        Angle from true to grid north, clockwise [deg].
    epoch : float
        Decimal year of the reference field.
    site : SiteValues
        The reference field.
    notes : tuple of str
        What was done to the area, in words.
    """

    latitude_deg: float
    longitude_deg: float
    easting_m: float
    northing_m: float
    area_m2: float | None
    outline_m: Floats | None
    convergence_deg: float
    epoch: float
    site: SiteValues
    notes: tuple[str, ...] = ()

    @property
    def magnetic_north_deg(self) -> float:
        """Azimuth of magnetic north from grid north [deg]."""
        return self.site.declination_deg - self.convergence_deg

    @property
    def ambient_nT(self) -> Floats:  # noqa: N802
        """Ambient field towards grid north, grid east and down [nT]."""
        return ambient_vector(
            strength_nT=self.site.total_field_nT,
            inclination_deg=self.site.inclination_deg,
            declination_deg=self.magnetic_north_deg,
        )


def going_place(shapes: Shapes, plan: Mapping[str, Any], *, crs: str) -> GoingPlace:
    """Return the middle of the area, or the place of the settings where there is none.

    Raises
    ------
    InputError
        When neither is given, or the area can't be one.
    """
    area: float | None = None
    outline: Floats | None = None
    notes: tuple[str, ...] = ()
    if len(shapes):
        region = area_polygons(shapes, crs=crs)
        west, south, east, north = region.bounds()
        place = (west + east) / 2, (south + north) / 2
        area, notes = region.area_m2, region.notes
        outlines = [rings[0][:-1] - place for rings in region.rings()]
        outline = max(outlines, key=ring_area)
        if len(outlines) > 1:
            share = ring_area(outline) / sum(map(ring_area, outlines))
            notes += (f"Odds are those in the largest of the polygons, {share:.0%} of the area.",)
        longitude, latitude = (float(part) for part in to_geographic(*place, crs=crs))
    else:
        latitude, longitude = _set_place(plan)
        east_m, north_m = to_projected(longitude, latitude, crs=crs)
        place = float(east_m), float(north_m)
    epoch = going_epoch(plan["first_day"])
    return GoingPlace(
        latitude,
        longitude,
        *place,
        area,
        outline,
        float(grid_convergence_deg(longitude, latitude, crs=crs)),
        epoch,
        site_values(latitude, longitude, 0.0, decimal_year=epoch),
        notes,
    )


def ring_area(ring: Floats) -> float:
    """Return the area within a ring of corners (shoelace formula) [m2].

    Examples
    --------
    >>> ring_area(np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 3.0]]))
    6.0
    """
    east, north = ring.T
    return float(0.5 * abs(east @ np.roll(north, -1) - north @ np.roll(east, -1)))


def _set_place(plan: Mapping[str, Any]) -> tuple[float, float]:
    """Return latitude and longitude of the settings."""
    latitude, longitude = plan["latitude_deg"], plan["longitude_deg"]
    if latitude is None or longitude is None:
        raise InputError(
            "Neither an area nor a place is given.",
            remedy="Add its polygon as a file of role area, or set plan.latitude_deg and "
            "plan.longitude_deg.",
        )
    return float(latitude), float(longitude)


def going_epoch(first_day: date | str | None) -> float:
    """Return the decimal year of the first day, or the usual one.

    Raises
    ------
    SettingsError
        For a day outside the model of the reference field.
    """
    if first_day is None:
        return USUAL_EPOCH
    day = date.fromisoformat(first_day) if isinstance(first_day, str) else first_day
    if not IGRF_FIRST_YEAR <= day.year < IGRF_LAST_YEAR:
        raise SettingsError(
            f"Setting plan.first_day must lie within {IGRF_MODEL}, {IGRF_FIRST_YEAR:g} to "
            f"{IGRF_LAST_YEAR - 1:g}.",
            file="survey.toml",
            value=day.isoformat(),
            remedy="Is the year right? If so, a newer lodewalk is needed.",
        )
    moment = datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp()
    return float(decimal_year(moment))
