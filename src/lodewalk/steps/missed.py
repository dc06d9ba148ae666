"""Missed: which buried targets the survey as walked would not have shown."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.gridding.ground import surveyed_ground
from lodewalk.methods.gridding.interface import region_for
from lodewalk.methods.planning.missed_target import smallest_sphere, target_detection
from lodewalk.methods.planning.target_noise import noise_with_background
from lodewalk.records import Document, Grid, GridSet, Record
from lodewalk.steps.context import Context
from lodewalk.steps.findings import FindingList
from lodewalk.steps.gridded import spacing_or_usual
from lodewalk.steps.rows import passage_of_readings, table
from lodewalk.steps.site_field import ambient_on_grid

Floats = NDArray[np.float64]
NAME = "smallest_target_radius"
#: Nodes between two lines, and the most of them in all: the map is smooth between lines.
NODES_BETWEEN, MOST_NODES = 6, 15_000
#: Gaps of up to twice this many line spacings belong to the ground that was to be surveyed.
LINES_MISSING = 2.5
#: Least noise of a sensor, where none was measured (common practice) [nT].
LEAST_NOISE_NT = 0.05
#: Quantile of the mapped ground that is told as "between lines".
MOST_OF_IT = 0.95
UNKNOWN: dict[str, Any] = {
    "found_share": None,
    "smallest_radius_m": None,
    "median_radius_m": None,
    "radius_95_m": None,
    "readings": 0,
}


@dataclass(frozen=True)
class Walked:
    """The kept readings with their places, heights and noise."""

    easting_m: Floats
    northing_m: Floats
    height_m: Floats
    noise_nT: Floats


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the map of the smallest target found, its figures, and what to tell of it."""
    del context
    wanted = settings["targets"]
    found = FindingList("missed")
    walked, between = _walked(inputs, wanted)
    values = wanted | UNKNOWN
    grids: tuple[Grid, ...] = ()
    if walked.easting_m.size:
        ambient = ambient_on_grid(inputs, settings["survey.crs"])
        grid = _map(walked, wanted, ambient, between, settings["survey.crs"])
        if not np.isnan(grid.values).all():
            grids = (grid,)
            values |= _figures(grid, wanted, walked.easting_m.size)
            found.add("targets", _words(values))
    return {
        "missed": Document(values),
        "target_grids": GridSet(grids),
        "missed_findings": found.table(),
    }


def _walked(inputs: Mapping[str, Record], wanted: Mapping[str, Any]) -> tuple[Walked, float]:
    """Return the readings that show something, with the noise they show it in, and the spacing."""
    positions = table(inputs, "rover_positions")
    places = positions.floats("easting_m"), positions.floats("northing_m")
    height = positions.floats("height_above_ground_m")
    kept = table(inputs, "rover_checks").booleans("kept")
    kept &= np.isfinite(table(inputs, "rover_diurnal").floats("diurnal_nT"))
    kept &= np.isfinite(places[0]) & np.isfinite(height)
    sensor = table(inputs, "rover_noise").floats("sd_sensor_nT")
    kept &= np.isfinite(sensor)
    passage = passage_of_readings(inputs)
    kept &= (passage >= 0) | ~(kept & (passage >= 0)).any()
    passage = passage[kept]
    east, north = (axis[kept] for axis in places)
    noise = noise_with_background(
        east,
        north,
        sensor_sd_nT=np.maximum(sensor[kept], LEAST_NOISE_NT),
        background_nT=wanted["background_nT"],
        width_m=wanted["depth_m"] + float(np.median(height[kept])) if kept.any() else 1.0,
    )
    return Walked(east, north, height[kept], noise), spacing_or_usual(east, north, passage)


def _map(
    walked: Walked,
    wanted: Mapping[str, Any],
    ambient: Floats,
    between: float,
    crs: str,
) -> Grid:
    """Return the radius of the smallest sphere that is found at each node of the ground."""
    places = walked.easting_m, walked.northing_m
    reach = LINES_MISSING * between
    area = np.prod([float(np.ptp(axis)) + 2 * reach for axis in places])
    spacing = max(between / NODES_BETWEEN, float(np.sqrt(area / MOST_NODES)))
    region = region_for(*places, spacing_m=spacing, reach_m=reach)
    inside = surveyed_ground(
        *places, region=region, spacing_m=spacing, reach_m=reach, margin_m=between / 2
    )
    row, column = np.nonzero(inside)
    detection = target_detection(
        region.west_m + spacing * column,
        region.south_m + spacing * row,
        easting_m=places[0],
        northing_m=places[1],
        sensor_height_m=walked.height_m,
        noise_nT=walked.noise_nT,
        depth_m=wanted["depth_m"],
        ambient_nT=ambient,
        detection=wanted["detection"],
    )
    values = np.full(region.shape, np.nan)
    values[inside] = smallest_sphere(
        detection.smallest_moment_A_m2,
        depth_m=wanted["depth_m"],
        susceptibility=wanted["susceptibility"],
        ambient_nT=ambient,
    )
    return Grid(values, region.west_m, region.south_m, spacing, crs, "m", NAME)


def _figures(grid: Grid, wanted: Mapping[str, Any], readings: int) -> dict[str, Any]:
    """Return the few figures of the map; a radius is null where nothing buried is found."""
    radius = np.sort(grid.values[~np.isnan(grid.values)])

    def at(share: float) -> float | None:
        value = radius[min(int(share * radius.size), radius.size - 1)]
        return round(float(value), 2) if np.isfinite(value) else None

    return {
        "found_share": round(float(np.mean(radius <= wanted["radius_m"])), 4),
        "smallest_radius_m": at(0.0),
        "median_radius_m": at(0.5),
        "radius_95_m": at(MOST_OF_IT),
        "readings": readings,
    }


def _words(values: Mapping[str, Any]) -> str:
    """Return what could still hide, in words."""
    most = values["radius_95_m"]
    surely = (
        f"on {MOST_OF_IT:.0%} of it only one of {most:g} m or more is"
        if most is not None
        else f"over more than {1 - MOST_OF_IT:.0%} of it no buried one, however large, is"
    )
    return (
        f"A sphere of radius {values['radius_m']:g} m and {values['susceptibility']:g} SI, its "
        f"centre {values['depth_m']:g} m below ground, would be found with a probability of "
        f"{values['detection']:.0%} on {values['found_share']:.0%} of the mapped ground; "
        f"{surely}. The map is in products/targets.nc and in the report."
    )
