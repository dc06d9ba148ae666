"""Records that the steps make; tables of readings keep the row order of the recorded readings."""

from typing import ClassVar

import polars as pl

from lodewalk.records.table import UTC_TIME, Column, Table

KEPT = Column("kept", pl.Boolean(), "", "whether the reading is used")
REASON = Column("reason", pl.String(), "", "why it is not used, or a remark", nullable=True)


def _number(name: str, unit: str, text: str) -> Column:
    """Return the column of a number that may be missing."""
    return Column(name, pl.Float64(), unit, text, nullable=True)


class Times(Table):
    """Time of each row in UTC."""

    SCHEMA: ClassVar = (Column("time_utc", UTC_TIME, "", "time", nullable=True),)


class Positions(Table):
    """Position of each rover reading."""

    SCHEMA: ClassVar = (
        _number("easting_m", "m", "easting in the survey's CRS"),
        _number("northing_m", "m", "northing in the survey's CRS"),
        _number("latitude_deg", "deg", "latitude, WGS84"),
        _number("longitude_deg", "deg", "longitude, WGS84"),
        _number("height_above_ground_m", "m", "height of the sensor above ground"),
        _number("sd_m", "m", "error of the position on one axis, one standard deviation"),
        Column("source", pl.String(), "", "recorded, bridged, track, local grid or none"),
    )


class Heights(Table):
    """Smoothed height of each rover reading, for the reference field."""

    SCHEMA: ClassVar = (_number("height_m", "m", "smoothed height above the ellipsoid"),)


class Checks(Table):
    """What the first checks say of each reading."""

    SCHEMA: ClassVar = (
        KEPT,
        REASON,
        _number("fourth_difference_nT", "nT", "normalised fourth difference"),
        Column("departure_nT", pl.Float64(), "nT", "departure from the chord (base)", True, True),
    )


class Findings(Table):
    """What the checks found."""

    SCHEMA: ClassVar = (
        Column("kind", pl.String(), "", "what was found"),
        Column("instrument", pl.String(), "", "instrument concerned", nullable=True),
        Column("start_utc", UTC_TIME, "", "from", nullable=True),
        Column("end_utc", UTC_TIME, "", "to", nullable=True),
        Column("severity", pl.String(), "", "information, doubt or loss"),
        Column("text", pl.String(), "", "one plain sentence with the size"),
        Column("check", pl.String(), "", "the check that found it"),
        Column("file", pl.String(), "", "raw file", nullable=True),
        Column("line_in_file", pl.Int64(), "", "line of the raw file", nullable=True),
        Column("proposal", pl.String(), "", "the decision that it proposes, JSON", optional=True),
    )


class ReadingLines(Table):
    """The survey line of each rover reading."""

    SCHEMA: ClassVar = (
        Column("line", pl.String(), "", "name of the line; null off the lines", nullable=True),
        Column("passage", pl.Int64(), "", "row of the table of lines", nullable=True),
        _number("distance_m", "m", "distance along the line from its start"),
    )


class Lines(Table):
    """The lines as walked, one row for each passage of a line by an instrument on a day."""

    SCHEMA: ClassVar = (
        Column("line", pl.String(), "", "name of the line"),
        Column("instrument", pl.String(), "", "rover"),
        Column("day", pl.String(), "", "UTC date of its start, YYYY-MM-DD"),
        Column("start_utc", UTC_TIME, "", "time of the first reading"),
        Column("end_utc", UTC_TIME, "", "time of the last reading"),
        Column("readings", pl.Int64(), "", "number of readings"),
        Column("kept", pl.Int64(), "", "number of readings kept by the first checks"),
        _number("length_m", "m", "length walked"),
        _number("azimuth_deg", "deg", "direction of walking, clockwise from grid north"),
        _number("noise_nT", "nT", "noise from the fourth difference, one standard deviation"),
        Column("tie", pl.Boolean(), "", "whether it is a tie line"),
    )


