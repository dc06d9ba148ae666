"""Settings of what is decided before going: the body sought, the noise, plan and effort."""

from datetime import date
from typing import Annotated, Literal

from pydantic import Field, Strict

from lodewalk.survey.settings_base import Section, setting


class Body(Section):
    """The body that is sought, for feasibility and plan; depths are below ground."""

    kind: Literal["dyke", "sheet", "contact", "pipe", "sphere", "prism", "folded bed"] = setting(
        "dyke", "Kind of body: it tells which of the sizes below count."
    )
    rock: str = setting(
        "", "Its rock or mineral, as in the table of rocks; left empty, susceptibility counts."
    )
    susceptibility: Annotated[float, Field(gt=-1, le=20)] | None = setting(
        None,
        "Its susceptibility; left out, from hand-meter readings, else from its rock.",
        "SI",
    )
    depth_m: float = setting(10.0, "Depth of its top; of a sphere's centre.", "m", gt=0, le=5000)
    depth_factor: float = setting(
        1.3,
        "Its depth lies within this factor either way in nine cases of ten.",
        "",
        ge=1,
        le=10,
    )
    width_m: float = setting(5.0, "Width across the strike, horizontal.", "m", gt=0, le=1e5)
    length_m: float = setting(300.0, "Length along the strike.", "m", gt=0, le=1e6)
    depth_extent_m: float = setting(
        200.0, "From its top to its bottom, upright.", "m", gt=0, le=1e5
    )
    radius_m: float = setting(10.0, "Radius of a sphere or pipe.", "m", gt=0, le=1e4)
    strike_deg: float = setting(
        0.0, "Azimuth of the strike, clockwise from grid north.", "deg", ge=0, le=360
    )
    strike_sd_deg: float = setting(
        10.0, "How sure the strike is, one standard deviation.", "deg", ge=0, le=90
    )
    dip_deg: float = setting(
        90.0, "Dip; under 90 it goes down to the right of the strike.", "deg", gt=0, lt=180
    )
    opening_deg: float = setting(
        60.0, "Folded bed: angle between its two limbs.", "deg", ge=10, lt=180
    )
    koenigsberger: float = setting(
        0.0, "Remanent over induced magnetisation (Koenigsberger ratio).", "", ge=0, le=100
    )
    remanence_inclination_deg: Annotated[float, Field(ge=-90, le=90)] | None = setting(
        None, "Inclination of its remanence, positive down; left out, along the field.", "deg"
    )
    remanence_declination_deg: Annotated[float, Field(ge=-180, le=360)] | None = setting(
        None, "Declination of its remanence from true north; left out, along the field.", "deg"
    )


class Host(Section):
    """The rock around the body and the ground over it, for feasibility."""

    rock: str = setting("", "Rock around the body, as in the table of rocks.")
    susceptibility: Annotated[float, Field(gt=-1, le=20)] | None = setting(
        None,
        "Its susceptibility; left out, from hand-meter readings, else from its rock, else 0.",
        "SI",
    )
    noise_nT: float = setting(
        2.0,
        "Anomalies of rocks that aren't sought, one standard deviation (common practice: 1 over "
        "quiet sediments, 10 and more over basalt).",
        "nT",
        ge=0,
        le=1e4,
    )
    noise_depth_m: float = setting(
        20.0, "Depth below ground from which these come.", "m", gt=0, le=5000
    )
    regional_nT: float = setting(
        10.0,
        "Anomalies of deep rocks, one standard deviation: they tilt the lines, and the odds leave "
        "such slopes free (common practice).",
        "nT",
        ge=0,
        le=1e4,
    )
    regional_depth_m: float = setting(
        300.0, "Depth below ground from which these come.", "m", gt=0, le=20000
    )
    soil_noise_nT: float = setting(
        0.5,
        "Anomalies of soil, boulders and laterite near the ground, one standard deviation.",
        "nT",
        ge=0,
        le=1e4,
    )
    soil_depth_m: float = setting(
        1.0, "Depth below ground from which these come.", "m", gt=0, le=100
    )


class SurveyNoise(Section):
    """Noise that the survey is planned for, one standard deviation each (common practice)."""

    instrument_nT: float = setting(0.1, "The sensor itself.", "nT", gt=0, le=100)
    walking_nT: float = setting(
        0.3, "Swinging sensor, gear and step of the walker.", "nT", ge=0, le=100
    )
    diurnal_nT: float = setting(
        0.5, "What the diurnal correction leaves, slow along a line.", "nT", ge=0, le=100
    )
    diurnal_s: float = setting(600.0, "Time over which that changes.", "s", gt=0, le=86400)
    level_nT: float = setting(
        1.0, "Offset of a line as a whole, heading and level.", "nT", ge=0, le=1000
    )


