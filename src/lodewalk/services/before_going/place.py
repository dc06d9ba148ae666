"""Where a survey is: by its area, its settings or its readings; and the field there."""

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, cast

import polars as pl

from lodewalk.errors import InputError
from lodewalk.services.before_going.inputs import inputs_before
from lodewalk.services.before_going.known import has_hand_meter, survey_day, survey_height_m
from lodewalk.services.site import SiteResult, site
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path

if TYPE_CHECKING:
    from lodewalk.records.recorded import Shapes

#: Fields of the form by the word that an error about them begins with.
FIELDS = {
    "Latitude": "latitude_deg", "Longitude": "longitude_deg", "Height": "height_m",
    "A date": "date", "The date": "date", "Setting plan.first_day": "date",
}  # fmt: skip


@dataclass(frozen=True)
class SurveyPlace:
    """Where the survey is; `source` is area, settings, readings or nothing, `words` say it.

    Latitude and longitude are null where nothing tells; `date` is the first day that is set or
    was walked, `height_m` that of the walk above the ellipsoid. `hand_meter` says whether its
    readings tell how magnetic the rocks are.
    """

    source: str
    words: str
    latitude_deg: float | None
    longitude_deg: float | None
    easting_m: float | None
    northing_m: float | None
    date: str | None
    crs: str
    height_m: float
    hand_meter: bool


@dataclass(frozen=True)
class SensorWords:
    """How to carry each kind of sensor, in words."""

    proton_best: str
    proton_any_facing: str
    pumped_along: str
    pumped_across: str


@dataclass(frozen=True)
class SiteHere(SiteResult):
    """The field at a place, and in words how sensors are carried there."""

    sensor_words: SensorWords


def survey_place(folder: Folder) -> SurveyPlace:
    """Return where the survey is and what tells it: its area, else settings, else readings."""
    settings = folder.settings
    plan, crs = settings.plan, settings.survey.crs
    first = survey_day(folder)
    known = (
        first.isoformat() if first else None, crs, survey_height_m(folder), has_hand_meter(folder)
    )  # fmt: skip
    found = _of_area(folder)
    source, words = "area", "the middle of the area that was added"
    if found is None and plan.latitude_deg is not None and plan.longitude_deg is not None:
        found = _projected(plan.latitude_deg, plan.longitude_deg, crs)
        source, words = "settings", "plan.latitude_deg and plan.longitude_deg of the settings"
    if found is None:
        found = _of_readings(folder)
        source, words = "readings", "the middle of the readings"
    if found is None:
        return SurveyPlace("nothing", "nothing tells yet", None, None, None, None, *known)
    return SurveyPlace(source, words, *found, *known)


def _of_area(folder: Folder) -> tuple[float, float, float, float] | None:
    """Return the middle of the area."""
    shapes = cast("Shapes", inputs_before(folder)["area_recorded"])
    if not len(shapes):
        return None
    from lodewalk.adapters.geometry import area_polygons

    west, south, east, north = area_polygons(shapes, crs=folder.settings.survey.crs).bounds()
    return _geographic((west + east) / 2, (south + north) / 2, folder.settings.survey.crs)


def _of_readings(folder: Folder) -> tuple[float, float, float, float] | None:
    """Return the median place of the readings, as last run."""
    path = product_path(folder, "readings")
    if not path.exists():
        return None
    middle = pl.scan_parquet(path).select(pl.col("easting_m", "northing_m").median()).collect()
    easting, northing = middle.row(0) if middle.height else (None, None)
    if easting is None or northing is None:
        return None
    return _geographic(float(easting), float(northing), folder.settings.survey.crs)


def _geographic(easting_m: float, northing_m: float, crs: str) -> tuple[float, float, float, float]:
    """Return latitude and longitude with the place given."""
    from lodewalk.adapters.projection import to_geographic

    longitude, latitude = to_geographic(easting_m, northing_m, crs=crs)
    return round(float(latitude), 6), round(float(longitude), 6), easting_m, northing_m


def _projected(
    latitude_deg: float, longitude_deg: float, crs: str
) -> tuple[float, float, float, float]:
    """Return easting and northing with the place given."""
    from lodewalk.adapters.projection import to_projected

    easting, northing = to_projected(longitude_deg, latitude_deg, crs=crs)
    return latitude_deg, longitude_deg, float(easting), float(northing)


def site_for(
    folder: Folder,
    latitude_deg: float,
    longitude_deg: float,
    *,
    height_m: float = 0.0,
    date: str | None = None,
) -> SiteHere:
    """Return the field at a place, with bearings on the survey's grid where that serves there.

    Raises
    ------
    InputError
        As for `services.site.site`; its `field` names what it is about.
    """
    try:
        try:
            crs = folder.settings.survey.crs
            found = site(latitude_deg, longitude_deg, height_m=height_m, date=date, crs=crs)
        except InputError as error:
            if _field(error):
                raise
            found = site(latitude_deg, longitude_deg, height_m=height_m, date=date)
    except InputError as error:
        error.field = _field(error)  # type: ignore[attr-defined]
        raise
    proton, pumped = found.sensors.proton, found.sensors.pumped
    words = SensorWords(
        proton.best_words, proton.any_facing_words, *(tilt.words for tilt in pumped[:2])
    )
    held = {field.name: getattr(found, field.name) for field in fields(found)}
    return SiteHere(**held, sensor_words=words)


def _field(error: InputError) -> str | None:
    """Return the field that an error is about."""
    return next((name for word, name in FIELDS.items() if error.rule.startswith(word)), None)
