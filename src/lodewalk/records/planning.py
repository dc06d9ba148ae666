"""Records of what is decided before going: planned lines and the points to walk to."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
import polars as pl
from numpy.typing import NDArray

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


@dataclass(frozen=True)
class Outline:
    """One outline on the ground, in the survey's CRS.

    Parameters
    ----------
    role : {"area", "exclusion", "kept clear"}
        What it is for; what is kept clear is an exclusion with its buffer.
    name, kind : str
        Its name, and what it is in the file's words, such as ``fence``; empty where not said.
    geometry : {"polygon", "line", "point"}
        Its form.
    rings : tuple of arrays, shape (n, 2)
        Easting and northing [m]. Of a polygon first the outline, then its holes, each closed; of
        a line its corners; of a point one corner.
    buffer_m : float or None
        What is kept clear around it [m].
    """

    role: str
    name: str
    kind: str
    geometry: str
    rings: tuple[NDArray[np.float64], ...]
    buffer_m: float | None = None


@dataclass(frozen=True)
class PlannedSurvey:
    """A whole plan, as it is drawn and handed over.

    Parameters
    ----------
    name, crs, crs_title : str
        Name of the survey, code of its CRS and the words for it.
    lines : PlannedLines
        Pieces of lines in order of walking.
    points : PlannedPoints
        Every point, its name as the handheld takes it.
    outlines : tuple of Outline
        Area, exclusions and what is kept clear.
    dates : tuple of str
        ISO date of each field day; empty where none is set.
    convergence_deg : float
        Angle from true to grid north, clockwise [degrees].
    declination_deg : float or None
        Angle from true to magnetic north on the first day, clockwise [degrees].
    draft : bool
        Whether it is a draft, which every page says.
    """

    name: str
    crs: str
    crs_title: str
    lines: PlannedLines
    points: PlannedPoints
    outlines: tuple[Outline, ...] = ()
    dates: tuple[str, ...] = ()
    convergence_deg: float = 0.0
    declination_deg: float | None = None
    draft: bool = False

    @property
    def parties(self) -> list[tuple[int, int]]:
        """Day and rover of each party, in order."""
        rows = self.lines.frame.select("day", "rover").unique().sort("day", "rover")
        return [(day, rover) for day, rover in rows.iter_rows()]

    @property
    def days(self) -> list[int]:
        """The field days, in order."""
        return sorted({day for day, _ in self.parties})

    def date(self, day: int) -> str:
        """Return the ISO date of a field day, or nothing where none is set."""
        return self.dates[day - 1] if 0 < day <= len(self.dates) else ""

    def lines_of(self, day: int, rover: int) -> pl.DataFrame:
        """Return the pieces that a rover walks on a day, in order."""
        return self.lines.frame.filter(pl.col("day") == day, pl.col("rover") == rover)

    def points_of(self, day: int, rover: int) -> pl.DataFrame:
        """Return the points of a rover on a day, with those of each day and of each rover."""
        return self.points.frame.filter(
            pl.col("day").is_in([0, day]), pl.col("rover").is_in([0, rover])
        )


def walked(row: Mapping[str, Any]) -> tuple[float, float, float, float]:
    """Return easting and northing of the start and of the end of a piece, as it is walked [m]."""
    first = row["easting_1_m"], row["northing_1_m"]
    second = row["easting_2_m"], row["northing_2_m"]
    return (*second, *first) if row["reversed"] else (*first, *second)


def walking_azimuth_deg(row: Mapping[str, Any]) -> float:
    """Return the azimuth in which a piece is walked, from grid north [deg].

    Examples
    --------
    >>> walking_azimuth_deg({"azimuth_deg": 200.0, "reversed": True})
    20.0
    """
    return float(row["azimuth_deg"] + (180.0 if row["reversed"] else 0.0)) % 360.0
