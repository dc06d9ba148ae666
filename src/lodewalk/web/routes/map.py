"""What the map asks for: grids, contours, layers, what is at a place, and a value's story."""

from typing import Annotated

from fastapi import Query
from fastapi.responses import Response

from lodewalk.services.curves.grids import GridsResult, grid_contours, grid_values, grids
from lodewalk.services.curves.here import HereResult, here
from lodewalk.services.curves.layers import LayersResult, layers
from lodewalk.services.why import WhyReading, why_reading
from lodewalk.web.depends import Name, Survey
from lodewalk.web.described import router_of
from lodewalk.web.packing import PACKED, packed

router = router_of("curves")


@router.get("/grids")
def list_grids(folder: Survey) -> GridsResult:
    """List the grids that have been made."""
    return grids(folder)


@router.get("/grids/{name}", response_class=Response, responses=PACKED)
def show_grid(name: Name, folder: Survey) -> Response:
    """Return the values of a grid, row after row from the south-western node."""
    return packed(grid_values(folder, name))


@router.get("/grids/{name}/contours", response_class=Response, responses=PACKED)
def show_contours(
    name: Name,
    folder: Survey,
    interval: Annotated[float, Query(ge=1e-12, le=1e9)],
    least: Annotated[float, Query(ge=0, le=1e6)] = 0.0,
) -> Response:
    """Return contours of a grid at whole multiples of an interval, none shorter than `least`."""
    return packed(grid_contours(folder, name, interval=interval, least=least))


@router.get("/here")
def show_here(
    folder: Survey,
    easting_m: Annotated[float, Query(ge=-1e7, le=1e7)],
    northing_m: Annotated[float, Query(ge=-1e7, le=2e7)],
) -> HereResult:
    """Say what there is at a place: latitude, longitude and the nearest reading."""
    return here(folder, easting_m=easting_m, northing_m=northing_m)


@router.get("/layers")
def show_layers(folder: Survey) -> LayersResult:
    """Return lineaments, picks and bodies as layers of the map."""
    return layers(folder)


@router.get("/readings/{reading:path}")
def show_reading(reading: Name, folder: Survey) -> WhyReading:
    """Say how a reading got its value, back to file and line."""
    return why_reading(folder, reading)
