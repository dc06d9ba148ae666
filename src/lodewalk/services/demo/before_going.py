"""What the crew had before going: the area, what to keep clear of, the terrain, rocks in hand."""

from pathlib import Path
from typing import Any

import numpy as np

from lodewalk.adapters.projection import to_geographic
from lodewalk.formats.geojson.write import Feature
from lodewalk.formats.geojson.write import write as write_geojson
from lodewalk.formats.geotiff.write import write as write_geotiff
from lodewalk.records.grid import Grid
from lodewalk.services.demo.field import Place, World
from lodewalk.services.demo.noise import stream
from lodewalk.services.demo.scenario import Scenario
from lodewalk.validation import FloatArray

AREA, KEPT_CLEAR = "area.geojson", "kept_clear.geojson"
TERRAIN, HAND_METER = "terrain.tif", "hand_meter.csv"
#: Beyond the lines [m], so that the outermost ones lie inside.
MARGIN_M = 11.0
#: The village's dirt road passes behind the base.
ROAD_ALONG_M = -210.0
TERRAIN_SPACING_M, TERRAIN_MARGIN_M = 10.0, 300.0
READINGS_A_PLACE = 10
#: Part, rock, places, typical susceptibility, and its scatter from place to place (log sd).
OUTCROPS = (
    ("target", "diabase", 7, 0.026, 0.35),
    ("host", "gneiss", 5, 0.0009, 0.5),
    ("soil", "laterite", 4, 0.0016, 0.4),
)


def write_before_going(directory: Path, *, world: World) -> dict[str, Path]:
    """Write the files of the demo that serve feasibility and plan.

    Returns
    -------
    dict
        The files by their role.
    """
    place = world.place
    paths = {
        "area": directory / AREA,
        "exclusion": directory / KEPT_CLEAR,
        "terrain": directory / TERRAIN,
        "hand_meter": directory / HAND_METER,
    }
    write_geojson(paths["area"], [_area(place)])
    write_geojson(paths["exclusion"], [_fence(place), _road(place)])
    write_geotiff(paths["terrain"], terrain(place))
    _write_hand_meter(paths["hand_meter"], seed=world.seed)
    return paths


def beliefs(scenario: Scenario) -> dict[str, dict[str, Any]]:
    """Return what the crew thinks of the dykes, in the survey's settings."""
    return {
        "survey": {
            "name": f"{scenario.name}, before going",
            "crs": scenario.crs,
            "purpose": scenario.purpose,
        },
        "body": {
            "kind": "dyke",
            "rock": "diabase",
            "depth_m": 10.0,
            "depth_factor": 1.6,
            "width_m": 6.0,
            "length_m": 700.0,
            "depth_extent_m": 250.0,
            "strike_deg": 131.0,
            "strike_sd_deg": 6.0,
        },
        "host": {"rock": "gneiss", "noise_nT": 3.0, "noise_depth_m": 40.0},
        "plan": {"first_day": scenario.days[0].date, "sensor_height_m": scenario.sensor_height_m},
        "effort": {"rovers": len(scenario.rovers)},
    }


def _shape(place: Place, spots: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return spots along and across the lines as longitude and latitude."""
    along, across = np.array(spots).T
    longitude, latitude = to_geographic(*place.to_grid(along, across), crs=place.scenario.crs)
    return list(zip(longitude.tolist(), latitude.tolist(), strict=True))


def _area(place: Place) -> Feature:
    """Return the area that the village asked for."""
    rule = place.scenario
    far = (rule.line_count - 1) * rule.line_spacing_m + MARGIN_M
    corners = [
        (0.0, -MARGIN_M),
        (rule.line_length_m, -MARGIN_M),
        (rule.line_length_m, far),
        (0.0, far),
    ]
    return Feature("Polygon", _shape(place, corners), {"name": "Arvelim"})


def _fence(place: Place) -> Feature:
    """Return the wire fence as it is drawn on the map."""
    rule = place.scenario.fence
    ends = [(rule.along_m + rule.skew * at, at) for at in rule.across_m]
    return Feature("LineString", _shape(place, ends), {"name": "pasture", "kind": "fence"})


def _road(place: Place) -> Feature:
    """Return the dirt road."""
    ends = [(ROAD_ALONG_M, -200.0), (ROAD_ALONG_M + 15.0, 400.0), (ROAD_ALONG_M, 1100.0)]
    return Feature("LineString", _shape(place, ends), {"name": "dirt road", "kind": "road"})


def terrain(place: Place) -> Grid:
    """Return the ground as a terrain model, heights above the ellipsoid."""
    rule = place.scenario
    far = (rule.line_count - 1) * rule.line_spacing_m
    corners = np.array([(a, b) for a in (0.0, rule.line_length_m) for b in (0.0, far)])
    east, north = place.to_grid(*corners.T)
    step, margin = TERRAIN_SPACING_M, TERRAIN_MARGIN_M
    west = np.floor((east.min() - margin) / step) * step
    south = np.floor((north.min() - margin) / step) * step
    eastings = np.arange(west, east.max() + margin, step)
    northings = np.arange(south, north.max() + margin, step)
    mesh: list[FloatArray] = list(np.meshgrid(eastings, northings))
    height = place.ground(*place.from_grid(*mesh))
    return Grid(height, float(west), float(south), step, rule.crs, "m", "height")


def _write_hand_meter(path: Path, *, seed: int) -> None:
    """Write readings of susceptibility on outcrops, a row a place."""
    rng = stream(seed, "hand meter")
    rows = ["part,rock,place,k_1e-3_SI,n"]
    for part, rock, places, typical, spread in OUTCROPS:
        values = typical * np.exp(rng.normal(0.0, spread, places))
        rows += [
            f"{part},{rock},{part} {number + 1},{1000 * value:.2f},{READINGS_A_PLACE}"
            for number, value in enumerate(values)
        ]
    path.write_text("\n".join(rows) + "\n", encoding="utf-8", newline="\n")
