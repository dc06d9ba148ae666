"""Records of what is decided before going: planned lines and the points to walk to."""

from typing import ClassVar

import polars as pl

from lodewalk.records.table import Column, Table


def _metres(name: str, text: str, *, nullable: bool = False) -> Column:
    """Return a column of metres."""
    return Column(name, pl.Float64(), "m", text, nullable=nullable)


class PlannedLines(Table):
    """Straight pieces of planned lines, in the order in which they are walked."""

    SCHEMA: ClassVar = (
        Column("line", pl.String(), "", "name of the piece, as it is given to the rover"),
        Column("kind", pl.String(), "", "line, tie or repeat"),
        Column("number", pl.Int64(), "", "number of the line across the area, from 1"),
        Column("piece", pl.Int64(), "", "number of the piece along the line, from 1"),
        Column("day", pl.Int64(), "", "field day on which it is walked, from 1"),
        Column("rover", pl.Int64(), "", "rover that walks it, from 1"),
        Column("reversed", pl.Boolean(), "", "walked from its second end to its first"),
        _metres("easting_1_m", "easting of its first end"),
        _metres("northing_1_m", "northing of its first end"),
        _metres("easting_2_m", "easting of its second end"),
        _metres("northing_2_m", "northing of its second end"),
        _metres("length_m", "length on the map"),
        _metres("ground_length_m", "length over the ground, the same where no terrain is given"),
        Column("azimuth_deg", pl.Float64(), "deg", "azimuth from the first end, from grid north"),
    )


class PlannedPoints(Table):
    """Places to walk to or to stand at, in order; those of the whole survey have day 0."""

    SCHEMA: ClassVar = (
        Column("name", pl.String(), "", "name, short enough for the handheld"),
        Column(
            "kind", pl.String(), "", "start, end, on line, base, other base, check station, turns"
        ),
        Column("day", pl.Int64(), "", "field day, from 1; 0 for each day"),
        Column("rover", pl.Int64(), "", "rover, from 1; 0 for each"),
        Column("line", pl.String(), "", "piece of line that it lies on", nullable=True),
        _metres("easting_m", "easting in the survey's CRS"),
        _metres("northing_m", "northing in the survey's CRS"),
        _metres("height_m", "height of the ground, where terrain is given", nullable=True),
        Column("latitude_deg", pl.Float64(), "deg", "latitude, WGS84"),
        Column("longitude_deg", pl.Float64(), "deg", "longitude, WGS84"),
        Column("text", pl.String(), "", "what it is for, in words"),
    )
