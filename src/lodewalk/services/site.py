"""The reference field at a place and date, and what it means for a survey there."""

from dataclasses import asdict, dataclass
from datetime import UTC, datetime

from lodewalk.errors import InputError
from lodewalk.methods.geomagnetic import (
    IGRF_FIRST_YEAR,
    IGRF_LAST_YEAR,
    IGRF_MODEL,
    SiteValues,
    decimal_year,
    direction_change,
    igrf_change,
    site_values,
)
from lodewalk.methods.geomagnetic.quiet_range import QuietRange, quiet_range
from lodewalk.methods.geomagnetic.sensor_orientation import (
    ProtonAxis,
    PumpedTilt,
    proton_axis,
    pumped_tilt,
)
from lodewalk.methods.geomagnetic.stated_uncertainty import (
    StatedUncertainty,
    compass_use,
    stated_uncertainty,
)
from lodewalk.methods.planning.anomaly_shape import AnomalyShape, anomaly_shape
from lodewalk.methods.planning.best_hours import BestHours, best_hours
from lodewalk.methods.planning.line_direction import LineDirection, line_direction
from lodewalk.methods.planning.storm_odds import STAND_BY_NT, standby_share
from lodewalk.services.site_cautions import site_cautions
from lodewalk.validation import check_within


@dataclass(frozen=True)
class Compass:
    """From a compass to a bearing.

    Parameters
    ----------
    declination_deg : float
        Added to a compass bearing it gives the bearing from true north [deg].
    change_deg_per_year : float or None
        Its change [deg/yr]; null at a magnetic pole.
    sd_deg : float
        Its error, rocks included, one standard deviation [deg].
    crs : str or None
        Projected system that the two below refer to.
    convergence_deg : float or None
        From true north to grid north, clockwise positive [deg].
    grid_declination_deg : float or None
        Added to a compass bearing it gives the azimuth from grid north [deg].
    use : str
        "good", "with caution" or "none".
    """

    declination_deg: float
    change_deg_per_year: float | None
    sd_deg: float
    crs: str | None
    convergence_deg: float | None
    grid_declination_deg: float | None
    use: str


@dataclass(frozen=True)
class Sensors:
    """How to carry sensors.

    Parameters
    ----------
    proton : ProtonAxis
        Proton sensor.
    pumped : list of PumpedTilt
        Optically pumped sensor of one cell, on lines along magnetic north, and across it.
    """

    proton: ProtonAxis
    pumped: tuple[PumpedTilt, ...]


@dataclass(frozen=True)
class StandBy:
    """Share of days, and of spans of six hours, on which the field is too disturbed.

    Parameters
    ----------
    range_nT : float
        Range in three hours from which a crew stands by [nT].
    days_low, days_high, mornings_low, mornings_high : float
        Shares in a quiet and in a disturbed year.
    """

    range_nT: float
    days_low: float
    days_high: float
    mornings_low: float
    mornings_high: float


@dataclass(frozen=True)
class SiteResult(SiteValues):
    """The reference field at one site and date, and what it means for a survey there.

    Parameters
    ----------
    date : str
        Date, at 00 UTC of which the field is given.
    change_declination_deg_per_year, change_inclination_deg_per_year : float or None
        Change of the angles [deg/yr]; null where the field is vertical.
    uncertainty : StatedUncertainty
        How far the model may be off.
    compass : Compass
        Declination for the compass.
    anomaly : AnomalyShape
        High and low of a compact body magnetised by induction.
    lines : LineDirection
        Direction of lines for such a body, from grid north where a system is given, else true.
    quiet_day : QuietRange
        Range of the total field on a quiet day.
    stand_by : StandBy
        Odds of a disturbed one.
    best_hours : BestHours
        Calmest hours by day.
    sensors : Sensors
        How to carry sensors.
    cautions : list of str
        What is peculiar to the place.
    """

    date: str
    change_declination_deg_per_year: float | None
    change_inclination_deg_per_year: float | None
    uncertainty: StatedUncertainty
    compass: Compass
    anomaly: AnomalyShape
    lines: LineDirection
    quiet_day: QuietRange
    stand_by: StandBy
    best_hours: BestHours
    sensors: Sensors
    cautions: tuple[str, ...]