class Crossings(Table):
    """Places that were read at two times: crossings of lines, and spots stood on again."""

    SCHEMA: ClassVar = (
        Column("kind", pl.String(), "", "crossing or stand"),
        Column("first_instrument", pl.String(), "", "rover of the first reading"),
        Column("second_instrument", pl.String(), "", "rover of the second reading"),
        Column("first_line", pl.String(), "", "line of the first reading", nullable=True),
        Column("second_line", pl.String(), "", "line of the second reading", nullable=True),
        Column("first_passage", pl.Int64(), "", "passage of the first reading", nullable=True),
        Column("second_passage", pl.Int64(), "", "passage of the second reading", nullable=True),
        Column("first_utc", UTC_TIME, "", "time of the first reading"),
        Column("second_utc", UTC_TIME, "", "time of the second reading"),
        _number("easting_m", "m", "easting in the survey's CRS"),
        _number("northing_m", "m", "northing in the survey's CRS"),
        _number("angle_deg", "deg", "angle between the lines"),
        _number("first_slope_nT_m", "nT/m", "slope of the field along the first line"),
        _number("second_slope_nT_m", "nT/m", "slope of the field along the second line"),
        _number("first_position_sd_m", "m", "position error on the first line, each axis"),
        _number("second_position_sd_m", "m", "position error on the second line, each axis"),
        _number("difference_nT", "nT", "first less second reading, as recorded"),
        _number("sd_nT", "nT", "noise and position in the difference, one standard deviation"),
    )


class Minutes(Table):
    """How far the diurnal correction can be wrong, minute by minute."""

    SCHEMA: ClassVar = (
        Column("instrument", pl.String(), "", "base"),
        Column("start_utc", UTC_TIME, "", "begin of the minute"),
        _number("sd_nT", "nT", "predicted standard deviation of the correction"),
        _number("worst_nT", "nT", "size that the error of the minute stays under, 95 %"),
        _number("chance", "", "chance that the error exceeds the tolerance"),
        Column("verdict", pl.String(), "", "keep, doubt, re-walk or unknown"),
    )


class Culture(Table):
    """Events in the rover's readings that are no rock, or may be none."""

    SCHEMA: ClassVar = (
        Column("cause", pl.String(), "", "probable cause"),
        Column("instrument", pl.String(), "", "rover"),
        Column("line", pl.String(), "", "line", nullable=True),
        Column("start_utc", UTC_TIME, "", "time of its first reading", nullable=True),
        Column("end_utc", UTC_TIME, "", "time of its last reading", nullable=True),
        _number("easting_m", "m", "easting of its peak"),
        _number("northing_m", "m", "northing of its peak"),
        _number("peak_nT", "nT", "size"),
        _number("width_m", "m", "full width at half its size"),
        _number("probability", "", "how probable the cause is"),
        Column("feature", pl.Int64(), "", "number of the fence or line it is part of, or -1"),
        Column("note", pl.String(), "", "word of the field note that speaks for it, or none"),
    )


class Diurnal(Table):
    """Diurnal correction of each rover reading."""

    SCHEMA: ClassVar = (
        _number("diurnal_nT", "nT", "base + site tie - datum at the time of the reading"),
        _number("sd_diurnal_nT", "nT", "standard deviation of the correction"),
        _number("bridge_sd_nT", "nT", "what it would be if the gap of the base were bridged"),
        Column("base", pl.String(), "", "base that it comes from, or bridge", nullable=True),
        REASON,
    )


class Reference(Table):
    """Reference field at each rover reading, at the datum's epoch."""

    SCHEMA: ClassVar = (_number("reference_nT", "nT", "total intensity of the reference field"),)


class Heading(Table):
    """Heading correction of each rover reading."""

    SCHEMA: ClassVar = (
        _number("heading_nT", "nT", "heading error of its rover, taken off"),
        _number("sd_heading_nT", "nT", "one standard deviation of what is left of it"),
    )


class Level(Table):
    """Levelling of each rover reading."""

    SCHEMA: ClassVar = (
        _number("level_nT", "nT", "what its line is off by, taken off"),
        _number("sd_level_nT", "nT", "one standard deviation of that"),
    )


class Noise(Table):
    """Noise of the sensor at each rover reading."""

    SCHEMA: ClassVar = (_number("sd_sensor_nT", "nT", "sensor noise, one standard deviation"),)


