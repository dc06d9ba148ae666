"""What there is at a place of the map: latitude and longitude, and the nearest reading."""

from dataclasses import dataclass

import numpy as np

from lodewalk.adapters.projection import to_geographic
from lodewalk.services.curves.walks import joined_readings, walks
from lodewalk.survey.folder import Folder


@dataclass(frozen=True)
class NearReading:
    """The nearest reading with a place, and how far it is."""

    reading_id: str
    line: str | None
    distance_m: float
    easting_m: float
    northing_m: float
    anomaly_nT: float | None
    sd_nT: float | None
    kept: bool
    reason: str | None


@dataclass(frozen=True)
class HereResult:
    """A place, in the survey's system and on WGS84, and the nearest reading."""

    easting_m: float
    northing_m: float
    crs: str
    latitude_deg: float
    longitude_deg: float
    nearest: NearReading | None


def here(folder: Folder, *, easting_m: float, northing_m: float) -> HereResult:
    """Return what there is at a place.

    Parameters
    ----------
    easting_m, northing_m : float
        In the survey's coordinate reference system [m].

    Raises
    ------
    InputError
        For a place outside the projection.
    FolderError
        Before the first run.
    """
    crs = folder.settings.survey.crs
    longitude, latitude = to_geographic(easting_m, northing_m, crs=crs)
    return HereResult(
        easting_m,
        northing_m,
        crs,
        float(latitude),
        float(longitude),
        _nearest(folder, easting_m, northing_m),
    )


def _nearest(folder: Folder, easting_m: float, northing_m: float) -> NearReading | None:
    """Return the nearest reading, or None where none has a place."""
    found = walks(folder)
    east = found.values["easting_m"].astype(np.float64) + found.about["origin_easting_m"]
    north = found.values["northing_m"].astype(np.float64) + found.about["origin_northing_m"]
    if not east.size:
        return None
    apart = np.hypot(east - easting_m, north - northing_m)
    place = int(np.argmin(apart))
    row = joined_readings(folder).row(int(found.values["row"][place]), named=True)
    return NearReading(
        reading_id=row["reading_id"],
        line=row["line"],
        distance_m=float(apart[place]),
        easting_m=row["easting_m"],
        northing_m=row["northing_m"],
        anomaly_nT=row["anomaly_nT"],
        sd_nT=row["sd_nT"],
        kept=row["kept"],
        reason=row["reason"],
    )
