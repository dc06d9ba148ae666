"""Which surface the transforms take: a plane, or equivalent sources at the sensor's heights."""

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from lodewalk.errors import InputError
from lodewalk.methods.gridding.ground import Region
from lodewalk.methods.spectral.relief import SensorSurface, sensor_surface
from lodewalk.methods.spectral.transforms import GridSpectrum
from lodewalk.methods.spectral.uneven import UnevenSpectrum, over_relief
from lodewalk.records import Grid, Record
from lodewalk.steps.rows import table

PLANE, SOURCES = "plane", "equivalent sources"
#: Departure from a plane (nine tenths of it), in line spacings, from which the plane's own error of
#: a continuation is as large as its standard error (see doc/evidence.rst).
UNEVEN = 0.5
#: Slope of the plane from which it is told that the vertical isn't its normal.
STEEP = 0.1
#: Damping over the grid's relative error variance, and its least; chosen on planted hills.
DAMPING, LEAST_DAMPING = 10.0, 0.01


class Surface(NamedTuple):
    """What the operators are applied to, what was taken and why, and warnings."""

    spectrum: GridSpectrum | UnevenSpectrum
    notes: dict[str, Any]
    warnings: list[str]


def taken_surface(
    grid: Grid,
    prepared: GridSpectrum,
    inputs: Mapping[str, Record],
    *,
    way: str,
    between: float,
    relative_error: float,
    depth_m: float | None,
) -> Surface:
    """Return the grid made ready over the surface that the setting and the heights ask for.

    Parameters
    ----------
    grid : Grid
        The anomaly.
    prepared : GridSpectrum
        It over a plane.
    inputs : mapping
        With ``rover_positions`` and ``rover_heights``.
    way : str
        "auto", "plane" or "equivalent sources".
    between : float
        Line spacing [m].
    relative_error : float
        Standard error of the grid over the sd of the anomaly; NaN where it isn't known.
    depth_m : float or None
        Depth of the layer whose field is as smooth as the anomaly (None: half a line spacing).
    """
    try:
        surface = _surface(grid, prepared, inputs, between)
    except InputError as error:
        unknown = {"taken": PLANE, "why": str(error), "departure_m": None, "slope": None}
        return Surface(prepared, unknown, [])
    taken, why = _taken(surface, way, between)
    slope = float(np.hypot(surface.slope_north, surface.slope_east))
    notes = {
        "taken": taken,
        "why": why,
        "departure_m": round(surface.departure_m, 2),
        "slope": round(slope, 3),
    }
    warnings = _warnings(surface, taken, slope, between)
    if taken == PLANE:
        return Surface(prepared, notes, warnings)
    share = np.nan_to_num(DAMPING * relative_error**2, nan=LEAST_DAMPING)
    uneven = over_relief(
        prepared,
        surface.rise_m,
        depth_m=depth_m or between / 2,
        damping=float(np.clip(share, LEAST_DAMPING, 1.0)),
    )
    return Surface(uneven, notes, warnings)


def _surface(
    grid: Grid, prepared: GridSpectrum, inputs: Mapping[str, Record], between: float
) -> SensorSurface:
    """Return the sensor's surface at the nodes."""
    positions = table(inputs, "rover_positions")
    rows, columns = prepared.known.shape
    return sensor_surface(
        positions.floats("easting_m"),
        positions.floats("northing_m"),
        table(inputs, "rover_heights").floats("height_m"),
        region=Region(grid.west_m, grid.south_m, (rows, columns)),
        spacing_m=grid.spacing_m,
        line_spacing_m=between,
        known=prepared.known,
    )


def _taken(surface: SensorSurface, way: str, between: float) -> tuple[str, str]:
    """Return which surface is taken, and why."""
    if way != "auto":
        return way, "The setting transforms.surface asks for it."
    told = f"The sensor's surface departs from a plane by {surface.departure_m:.1f} m"
    limit = f"half a line spacing ({UNEVEN * between:.1f} m)"
    if surface.departure_m > UNEVEN * between:
        return SOURCES, f"{told}, more than {limit}: a plane would err by the standard error."
    return PLANE, f"{told}, no more than {limit}."


def _warnings(surface: SensorSurface, taken: str, slope: float, between: float) -> list[str]:
    """Return what a reader has to know of the surface."""
    found = []
    if taken == PLANE and surface.departure_m > UNEVEN * between:
        found.append(
            "The transforms take the sensor's surface as a plane, but it departs from one by "
            f"{surface.departure_m:.0f} m (heights of the receiver, nine tenths of the grid): what "
            "changes with the slope of the ground may be its doing, and no error holds that."
        )
    if slope > STEEP:
        found.append(
            f"The plane of the sensor's surface has a slope of {100 * slope:.0f} %: vertical in "
            "the transforms is square to it, and directions are off by as much."
        )
    return found
