"""A site's result as sections of text."""

from collections.abc import Iterator
from textwrap import wrap
from typing import TYPE_CHECKING

from lodewalk.cli.output import columns

if TYPE_CHECKING:
    from lodewalk.services.site import SiteResult

Rows = list[list[str]]

#: Longest line [letters].
WIDTH = 96

#: What the words mean; common to all sites.
WORDS = [
    ["inclination", "angle of the field from the level, down positive"],
    ["declination", "angle from true north to magnetic north, east positive"],
    ["convergence", "angle from true north to grid north, clockwise positive"],
    ["tuning", "field strength that a proton magnetometer is set to before it measures"],
    ["compact body", "one about as long as wide, its depth counted from the sensor"],
    ["induced", "magnetised by today's field, without a magnetisation of its own"],
    ["quiet day", "a day on which no K index is above 2"],
    ["K index", "disturbance in three hours, 0 to 9"],
    ["stand-by", "a day in camp, since the field moves too much to walk"],
    ["dip latitude", "latitude counted by the inclination; 0 where the field lies level"],
    ["dead zone", "directions of the field in which an optically pumped sensor is silent"],
]


def site_lines(result: "SiteResult", *, explain: bool = False) -> Iterator[str]:
    """Yield the sections of a site's result, each line with its units."""
    sections = {
        f"Reference field, {result.model}, {result.date} 00 UTC": _field(result),
        "Compass": _compass(result),
        "Proton sensor": _proton(result),
        "Optically pumped sensor of one cell (common practice)": _pumped(result),
        "Anomaly of a compact, induced body": _anomaly(result),
        "Quiet day and stand-by (rough rules; the base tells better)": _variation(result),
    }
    if explain:
        sections["Words"] = WORDS
    for number, (title, rows) in enumerate(sections.items()):
        yield from ([""] if number else [])
        yield title
        yield from _wrapped(rows)
    if result.cautions:
        yield from ["", "Cautions"]
        for text in result.cautions:
            yield from wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")


def _wrapped(rows: Rows) -> Iterator[str]:
    """Yield rows of two cells, indented, the second wrapped under itself."""
    under = " " * (max(len(name) for name, _ in rows) + 4)
    for line in columns(rows):
        yield from wrap(f"  {line}", WIDTH, subsequent_indent=under)


def _field(result: "SiteResult") -> Rows:
    """Return the field, its change and its error."""
    off = result.uncertainty
    turn, dip = result.change_declination_deg_per_year, result.change_inclination_deg_per_year
    return [
        [
            "total field",
            f"{result.total_field_nT:.1f} nT ±{off.total_field_nT:.0f}, "
            f"{result.change_nT_per_year:+.1f} nT a year",
        ],
        [
            "inclination",
            f"{result.inclination_deg:.3f} degrees ±{off.inclination_deg:.2f}, down positive, "
            f"{_a_year(dip)}",
        ],
        [
            "declination",
            f"{result.declination_deg:.3f} degrees ±{off.declination_deg:.2f}, east positive, "
            f"{_a_year(turn)}",
        ],
        [
            "north, east, down",
            f"{result.north_nT:.1f} ±{off.north_nT:.0f}, {result.east_nT:.1f} ±{off.east_nT:.0f}, "
            f"{result.down_nT:.1f} nT ±{off.down_nT:.0f}",
        ],
        ["horizontal", f"{result.horizontal_nT:.1f} nT ±{off.horizontal_nT:.0f}"],
        ["±", f"one standard deviation, {off.source}"],
    ]


def _a_year(change: float | None) -> str:
    """Return a yearly change of an angle."""
    return "its change has no meaning here" if change is None else f"{change:+.3f} degrees a year"


def _compass(result: "SiteResult") -> Rows:
    """Return what to add to a compass bearing."""
    compass = result.compass
    rows = [
        ["true bearing", f"compass {_signed(compass.declination_deg)} degrees"],
    ]
    if compass.grid_declination_deg is not None and compass.convergence_deg is not None:
        rows += [
            ["grid bearing", f"compass {_signed(compass.grid_declination_deg)} degrees"],
            ["convergence", f"{compass.convergence_deg:+.2f} degrees, {compass.crs}"],
        ]
    return [*rows, ["use", f"{compass.use}; error {compass.sd_deg:.1f} degrees, rocks included"]]


def _signed(angle: float) -> str:
    """Return an angle that is added, with its sign apart."""
    return f"{'-' if angle < 0 else '+'} {abs(angle):.1f}"


def _proton(result: "SiteResult") -> Rows:
    """Return precession, tuning and the coil's axis."""
    axis = result.sensors.proton
    return [
        ["precession", f"{result.precession_Hz:.2f} Hz"],
        ["tuning", f"{result.tuning_uT:g} uT"],
        ["coil's axis", axis.best_words],
        ["whichever way you face", axis.any_facing_words],
    ]


def _pumped(result: "SiteResult") -> Rows:
    """Return the tilt of a pumped sensor on lines of two directions."""
    ways = zip(("along", "across"), result.sensors.pumped, strict=True)
    return [[f"lines {way} magnetic north", tilt.words] for way, tilt in ways]


def _anomaly(result: "SiteResult") -> Rows:
    """Return where high and low lie, and the direction of lines."""
    rows = []
    for extreme in result.anomaly.extremes:
        where = {
            "above": "above the body",
            "all round": f"all round, {extreme.distance_depths:.1f} depths away",
        }.get(
            extreme.side,
            f"to magnetic {extreme.side}, {extreme.distance_depths:.1f} depths away",
        )
        if extreme.bearing_deg is not None:
            where += f", true bearing {extreme.bearing_deg:.0f} degrees"
        rows.append([extreme.kind, f"{extreme.relative:+.2f} {where}"])
    shape, lines = result.anomaly, result.lines
    north = "grid north" if result.compass.crs else "true north"
    return [
        *rows,
        ["low over high", f"{shape.low_over_high:.2f}"],
        ["from low to high", f"{shape.range_of_pole:.2f} of that in a vertical field as strong"],
        ["lines", f"{lines.azimuth_deg:.0f} degrees from {north}. {lines.reason}"],
    ]


def _variation(result: "SiteResult") -> Rows:
    """Return range of a quiet day, odds of stand-by and the best hours."""
    quiet, odds = result.quiet_day, result.stand_by
    hours = ", ".join(
        f"{span.from_utc} to {span.to_utc} UTC ({span.from_local_h:.0f} to "
        f"{span.to_local_h:.0f} h by the sun)"
        for span in result.best_hours.spans
    )
    return [
        ["range of a quiet day", f"{quiet.low_nT:.0f} to {quiet.high_nT:.0f} nT"],
        [
            "dip, geomagnetic latitude",
            f"{quiet.dip_latitude_deg:.1f}, {quiet.geomagnetic_latitude_deg:.1f} degrees",
        ],
        [
            "stand-by",
            f"{odds.days_low:.0%} to {odds.days_high:.0%} of days, {odds.mornings_low:.0%} to "
            f"{odds.mornings_high:.0%} of spans of six hours, over {odds.range_nT:.0f} nT in "
            "three hours",
        ],
        ["best hours", f"{hours}, {result.best_hours.reason} (common practice)"],
    ]
