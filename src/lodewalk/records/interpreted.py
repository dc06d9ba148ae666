"""Records of the interpretation: lineaments, picks, depths, bodies and the curves they rest on."""

from typing import ClassVar

import polars as pl

from lodewalk.records.table import Column, Table


def _number(name: str, unit: str, text: str, *, nullable: bool = False) -> Column:
    """Return the column of a number."""
    return Column(name, pl.Float64(), unit, text, nullable=nullable)


def _estimate(name: str, unit: str, text: str) -> tuple[Column, ...]:
    """Return the columns of an estimate: value, standard deviation, ends of the 90 % interval."""
    return (
        _number(f"{name}_{unit}", unit, text, nullable=True),
        _number(f"{name}_sd_{unit}", unit, "its standard deviation", nullable=True),
        _number(f"{name}_low_{unit}", unit, "lower end of its 90 % interval", nullable=True),
        _number(f"{name}_high_{unit}", unit, "upper end of its 90 % interval", nullable=True),
    )


PLACE = (
    _number("easting_m", "m", "easting in the survey's CRS"),
    _number("northing_m", "m", "northing in the survey's CRS"),
)


class Lineaments(Table):
    """Ridges, edges and spots traced from the grid, the surest first."""

    SCHEMA: ClassVar = (
        Column("lineament", pl.String(), "", "name: R, E or S with a number"),
        Column("kind", pl.String(), "", "ridge, edge or spot"),
        Column("group", pl.String(), "", "name of the broken body it is a piece of", nullable=True),
        *PLACE,
        _number("strike_deg", "deg", "azimuth of the strike from grid north", nullable=True),
        _number("strike_sd_deg", "deg", "one standard deviation of the strike", nullable=True),
        _number("length_m", "m", "length along the polyline"),
        _number("evidence", "", "probability that it is more than noise; 0.999 is 0.999 or over"),
        _number("strength", "nT/m", "median of the traced gradient along it"),
        Column("lines", pl.Int64(), "", "survey lines that cross it", nullable=True),
        _number("alike", "", "correlation of the anomaly from line to line", nullable=True),
    )


class LineamentPoints(Table):
    """Corners of the lineaments, in order."""

    SCHEMA: ClassVar = (
        Column("lineament", pl.String(), "", "name of the lineament"),
        Column("number", pl.Int64(), "", "number of the corner, from 1"),
        *PLACE,
        _number("strength", "nT/m", "traced gradient there"),
    )


class Faults(Table):
    """Places where a lineament is broken and its pieces are offset."""

    SCHEMA: ClassVar = (
        Column("first", pl.String(), "", "lineament on one side"),
        Column("second", pl.String(), "", "lineament on the other side"),
        *PLACE,
        _number("offset_m", "m", "offset across the strike, positive to the right"),
        _number("sd_m", "m", "one standard deviation of the offset"),
        _number("gap_m", "m", "distance along the strike between the pieces"),
    )


class Picks(Table):
    """Places where an anomaly is looked at along a profile across the strike."""

    SCHEMA: ClassVar = (
        Column("pick", pl.String(), "", "name: lineament and line, or P with a number"),
        Column("source", pl.String(), "", "trace, or who decided it"),
        Column("lineament", pl.String(), "", "lineament that it lies on", nullable=True),
        Column("line", pl.String(), "", "survey line it was taken on", nullable=True),
        Column("passage", pl.Int64(), "", "row of the table of lines", nullable=True),
        *PLACE,
        _number("azimuth_deg", "deg", "azimuth of the profile, the strike and 90 degrees"),
        Column(
            "strike_sd_deg",
            pl.Float64(),
            "deg",
            "one sd of the strike; null: not known",
            True,
            True,
        ),
        Column("crossing_deg", pl.Float64(), "deg", "angle between line and strike", True, True),
        _number("half_window_m", "m", "half the length of the profile across the strike"),
        _number("sensor_height_m", "m", "height of the sensor above ground", nullable=True),
        Column("sensor_sd_m", pl.Float64(), "m", "one sd of that height", True, True),
        _number("ground_m", "m", "height of the ground, above the ellipsoid", nullable=True),
        Column("readings", pl.Int64(), "", "number of readings of the profile"),
        Column("problem", pl.String(), "", "why there is no depth here", nullable=True),
    )


