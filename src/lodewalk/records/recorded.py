"""Records as the files hold them: readings, tracks, observatory series, planned lines, notes.

Every `recorded_time` is the time as the file writes it; its time zone is kept apart, with the
file's entry in the ledger, until the time step turns both into UTC.
"""

from typing import ClassVar

import polars as pl

from lodewalk.records.table import RECORDED_TIME, Column, Table

LINE_IN_FILE = Column("line_in_file", pl.Int64(), "", "line of the raw file, counted from 1")

POSITION = (
    Column("latitude_deg", pl.Float64(), "deg", "latitude, WGS84 unless said", True, True),
    Column("longitude_deg", pl.Float64(), "deg", "longitude, WGS84 unless said", True, True),
    Column("easting_m", pl.Float64(), "m", "easting as recorded", True, True),
    Column("northing_m", pl.Float64(), "m", "northing as recorded", True, True),
    Column("height_m", pl.Float64(), "m", "height as recorded", True, True),
)

FIX = (
    Column("fix", pl.String(), "", "kind of position fix: none 2d 3d dgps rtk float", True, True),
    Column("satellites", pl.Float64(), "", "number of satellites used", True, True),
    Column("hdop", pl.Float64(), "", "horizontal dilution of precision", True, True),
)


class RecordedReadings(Table):
    """Readings of one total-field file, rover or base, before any change."""

    SCHEMA: ClassVar = (
        LINE_IN_FILE,
        Column("recorded_time", RECORDED_TIME, "", "time as recorded, zone apart"),
        Column("raw_nT", pl.Float64(), "nT", "total field as recorded", nullable=True),
        Column("quality", pl.Float64(), "", "signal quality as recorded", True, True),
        *POSITION,
        *FIX,
        Column("line", pl.String(), "", "name of the survey line", True, True),
        Column(
            "station", pl.Float64(), "m", "station along the line in the local grid", True, True
        ),
    )


class OlderReadings(Table):
    """Points of an older survey or of an airborne grid, before any change."""

    SCHEMA: ClassVar = (
        LINE_IN_FILE,
        Column("recorded_time", RECORDED_TIME, "", "time as recorded", nullable=True),
        Column("value_nT", pl.Float64(), "nT", "total field or anomaly", nullable=True),
        *POSITION,
    )


class Track(Table):
    """Points of a GPS track in order of recording; no time where the file has none."""

    SCHEMA: ClassVar = (
        LINE_IN_FILE,
        Column("recorded_time", RECORDED_TIME, "", "time as recorded", nullable=True),
        Column("segment", pl.Int64(), "", "number of the unbroken segment, from 0"),
        Column("latitude_deg", pl.Float64(), "deg", "latitude, WGS84"),
        Column("longitude_deg", pl.Float64(), "deg", "longitude, WGS84"),
        Column("height_m", pl.Float64(), "m", "height as recorded", nullable=True),
        *FIX,
    )


class Waypoints(Table):
    """Named points of a handheld GPS or notes of a person."""

    SCHEMA: ClassVar = (
        LINE_IN_FILE,
        Column("recorded_time", RECORDED_TIME, "", "time as recorded", nullable=True),
        Column("latitude_deg", pl.Float64(), "deg", "latitude, WGS84", nullable=True),
        Column("longitude_deg", pl.Float64(), "deg", "longitude, WGS84", nullable=True),
        Column("height_m", pl.Float64(), "m", "height as recorded", nullable=True),
        Column("name", pl.String(), "", "name of the point", nullable=True),
        Column("text", pl.String(), "", "what the note says", nullable=True),
    )


class Route(Table):
    """Vertices of planned lines, in order of walking."""

    SCHEMA: ClassVar = (
        LINE_IN_FILE,
        Column("line", pl.String(), "", "name of the planned line"),
        Column("latitude_deg", pl.Float64(), "deg", "latitude, WGS84"),
        Column("longitude_deg", pl.Float64(), "deg", "longitude, WGS84"),
        Column("name", pl.String(), "", "name of the vertex", True, True),
        Column("text", pl.String(), "", "what the line is, in words", True, True),
    )


