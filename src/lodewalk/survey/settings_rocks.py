"""Settings of the interpretation: transforms of the grid, lineaments, fits of bodies."""

from typing import Annotated, Literal

from pydantic import Field

from lodewalk.survey.settings_base import Section, setting


class TransformSettings(Section):
    """Transforms of the grid."""

    up_m: Annotated[float, Field(gt=0, le=1e5)] | None = setting(
        None, "Height of the upward continuation; left out, twice the line spacing.", "m"
    )
    separation: Literal["matched filter", "upward continuation", "trend"] = setting(
        "matched filter",
        "How regional and residual are parted; by a plane where the spectrum shows no two layers.",
    )
    surface: Literal["auto", "plane", "equivalent sources"] = setting(
        "auto",
        "What transforms take the sensor's surface as: a plane, or equivalent sources at its true "
        "heights; auto, these where it departs from a plane by over half a line spacing.",
    )
    magnetisation_inclination_deg: Annotated[float, Field(ge=-90, le=90)] | None = setting(
        None,
        "Inclination of the rocks' magnetisation, positive down; left out, along the field.",
        "deg",
    )
    magnetisation_declination_deg: Annotated[float, Field(ge=-180, le=360)] | None = setting(
        None,
        "Declination of the rocks' magnetisation from true north; left out, along the field.",
        "deg",
    )


class TraceSettings(Section):
    """Lineaments traced from the grid."""

    least_length_m: Annotated[float, Field(gt=0, le=1e6)] | None = setting(
        None, "Shortest lineament that is told; left out, three line spacings.", "m"
    )
    least_evidence: float = setting(
        0.95, "Least probability of being more than noise.", "", ge=0.5, lt=1
    )


class FitSettings(Section):
    """Bodies fitted to profiles across the lineaments."""

    window: float = setting(
        4.0,
        "Half the length of a profile in depths of a first look; less where a neighbour begins.",
        "depths",
        ge=2,
        le=20,
    )
    magnetisation: Literal["unknown", "induced", "given"] = setting(
        "unknown",
        "What the dips stand under: without a magnetisation the index angle alone is told.",
    )
    koenigsberger: float = setting(
        0.5,
        "Remanent over induced magnetisation up to which the range of dips reaches (common "
        "practice).",
        "",
        ge=0,
        le=100,
    )
