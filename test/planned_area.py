"""Areas and exclusions of plans under test, made without lodewalk's own geometry."""

import numpy as np
import polars as pl
import shapely

from lodewalk.records.recorded import Shapes, Terrain

CRS = "EPSG:31982"
WEST, SOUTH = 560_000.0, 7_245_000.0
#: Chords of a quarter circle.
QUARTER = 8


def kept_clear(shapes, buffers_m):
    """Return all nearer to a shape than its buffer; its chords lie outside the circle."""
    every = np.array(list(shapes), dtype=object)
    widened = np.broadcast_to(buffers_m, every.shape) / np.cos(np.pi / (4 * QUARTER))
    return shapely.union_all(shapely.buffer(every, widened, quad_segs=QUARTER))


def shapes_table(items, crs=CRS):
    """Return the records of shapes given as (geometry, kind, buffer), polygons without holes."""
    rows = []
    for number, (geometry, kind, buffer) in enumerate(items):
        word = {"Polygon": "polygon", "LineString": "line", "Point": "point"}[geometry.geom_type]
        corners = shapely.get_coordinates(geometry)
        rows += [
            {"line_in_file": number + 1, "shape": number, "part": 0, "ring": 0, "geometry": word,
             "name": None, "kind": kind, "buffer_m": buffer, "first": first, "second": second,
             "crs": crs}
            for first, second in corners.tolist()
        ]  # fmt: skip
    schema = {column.name: column.dtype for column in Shapes.SCHEMA}
    return Shapes(pl.DataFrame(rows, schema=schema))


def box(west, south, east, north):
    """Return a rectangle by its edges from the corner of the survey [m]."""
    return shapely.box(WEST + west, SOUTH + south, WEST + east, SOUTH + north)


def terrain_table(height, *, side=1500.0, step=25.0, crs=CRS):
    """Return terrain around the survey; `height` takes easting and northing from its corner."""
    axis = np.arange(-500.0, side + step / 2, step)
    east, north = np.meshgrid(axis, axis[::-1])
    frame = {
        "line_in_file": np.arange(east.size) // axis.size + 1,
        "first": WEST + east.ravel(),
        "second": SOUTH + north.ravel(),
        "height_m": np.broadcast_to(height(east, north), east.shape).ravel().astype(float),
    }
    return Terrain(pl.DataFrame(frame).with_columns(crs=pl.lit(crs)))