class ProfileReadings(Table):
    """The readings of each pick's profile, with the curve of the body fitted to them."""

    SCHEMA: ClassVar = (
        Column("pick", pl.String(), "", "name of the pick"),
        Column("reading_id", pl.String(), "", "the reading"),
        _number("distance_m", "m", "distance across the strike from the pick"),
        _number("rise_m", "m", "height of the sensor above the profile's reference height"),
        _number("anomaly_nT", "nT", "total-field anomaly"),
        _number("sd_nT", "nT", "independent error of the reading, one standard deviation"),
        Column(
            "place_nT", pl.Float64(), "nT", "slope of the anomaly times its place's sd", True, True
        ),
        Column("place_sd_m", pl.Float64(), "m", "error of its place on one axis", True, True),
    )


class Curves(Table):
    """The preferred body's curve at each reading of a pick's profile."""

    SCHEMA: ClassVar = (
        Column("pick", pl.String(), "", "name of the pick"),
        Column("body", pl.String(), "", "name of the body"),
        _number("distance_m", "m", "distance across the strike from the pick"),
        _number("model_nT", "nT", "anomaly of the body with level and slope"),
        _number("low_nT", "nT", "lower edge of the band that holds it in nine of ten"),
        _number("high_nT", "nT", "upper edge of that band"),
        Column("regional_nT", pl.Float64(), "nT", "its level and slope alone", optional=True),
    )


class Depths(Table):
    """Depth below ground by each method at each pick, the one calibrated answer first."""

    SCHEMA: ClassVar = (
        Column("pick", pl.String(), "", "name of the pick"),
        Column("method", pl.String(), "", "answer, fit, or the name of a rule"),
        *PLACE,
        *_estimate("depth", "m", "depth of the top below ground"),
        _number(
            "top_height_m",
            "m",
            "height of the top, above the ellipsoid; no interval, since the "
            "receivers' heights are off besides",
            nullable=True,
        ),
        _number("index", "", "structural index", nullable=True),
        _number("index_sd", "", "one standard deviation of the index", nullable=True),
        _number(
            "disagreement",
            "",
            "of the methods that hold: their sd over that of the answer",
            nullable=True,
        ),
        Column("valid", pl.Boolean(), "", "whether the method's own conditions hold"),
        Column("reason", pl.String(), "", "what it assumes, or why it has no answer"),
    )


class Bodies(Table):
    """Bodies fitted to profiles: one row a pick, and one a lineament for the joint fit."""

    SCHEMA: ClassVar = (
        Column("body", pl.String(), "", "name: that of the pick, or of the lineament"),
        Column(
            "pick", pl.String(), "", "pick it was fitted at; null for a joint fit", nullable=True
        ),
        Column("lineament", pl.String(), "", "lineament that it lies on", nullable=True),
        Column("kind", pl.String(), "", "thin sheet, dyke, contact, step, cylinder or sphere"),
        _number("probability", "", "probability of this kind among those tried"),
        Column("decidable", pl.Boolean(), "", "whether the kind stands out"),
        _number("easting_m", "m", "easting in the survey's CRS: its middle, a contact's edge"),
        _number("northing_m", "m", "northing in the survey's CRS: its middle, a contact's edge"),
        _number("position_sd_m", "m", "one standard deviation of the place across the strike"),
        _number("strike_deg", "deg", "azimuth of the strike from grid north", nullable=True),
        _number("strike_sd_deg", "deg", "one standard deviation of the strike", nullable=True),
        *_estimate("depth", "m", "depth of the top below ground"),
        _number(
            "top_height_m",
            "m",
            "height of the top, above the ellipsoid; no interval, since the "
            "receivers' heights are off besides",
            nullable=True,
        ),
        *_estimate("width", "m", "width across the strike, horizontal"),
        Column("width_resolved", pl.Boolean(), "", "whether the data tell the width"),
        *_estimate("index_angle", "deg", "index angle"),
        *_estimate("strength", "nT_m", "amplitude times width"),
        _number("misfit", "", "rms of the whitened residuals"),
        Column("profiles", pl.Int64(), "", "profiles fitted together"),
        Column("not_resolved", pl.String(), "", "what the data don't tell"),
    )


