"""Bodies from fits: a fit along a profile becomes a place and a depth below ground."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.bodies.dyke import profile_distance
from lodewalk.methods.inversion.results import NINETY, BodyFit, Estimate, Profile
from lodewalk.methods.inversion.strike_error import ACROSS, strike_error
from lodewalk.records.interpreted import Bodies

Floats = NDArray[np.float64]
#: Products that tell the field at the survey.
FIELD_NEEDS = ("rover_positions", "rover_heights", "rover_times", "datum")
#: Error of a sensor's height above ground that was measured, one standard deviation (common
#: practice) [m].
SENSOR_SD_M = 0.1


@dataclass(frozen=True)
class Stand:
    """Where a profile lies: its zero in plan, azimuth [deg], heights [m], error of its strike.

    Without `strike_sd_deg` the strike isn't known; `crossing_deg` is its angle with the line.
    """

    easting_m: float
    northing_m: float
    azimuth_deg: float
    sensor_height_m: float
    ground_m: float | None
    strike_sd_deg: float | None = 0.0
    crossing_deg: float = 90.0
    sensor_sd_m: float = SENSOR_SD_M

    def with_strike(self, length: Estimate) -> Estimate:
        """Return a length across the strike, or a depth below the sensor, with its error added."""
        return strike_error(
            length, crossing_deg=self.crossing_deg, strike_sd_deg=self.strike_sd_deg
        )

    def below_ground(self, depth: Estimate, rise_m: float) -> Estimate:
        """Return a depth below ground from one below the sensor, which is so far above its mean."""
        sensor = self.sensor_height_m - rise_m
        return below_ground(self.with_strike(depth), sensor, sd_m=self.sensor_sd_m)

    def along(self, easting_m: float, northing_m: float) -> float:
        """Return the distance of a point along the strike from its zero [m]."""
        strike = np.radians(self.azimuth_deg - 90.0)
        away = easting_m - self.easting_m, northing_m - self.northing_m
        return float(away[0] * np.sin(strike) + away[1] * np.cos(strike))

    def across(self, easting_m: Floats, northing_m: Floats) -> Floats:
        """Return the distance of points across the strike from its zero [m]."""
        zero = [self.easting_m, self.northing_m]
        return profile_distance(
            easting_m, northing_m, point=zero, strike_deg=self.azimuth_deg - 90.0
        )


def stand_of(row: Mapping[str, Any]) -> Stand:
    """Return where the profile of a pick lies, from the pick's row."""
    return Stand(
        row["easting_m"],
        row["northing_m"],
        row["azimuth_deg"],
        row["sensor_height_m"],
        row["ground_m"],
        row["strike_sd_deg"],
        row["crossing_deg"],
        row["sensor_sd_m"],
    )


def body_row(
    about: Mapping[str, Any],
    fit: BodyFit,
    profile: Profile,
    stand: Stand,
    *,
    depth: Estimate | None = None,
) -> dict[str, Any]:
    """Return a fitted body as a row of the table of bodies.

    Parameters
    ----------
    about : mapping
        Its name, pick, lineament, probability, decidable and number of profiles.
    fit, profile : BodyFit, Profile
        What was fitted to what.
    stand : Stand
        Where the profile lies.
    depth : Estimate, optional
        Depth below the sensor, instead of the fit's own.
    """
    own = fit.estimates
    position = own["position_m"]
    turn = np.radians(stand.azimuth_deg)
    rise = float(np.interp(position.value, profile.distance_m, profile.rise_m))
    below = stand.below_ground(depth or own["depth_m"], rise)
    top = None if stand.ground_m is None else stand.ground_m + rise - below.value
    width = own.get("half_width_m")
    width = None if width is None else stand.with_strike(width)
    known = stand.strike_sd_deg is not None
    said = [*fit.not_resolved, *([] if known else [ACROSS])]
    return {
        **about,
        "decidable": bool(about.get("decidable")) and known,
        "kind": fit.kind,
        "easting_m": stand.easting_m + position.value * float(np.sin(turn)),
        "northing_m": stand.northing_m + position.value * float(np.cos(turn)),
        "position_sd_m": (stand.with_strike(position) if known else position).sd,
        "strike_deg": (stand.azimuth_deg - 90.0) % 360.0,
        "strike_sd_deg": stand.strike_sd_deg,
        **estimate_columns("depth", "m", below),
        "top_height_m": top,
        **estimate_columns("width", "m", width, times=2.0),
        "width_resolved": width is not None and width.resolved,
        **estimate_columns("index_angle", "deg", own["index_angle_deg"]),
        **estimate_columns("strength", "nT_m", own.get("strength_nT_m")),
        "misfit": float(np.sqrt(fit.cost / fit.freedom)) if fit.freedom > 0 else 0.0,
        "not_resolved": " ".join(said),
    }


def below_ground(depth: Estimate, sensor_m: float, *, sd_m: float = SENSOR_SD_M) -> Estimate:
    """Return a depth below ground from one below the sensor, the error of that height added.

    Of a body in the ground the interval begins at the ground.
    """
    value = depth.value - sensor_m
    low, high = (
        value + side * float(np.hypot(end - depth.value, NINETY * sd_m))
        for side, end in ((-1.0, depth.low), (1.0, depth.high))
    )
    low = max(low, 0.0) if value > 0.0 else low
    return Estimate(value, float(np.hypot(depth.sd, sd_m)), low, high, depth.resolved)


def estimate_columns(
    name: str, unit: str, estimate: Estimate | None, *, times: float = 1.0
) -> dict[str, float | None]:
    """Return the four columns of an estimate; what isn't finite is missing."""
    parts = {"": "value", "_sd": "sd", "_low": "low", "_high": "high"}
    values = {
        f"{name}{tail}_{unit}": None if estimate is None else times * getattr(estimate, part)
        for tail, part in parts.items()
    }
    return {key: None if v is None or not np.isfinite(v) else v for key, v in values.items()}


def bodies_table(rows: list[dict[str, Any]]) -> Bodies:
    """Return the bodies as their table."""
    columns = {
        column.name: pl.Series([row.get(column.name) for row in rows], dtype=column.dtype)
        for column in Bodies.SCHEMA
    }
    return Bodies(pl.DataFrame(columns))