def site(
    latitude_deg: float,
    longitude_deg: float,
    *,
    height_m: float = 0.0,
    date: str | None = None,
    crs: str | None = None,
) -> SiteResult:
    """Return the reference field at a place, at 00 UTC of the date, and what follows from it.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        Place, WGS84 [deg].
    height_m : float
        Height above the ellipsoid [m].
    date : str, optional
        Date as YYYY-MM-DD; today's when left out.
    crs : str, optional
        Projected system whose grid north counts, such as ``EPSG:32632``.

    Raises
    ------
    InputError
        For a place off the Earth, a date outside the model or a system that can't serve.
    """
    check_within(latitude_deg, name="Latitude", low=-90, high=90, unit="degrees")
    check_within(longitude_deg, name="Longitude", low=-180, high=360, unit="degrees")
    check_within(height_m, name="Height", low=-10_000, high=100_000, unit="m")
    day, year = _date(date)
    convergence = None if crs is None else _convergence(latitude_deg, longitude_deg, crs)
    values = site_values(latitude_deg, longitude_deg, height_m, decimal_year=year)
    place = (latitude_deg, longitude_deg, height_m)
    turn, dip = _changes(values, place, year)
    quiet = quiet_range(*place[:2], inclination_deg=values.inclination_deg, decimal_year=year)
    uncertainty = stated_uncertainty(values.horizontal_nT)
    on_grid = values.declination_deg - (convergence or 0.0)
    use = compass_use(horizontal_nT=values.horizontal_nT, inclination_deg=values.inclination_deg)
    return SiteResult(
        **asdict(values),
        date=day,
        change_declination_deg_per_year=turn,
        change_inclination_deg_per_year=dip,
        uncertainty=uncertainty,
        compass=Compass(
            declination_deg=values.declination_deg,
            change_deg_per_year=turn,
            sd_deg=uncertainty.declination_deg,
            crs=crs,
            convergence_deg=convergence,
            grid_declination_deg=None if crs is None else on_grid,
            use=use,
        ),
        anomaly=anomaly_shape(
            inclination_deg=values.inclination_deg, declination_deg=values.declination_deg
        ),
        lines=line_direction(inclination_deg=values.inclination_deg, declination_deg=on_grid),
        quiet_day=quiet,
        stand_by=_stand_by(*place[:2], year),
        best_hours=best_hours(
            longitude_deg,
            geomagnetic_latitude_deg=quiet.geomagnetic_latitude_deg,
            electrojet=quiet.electrojet,
        ),
        sensors=_sensors(values.inclination_deg),
        cautions=site_cautions(
            values, quiet, compass=use, outside_crs=_outside(latitude_deg, longitude_deg, crs)
        ),
    )


def _date(date: str | None) -> tuple[str, float]:
    """Return the date and its decimal year, or raise where it is none or the model has none."""
    try:
        day = datetime.strptime(date, "%Y-%m-%d") if date is not None else datetime.now(UTC)
    except ValueError as error:
        raise InputError("A date is written YYYY-MM-DD.", value=date) from error
    start = datetime(day.year, day.month, day.day, tzinfo=UTC)
    year = float(decimal_year(start.timestamp()))
    if not IGRF_FIRST_YEAR <= year <= IGRF_LAST_YEAR:
        raise InputError(
            f"The date must lie in {IGRF_FIRST_YEAR:.0f} to {IGRF_LAST_YEAR:.0f} ({IGRF_MODEL}).",
            value=start.date().isoformat(),
            remedy=f"The last day of the model is {IGRF_LAST_YEAR:.0f}-01-01.",
        )
    return start.date().isoformat(), year


def _convergence(latitude_deg: float, longitude_deg: float, crs: str) -> float:
    """Return the convergence of a projected system at the place."""
    from lodewalk.adapters.projection import (
        check_projected,
        grid_convergence_deg,
        to_projected,
    )

    check_projected(crs, longitude=longitude_deg, latitude=latitude_deg)
    to_projected(longitude_deg, latitude_deg, crs=crs)  # refuses a place that it can't hold
    return float(grid_convergence_deg(longitude_deg, latitude_deg, crs=crs))


def _outside(latitude_deg: float, longitude_deg: float, crs: str | None) -> bool:
    """Say whether the place lies outside the area that the system is meant for."""
    if crs is None:
        return False
    from lodewalk.adapters.projection import area_of_use

    west, south, east, north = area_of_use(crs)
    along = (longitude_deg - west) % 360.0
    width = (east - west) % 360.0 or 360.0
    return not (south <= latitude_deg <= north and along <= width)


def _changes(
    values: SiteValues, place: tuple[float, float, float], year: float
) -> tuple[float | None, float | None]:
    """Return the yearly change of declination and inclination."""
    field = (values.north_nT, values.east_nT, values.down_nT)
    changes = direction_change(field, igrf_change(*place, decimal_year=year))  # type: ignore[arg-type]
    turn, dip = (float(change) for change in changes)
    return (turn if turn == turn else None), (dip if dip == dip else None)


def _stand_by(latitude_deg: float, longitude_deg: float, year: float) -> StandBy:
    """Return the odds of a disturbed field."""
    place = (latitude_deg, longitude_deg)
    return StandBy(
        STAND_BY_NT,
        *standby_share(*place, decimal_year=year),
        *standby_share(*place, decimal_year=year, span="morning"),
    )


def _sensors(inclination_deg: float) -> Sensors:
    """Return how to carry sensors."""
    return Sensors(
        proton_axis(inclination_deg),
        tuple(
            pumped_tilt(inclination_deg, line_from_magnetic_north_deg=line) for line in (0.0, 90.0)
        ),
    )
