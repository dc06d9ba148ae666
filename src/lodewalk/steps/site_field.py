"""The reference field in the middle of the survey, at the datum's epoch."""

from collections.abc import Mapping
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from lodewalk.adapters.projection import grid_convergence_deg
from lodewalk.methods.bodies import ambient_vector
from lodewalk.methods.geomagnetic import SiteValues, decimal_year, site_values
from lodewalk.records import Record
from lodewalk.steps.rows import document, table

Floats = NDArray[np.float64]


def middle_of_survey(inputs: Mapping[str, Record]) -> tuple[float, float, float]:
    """Return latitude, longitude [degrees] and height [m]: medians of the rover's readings."""
    positions = table(inputs, "rover_positions")
    columns = (
        positions.floats("latitude_deg"),
        positions.floats("longitude_deg"),
        table(inputs, "rover_heights").floats("height_m"),
    )
    latitude, longitude, height = (float(np.nanmedian(values)) for values in columns)
    return latitude, longitude, height


def survey_site(inputs: Mapping[str, Record]) -> SiteValues:
    """Return the reference field there; some reading must have a place."""
    epoch = document(inputs, "datum")["epoch_utc"]
    seconds = table(inputs, "rover_times").seconds("time_utc")
    moment = datetime.fromisoformat(epoch).timestamp() if epoch else float(np.nanmedian(seconds))
    return site_values(*middle_of_survey(inputs), decimal_year=float(decimal_year(moment)))


def ambient_on_grid(inputs: Mapping[str, Record], crs: str) -> Floats:
    """Return the reference field there, towards grid north, east and down [nT]."""
    site = survey_site(inputs)
    turn = grid_turn(inputs, crs)
    return ambient_vector(
        strength_nT=site.total_field_nT,
        inclination_deg=site.inclination_deg,
        declination_deg=site.declination_deg - turn,
    )


def grid_turn(inputs: Mapping[str, Record], crs: str) -> float:
    """Return the convergence there: grid north east of true north [degrees]."""
    latitude, longitude, _ = middle_of_survey(inputs)
    return float(grid_convergence_deg(longitude, latitude, crs=crs))