class Shapes(Table):
    """Corners of areas and exclusions in the order recorded, as polygons, lines and points."""

    SCHEMA: ClassVar = (
        LINE_IN_FILE,
        Column("shape", pl.Int64(), "", "number of the shape in its file, from 0"),
        Column("part", pl.Int64(), "", "number of the polygon, line or point in it, from 0"),
        Column("ring", pl.Int64(), "", "0 the outline of a polygon, others its holes; else 0"),
        Column("geometry", pl.String(), "", "polygon, line or point"),
        Column("name", pl.String(), "", "name of the shape", nullable=True),
        Column("kind", pl.String(), "", "what it is, as the file says it", nullable=True),
        Column("buffer_m", pl.Float64(), "m", "to be kept clear around it", nullable=True),
        Column("first", pl.Float64(), "", "longitude [deg] or easting [m]"),
        Column("second", pl.Float64(), "", "latitude [deg] or northing [m]"),
        Column("crs", pl.String(), "", "reference system of the two, such as EPSG:4326"),
    )


class Terrain(Table):
    """Nodes of a terrain model, row by row from north to south, each from west to east."""

    SCHEMA: ClassVar = (
        LINE_IN_FILE,
        Column("first", pl.Float64(), "", "longitude [deg] or easting [m] of the cell's middle"),
        Column("second", pl.Float64(), "", "latitude [deg] or northing [m] of the cell's middle"),
        Column("height_m", pl.Float64(), "m", "height of the ground", nullable=True),
        Column("crs", pl.String(), "", "reference system of the two, such as EPSG:4326"),
    )


class HandMeter(Table):
    """Readings of susceptibility with a hand meter on outcrop or core."""

    SCHEMA: ClassVar = (
        LINE_IN_FILE,
        Column("part", pl.String(), "", "target, host or soil"),
        Column("rock", pl.String(), "", "rock", nullable=True),
        Column("place", pl.String(), "", "place", nullable=True),
        Column("susceptibility", pl.Float64(), "SI", "susceptibility, mean of the readings there"),
        Column("readings", pl.Int64(), "", "how many readings that is the mean of"),
        Column("sd", pl.Float64(), "SI", "their standard deviation", nullable=True),
    )


class Known(Table):
    """Facts about a body that are known from elsewhere: boreholes, outcrops."""

    SCHEMA: ClassVar = (
        LINE_IN_FILE,
        Column("what", pl.String(), "", "depth, not_reached, width or dip"),
        Column("name", pl.String(), "", "name of the borehole or outcrop", nullable=True),
        Column("latitude_deg", pl.Float64(), "deg", "latitude, WGS84", True, True),
        Column("longitude_deg", pl.Float64(), "deg", "longitude, WGS84", True, True),
        Column("easting_m", pl.Float64(), "m", "easting in the survey's CRS", True, True),
        Column("northing_m", pl.Float64(), "m", "northing in the survey's CRS", True, True),
        Column("value", pl.Float64(), "", "depth below ground or width [m], dip [deg]"),
        Column("sd", pl.Float64(), "", "its standard deviation, in the same unit", nullable=True),
        Column("towards_deg", pl.Float64(), "deg", "azimuth that it dips towards", nullable=True),
    )


class Observatory(Table):
    """Series of an observatory or of a vector or scalar base: those components that it has."""

    SCHEMA: ClassVar = (
        LINE_IN_FILE,
        Column("recorded_time", RECORDED_TIME, "", "time as recorded"),
        Column("north_nT", pl.Float64(), "nT", "geographic north component X", True, True),
        Column("east_nT", pl.Float64(), "nT", "geographic east component Y", True, True),
        Column("down_nT", pl.Float64(), "nT", "downward component Z", True, True),
        Column("horizontal_nT", pl.Float64(), "nT", "horizontal component H", True, True),
        Column("sensor_east_nT", pl.Float64(), "nT", "magnetic east component E", True, True),
        Column("declination_deg", pl.Float64(), "deg", "declination D", True, True),
        Column("total_field_nT", pl.Float64(), "nT", "scalar total field F or S", True, True),
    )
