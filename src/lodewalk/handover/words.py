"""Standing words of the report: cautions, and the words of the trade that it uses.

The cautions state general facts; local rules prevail. That a magnetic map finds iron only, not
plastic or copper, is said in the United States EPA's CLU-IN pages on geophysical methods.
"""

from typing import Final

from lodewalk.handover.content import Fact

CAUTIONS: Final = (
    Fact(
        "Not a clearance for explosives",
        "This survey looks for rocks and structures. It does not show that ground is free of "
        "unexploded ordnance. Clearance is work for licensed specialists under national rules.",
    ),
    Fact(
        "Not a clearance for buried services",
        "Of all services a magnetic map shows only those of iron or steel; plastic, copper and "
        "concrete leave no mark. Have services located by the responsible body before anyone digs "
        "or drills.",
    ),
    Fact(
        "Metal above ground",
        "Fences, vehicles, buildings, pipelines and power lines hide or imitate what lies below. "
        "An anomaly beside such an object says little about the ground.",
    ),
    Fact(
        "Power lines and pipelines",
        "Near them the readings are noisy or fail, and a sensor carried on a mast near live "
        "conductors can kill. Keep the distance that the operator prescribes.",
    ),
    Fact("Lightning", "Stop at the first thunder, put down masts and take shelter."),
    Fact(
        "Land and animals",
        "Go only with the written permission of the owner and of the authority of a protected "
        "area. Leave gates as found; mind livestock, wildlife and electric fences.",
    ),
    Fact(
        "Heat, cold, water, working alone",
        "Follow the local safety plan, with a time at which somebody starts to look for you.",
    ),
    Fact(
        "Medical implants",
        "Ask the maker of the implant before a magnet or a magnetised tool comes near the wearer.",
    ),
    Fact(
        "Local rules first",
        "Every conclusion drawn from this survey is subject to local codes and to the judgement "
        "of those licensed to practise there. An anomaly is not a mineral deposit; depth and "
        "shape drawn from it are models until a hole or a trench has tested them.",
    ),
)

GLOSSARY: Final = (
    Fact("anomaly", "the field that is left when all corrections have been taken off the reading"),
    Fact("base", "an instrument left in one place to record how the field changes with time"),
    Fact("chord departure", "how far the base record strays from a straight line over a set time"),
    Fact("datum", "the one value of the base that stands for no change in time"),
    Fact("declination", "angle from true north to magnetic north, positive east"),
    Fact("diurnal correction", "the change of the field with time, as the base recorded it"),
    Fact("inclination", "angle of the field below the horizontal, positive down"),
    Fact("kept", "used for the map; readings that are not kept stay in the data with the reason"),
    Fact("noise", "standard deviation of a line's readings, from their fourth difference"),
    Fact("nT", "nanotesla, the unit of the field; the Earth's field is about 22 000 to 67 000 nT"),
    Fact("reference field", "a published model of the Earth's main field"),
    Fact("rms", "root mean square: the typical size, counted from zero"),
    Fact("rover", "the instrument carried along the lines"),
    Fact("sd", "standard deviation; 1.645 sd either way holds 90 % of normal errors"),
    Fact("tie line", "a line across the others, to compare them where they cross"),
    Fact("UTC", "Coordinated Universal Time"),
    Fact("verdict", "keep it, doubt it, or walk it again"),
)

#: Our name, column, and what it is, in the order in which they are taken off.
CORRECTIONS: Final = (
    ("Diurnal", "diurnal_nT", "base record plus site tie, less the datum"),
    ("Reference field", "reference_nT", "main field from the model at the datum's epoch"),
    ("Instrument", "instrument_nT", "what the rover reads above the most-read one"),
    ("Heading", "heading_nT", "effect of the direction of walking"),
    ("Levelling", "level_nT", "from the differences where lines cross"),
    ("Micro-levelling", "micro_level_nT", "small steps left between neighbouring lines"),
)

#: Our name, column, and what it is.
ERROR_TERMS: Final = (
    ("Sensor", "sd_sensor_nT", "noise of the rover, from the fourth difference along the line"),
    (
        "Diurnal",
        "sd_diurnal_nT",
        "error of the base's record and level, and of interpolating it",
    ),
    ("Clock", "sd_clock_nT", "error of the clocks times the rate of change of the field"),
    ("Position", "sd_position_nT", "error of the position times the gradient of the field"),
    ("Heading", "sd_heading_nT", "what is left of the effect of direction and operator"),
    ("Levelling", "sd_level_nT", "error of levelling and rover, and what micro-levelling took off"),
)

#: Key in the datum's record and our label, in the order in which they are told.
DATUM: Final = (
    ("datum_nT", "Datum"),
    ("epoch_utc", "Epoch"),
    ("rests_on", "Rests on"),
    ("instrument", "Base"),
    ("start_utc", "Quietest from"),
    ("end_utc", "to"),
)

#: Key in the site record, our label, unit, decimals and help.
SITE: Final = (
    ("latitude_deg", "Latitude", "°", 5, "WGS84"),
    ("longitude_deg", "Longitude", "°", 5, "WGS84"),
    ("height_m", "Height", "m", 0, "above the ellipsoid"),
    ("date", "Date", "", 0, "date for which the reference field holds"),
    ("model", "Model", "", 0, "published model of the main field"),
    ("total_field_nT", "Total field", "nT", 1, "strength of the main field"),
    ("inclination_deg", "Inclination", "°", 2, "below the horizontal, positive down"),
    ("declination_deg", "Declination", "°", 2, "from true north, positive east"),
    ("north_nT", "North component", "nT", 1, "true north"),
    ("east_nT", "East component", "nT", 1, "true east"),
    ("down_nT", "Down component", "nT", 1, "positive down"),
    ("horizontal_nT", "Horizontal component", "nT", 1, ""),
    ("change_nT_per_year", "Change in a year", "nT", 1, "of the total field"),
    ("precession_Hz", "Precession frequency", "Hz", 3, "of protons in this field"),
    ("tuning_uT", "Tuning", "µT", 1, "to set on a proton instrument"),
)


def angle_digits(low: float | None, high: float | None) -> int:
    """Return the decimals of an angle for print: one where its interval is under two degrees.

    Examples
    --------
    >>> angle_digits(-53.4, -52.6), angle_digits(10.0, 20.0), angle_digits(None, 1.0)
    (1, 0, 0)
    """
    return 1 if low is not None and high is not None and high - low < 2.0 else 0
