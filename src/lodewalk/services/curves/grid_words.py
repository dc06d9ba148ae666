"""What each grid shows, in a sentence, and the word of the glossary that explains it."""

from dataclasses import dataclass

#: Ends of the name of a grid that holds errors.
ERROR = "_standard_error"


@dataclass(frozen=True)
class Words:
    """Group of a grid in a list, what it shows, and its word in the glossary, or none."""

    group: str
    about: str
    term: str | None = None


_SHOWS = {
    "total_field_anomaly": Words(
        "anomaly",
        "What was measured, less the daily variation, the reference field and the errors that "
        "could be told.",
        "total-field anomaly",
    ),
    "upward_continued": Words(
        "transforms",
        "The anomaly as it would be higher up: deep and large bodies remain.",
        "upward continuation",
    ),
    "vertical_derivative": Words(
        "transforms",
        "How fast the anomaly grows downward: shallow bodies and edges stand out, noise too.",
        "vertical derivative",
    ),
    "reduced_to_pole": Words(
        "transforms",
        "The anomaly as it would be under a vertical field: highs stand over magnetic bodies, if "
        "no remanence turns them.",
        "reduction to the pole",
    ),
    "reduced_to_equator": Words(
        "transforms",
        "The anomaly as it would be under a level field: lows stand over magnetic bodies; steadier "
        "than the pole where the field is nearly level.",
    ),
    "pseudo_gravity": Words(
        "transforms",
        "The anomaly as if magnetisation were mass: broad bodies, with every error of long "
        "wavelength made larger.",
    ),
    "horizontal_gradient": Words(
        "transforms", "How steep the anomaly is on the map: ridges follow edges of bodies."
    ),
    "total_gradient": Words(
        "transforms",
        "Length of the gradient in all three directions: high above edges, little changed by the "
        "direction of magnetisation.",
        "total gradient",
    ),
    "tilt_angle": Words(
        "transforms",
        "Angle between vertical and horizontal gradient: weak and strong bodies look alike, near "
        "zero above steep edges.",
        "tilt",
    ),
    "tilt_horizontal_derivative": Words(
        "transforms", "How steep the tilt angle is: ridges follow edges, weak ones too."
    ),
    "regional": Words(
        "transforms", "The long wavelengths, which belong to what is deep or far away."
    ),
    "residual": Words("transforms", "The anomaly less its regional: what is shallow."),
    "smallest_target_radius": Words(
        "walked",
        "Radius of the smallest body that would have been seen here, by where was walked and how "
        "noisy it was.",
    ),
}


def words_of(name: str) -> Words:
    """Return group, sentence and word of a grid.

    Examples
    --------
    >>> words_of("reduced_to_pole_standard_error").group
    'standard errors'
    """
    own = name.removesuffix(ERROR)
    if own != name:
        quantity = own.replace("_", " ")
        return Words(
            "standard errors",
            f"One standard error of the {quantity} at each node; the truth lies within 1.645 of it "
            "nine times in ten.",
            "standard error",
        )
    return _SHOWS.get(name, Words("other", ""))