class PlanSettings(Section):
    """Lines, tie lines and base of the survey that is planned."""

    first_day: Annotated[date, Strict(False)] | None = setting(
        None,
        "First day in the field, YYYY-MM-DD; left out, sheets bear no date and the field is that "
        "of the middle of 2027.",
    )
    latitude_deg: Annotated[float, Field(ge=-90, le=90)] | None = setting(
        None, "Where, if no area is given yet.", "deg"
    )
    longitude_deg: Annotated[float, Field(ge=-180, le=360)] | None = setting(
        None, "Where, if no area is given yet.", "deg"
    )
    purpose: Literal["detect", "map"] = setting(
        "map",
        "To detect the body with fewest kilometres, or to map it too: then lines lie at most about "
        "twice its depth below the sensor apart (5 % of the power aliased), tie lines at most "
        "about ten line spacings.",
    )
    line_spacing_m: Annotated[float, Field(gt=0, le=1e4)] | None = setting(
        None, "Distance between lines; left out, chosen for the body.", "m"
    )
    line_azimuth_deg: Annotated[float, Field(ge=0, le=360)] | None = setting(
        None, "Azimuth of the lines from grid north; left out, chosen for the body.", "deg"
    )
    tie_spacing_m: Annotated[float, Field(gt=0, le=1e5)] | None = setting(
        None, "Distance between tie lines; left out, chosen.", "m"
    )
    optimise: bool = setting(
        True,
        "Seek lines that find the body as surely as the rule of thumb with fewer kilometres, "
        "where azimuth and spacing are left out.",
    )
    reading_interval_m: float = setting(
        1.0, "Distance between readings along a line.", "m", gt=0, le=100
    )
    sensor_height_m: float = setting(
        2.0,
        "Height of the sensor that the plan counts with; what each rover carried is a setting of "
        "that instrument.",
        "m",
        gt=0,
        le=20,
    )
    shortest_line_m: float = setting(
        20.0, "Pieces of lines shorter than this aren't walked.", "m", ge=0, le=1e4
    )
    detection: float = setting(0.9, "Probability of detection that is wanted.", "", ge=0.5, lt=1)
    false_alarm: float = setting(
        0.05, "Probability of any false target in the whole survey.", "", gt=0, le=0.5
    )
    power_line_m: float = setting(
        50.0, "Kept clear on both sides of a power line.", "m", ge=0, le=1000
    )
    fence_m: float = setting(10.0, "Kept clear on both sides of a fence.", "m", ge=0, le=1000)
    road_m: float = setting(
        20.0, "Kept clear on both sides of a road or vehicle track.", "m", ge=0, le=1000
    )
    water_m: float = setting(5.0, "Kept clear of water.", "m", ge=0, le=1000)
    building_m: float = setting(30.0, "Kept clear of a building.", "m", ge=0, le=1000)
    other_m: float = setting(0.0, "Kept clear of any other exclusion.", "m", ge=0, le=1000)
    base_from_track_m: float = setting(
        100.0,
        "Least distance of the base from a vehicle track (common practice).",
        "m",
        ge=0,
        le=5000,
    )
    repeat_length_m: float = setting(
        200.0, "Length of the line that is repeated each day.", "m", ge=0, le=1e4
    )
    call: Annotated[tuple[str, ...], Strict(False)] = setting(
        (), "Whom to call: one entry a person or service, name and number."
    )


class EffortSettings(Section):
    """What the effort is reckoned from; all common practice."""

    pace_m_s: float = setting(1.1, "Pace on open, level ground.", "m/s", gt=0, le=5)
    terrain: Literal["open", "grass", "bush", "forest"] = setting(
        "grass", "What is walked through; it slows the pace."
    )
    cutting_m_h: Annotated[float, Field(gt=0, le=1e4)] | None = setting(
        None, "Line that a cutting crew opens in an hour; left out, no cutting.", "m/h"
    )
    rovers: int = setting(1, "Rovers that walk at the same time.", "", ge=1, le=20)
    hours_a_day: float = setting(
        7.0, "Hours in the field a day, set-up and tests with them.", "h", gt=0.5, le=16
    )
    set_up_h: float = setting(
        1.5, "Of these, for set-up, synchronising, tests and packing.", "h", ge=0, le=12
    )
    reading_interval_s: float = setting(1.0, "Time between rover readings.", "s", gt=0, le=600)
    base_interval_s: float = setting(5.0, "Time between base readings.", "s", gt=0, le=600)
    battery_h: float = setting(10.0, "Hours that one battery lasts.", "h", gt=0, le=1000)
    memory_readings: int = setting(
        500_000, "Readings that an instrument's memory holds.", "", ge=100, le=10**10
    )


class Handheld(Section):
    """Limits of the handheld GPS."""

    name_length: int = setting(
        10, "Letters that a waypoint's name may have.", "letters", ge=4, le=50
    )
    most_waypoints: int = setting(
        500, "Waypoints that the device takes at a time.", "", ge=2, le=100_000
    )
    most_route_points: int = setting(50, "Points that a route may have.", "", ge=2, le=10_000)
    waypoint_each_m: float = setting(
        100.0, "Distance between waypoints along a line, its ends apart.", "m", gt=0, le=1e5
    )