class MicroLevel(Table):
    """Micro-levelling of each rover reading."""

    SCHEMA: ClassVar = (
        _number("micro_level_nT", "nT", "stripe along its line, taken off"),
        _number("sd_micro_level_nT", "nT", "one standard deviation of that: it may be geology"),
    )


class RoverLevel(Table):
    """What the rover of each reading is off by."""

    SCHEMA: ClassVar = (
        _number("instrument_nT", "nT", "what its rover reads above the first one, taken off"),
        _number("sd_instrument_nT", "nT", "one standard deviation of that"),
    )


class Budget(Table):
    """Error budget of each rover reading, one standard deviation each."""

    SCHEMA: ClassVar = (
        _number("sd_sensor_nT", "nT", "sensor noise"),
        _number("sd_diurnal_nT", "nT", "diurnal correction, with distance and direction"),
        _number("sd_clock_nT", "nT", "clock error times the rate of the field"),
        _number("sd_position_nT", "nT", "position error times the slope of the anomaly"),
        _number("sd_heading_nT", "nT", "heading and operator"),
        _number("sd_level_nT", "nT", "levelling"),
        _number("position_east_nT", "nT", "error that one sd of position to the east makes"),
        _number("position_north_nT", "nT", "error that one sd of position to the north makes"),
    )


class Readings(Table):
    """Every rover reading in raw with its corrections, anomaly and error, kept or not."""

    SCHEMA: ClassVar = (
        Column("reading_id", pl.String(), "", "digest of the raw file, colon, line in it"),
        Column("file", pl.String(), "", "name of the raw file, made unique"),
        Column("line_in_file", pl.Int64(), "", "line of the raw file, counted from 1"),
        Column("time_utc", UTC_TIME, "", "time of the reading", nullable=True),
        Column("instrument", pl.String(), "", "name of the rover"),
        Column("line", pl.String(), "", "name of the line; null off the lines", nullable=True),
        _number("easting_m", "m", "easting in the survey's CRS"),
        _number("northing_m", "m", "northing in the survey's CRS"),
        _number("height_above_ground_m", "m", "height of the sensor above ground"),
        Column("fix", pl.String(), "", "kind of position fix", nullable=True),
        _number("quality", "", "signal quality as recorded"),
        _number("raw_nT", "nT", "total field as recorded"),
        _number("diurnal_nT", "nT", "diurnal correction"),
        _number("reference_nT", "nT", "reference field"),
        _number("instrument_nT", "nT", "what the rover reads above the first one"),
        _number("heading_nT", "nT", "heading correction"),
        _number("level_nT", "nT", "levelling correction"),
        _number("micro_level_nT", "nT", "micro-levelling correction"),
        _number("anomaly_nT", "nT", "total-field anomaly"),
        _number("sd_nT", "nT", "standard deviation of the anomaly at the recorded position"),
        _number("sd_sensor_nT", "nT", "sensor part"),
        _number("sd_diurnal_nT", "nT", "diurnal part"),
        _number("sd_clock_nT", "nT", "clock part"),
        _number("sd_position_nT", "nT", "position part"),
        _number("sd_heading_nT", "nT", "heading part"),
        _number("sd_level_nT", "nT", "part of levelling and of the rover's offset"),
        KEPT,
        REASON,
    )


class Joined(Table):
    """Readings of this survey and points of older ones on one datum."""

    SCHEMA: ClassVar = (
        _number("easting_m", "m", "easting in the survey's CRS"),
        _number("northing_m", "m", "northing in the survey's CRS"),
        _number("height_above_ground_m", "m", "height of the sensor above ground"),
        _number("anomaly_nT", "nT", "total-field anomaly on this survey's datum, at its height"),
        _number("sd_nT", "nT", "standard deviation of that"),
        Column("source", pl.String(), "", "this survey, or the name of the older one"),
    )


class BaseRecord(Table):
    """The base record joined for figures and report."""

    SCHEMA: ClassVar = (
        Column("time_utc", UTC_TIME, "", "time"),
        Column("instrument", pl.String(), "", "base"),
        _number("raw_nT", "nT", "total field as recorded"),
        KEPT,
        REASON,
        _number("departure_nT", "nT", "departure from the chord"),
    )