class Dips(Table):
    """The dip of each body under the stated magnetisation, one row a body."""

    SCHEMA: ClassVar = (
        Column("body", pl.String(), "", "name of the body"),
        *_estimate("dip", "deg", "dip under the stated magnetisation, right of the strike"),
        _number("dip_range_low_deg", "deg", "least dip under remanence", nullable=True),
        _number("dip_range_high_deg", "deg", "most dip under remanence", nullable=True),
        Column(
            "positive",
            pl.Boolean(),
            "",
            "whether the body, or the rock right of a contact, is the more magnetic side",
            nullable=True,
        ),
        *_estimate("susceptibility_width", "SI_m", "susceptibility times width, at that dip"),
        Column("magnetisation", pl.String(), "", "magnetisation that the dip stands under"),
        Column("dip_words", pl.String(), "", "what the dip stands under, or why none is told"),
    )


def with_dips(bodies: Bodies, dips: Dips) -> pl.DataFrame:
    """Return the bodies with their dips, as people see them.

    Parameters
    ----------
    bodies : Bodies
        The bodies.
    dips : Dips
        What is told of their dips; a body without a row has none.

    Returns
    -------
    polars.DataFrame
        A row for each body in the same order, with the columns of both.

    Examples
    --------
    >>> with_dips(Bodies.empty(), Dips.empty()).height
    0
    """
    return bodies.frame.join(dips.frame, on="body", how="left", maintain_order="left").with_columns(
        pl.col("magnetisation", "dip_words").fill_null("")
    )


class CompactBodies(Table):
    """Compact bodies fitted to the readings around a spot or a place that a person named."""

    SCHEMA: ClassVar = (
        Column("body", pl.String(), "", "name: that of the spot, or of the pick"),
        Column("source", pl.String(), "", "trace, or decision"),
        *PLACE,
        _number("position_sd_m", "m", "one standard deviation of the place, the worse axis",
                nullable=True),
        *_estimate("centre_depth", "m", "depth of the centre below ground; the top lies higher"),
        _number("centre_height_m", "m", "height of the centre, above the ellipsoid", nullable=True),
        *_estimate("moment", "A_m2", "magnetic moment of the whole body"),
        _number("inclination_deg", "deg", "inclination of the magnetisation", nullable=True),
        _number("declination_deg", "deg", "its declination, from true north", nullable=True),
        _number("cone_deg", "deg", "half angle of the cone that holds it in nine of ten",
                nullable=True),
        _number("off_field_deg", "deg", "angle between it and the present field", nullable=True),
        Column("remanent", pl.Boolean(), "", "whether the field lies outside the cone", True),
        Column("direction", pl.String(), "", "what is told of the direction, or why nothing is"),
        _number("anomaly_share", "", "largest anomaly as a share of the field", nullable=True),
        _number("misfit", "", "rms of the whitened residuals", nullable=True),
        _number("reach_m", "m", "half the side of the window of readings"),
        Column("readings", pl.Int64(), "", "number of readings of the window"),
        Column("problem", pl.String(), "", "why there is no body", nullable=True),
    )  # fmt: skip


class CompactCurves(Table):
    """Readings around each compact body, with what the body makes there."""

    SCHEMA: ClassVar = (
        Column("body", pl.String(), "", "name of the body"),
        Column("reading_id", pl.String(), "", "the reading"),
        *PLACE,
        _number("anomaly_nT", "nT", "total-field anomaly"),
        _number("sd_nT", "nT", "independent error of the reading, one standard deviation"),
        _number("model_nT", "nT", "anomaly of the body with level and slopes"),
        _number("regional_nT", "nT", "its level and slopes alone"),
    )
