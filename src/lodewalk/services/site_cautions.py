"""What is peculiar to the field of a place, in words."""

from lodewalk.methods.geomagnetic import SiteValues
from lodewalk.methods.geomagnetic.quiet_range import QuietRange
from lodewalk.methods.planning.best_hours import AURORAL_DEG

#: Below this inclination reduction to the pole is told off (common practice).
LOW_DEG = 20.0


def site_cautions(
    values: SiteValues, quiet: QuietRange, *, compass: str, outside_crs: bool
) -> tuple[str, ...]:
    """Return the cautions that a place asks for.

    Parameters
    ----------
    values : SiteValues
        The reference field.
    quiet : QuietRange
        Its quiet day, with the magnetic latitudes.
    compass : str
        Use of a compass: "good", "with caution" or "none".
    outside_crs : bool
        Whether the place lies outside the area of the projected system.
    """
    told = [
        (compass == "with caution", "The compass is weak here: check it, or walk by GPS."),
        (compass == "none", "A compass is of no use here: walk by GPS."),
        (
            abs(values.inclination_deg) < LOW_DEG,
            "Low inclination: a long body along magnetic north hardly shows, and a map reduced to "
            "the pole carries stripes.",
        ),
        (
            quiet.electrojet,
            "Under the equatorial electrojet: a base more than some 50 km away doesn't serve, and "
            "about noon the field moves fast (common practice).",
        ),
        (
            abs(quiet.geomagnetic_latitude_deg) >= AURORAL_DEG,
            "Auroral latitudes: plan days of stand-by, keep the base near, and look at its record "
            "each evening.",
        ),
        (
            outside_crs,
            "The place lies outside the area that the projected system is meant for.",
        ),
    ]
    return tuple(text for holds, text in told if holds)
