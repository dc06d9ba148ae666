"""Strong anomalies of picks: brought to the projection on the field before a body is fitted."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from lodewalk.errors import InputError
from lodewalk.methods.inversion.models import Ambient
from lodewalk.methods.inversion.results import Profile, ProfileFit
from lodewalk.methods.inversion.strong import (
    STRONG,
    Beyond,
    anomaly_share,
    as_measured,
    beyond_projection,
    projected,
    strong_words,
)
from lodewalk.records import Record
from lodewalk.steps.context import Context
from lodewalk.steps.site_field import grid_turn, survey_site


@dataclass(frozen=True)
class Field:
    """The ambient field: strength [nT], inclination, declination from grid north [deg]."""

    strength_nT: float
    inclination_deg: float
    declination_deg: float

    def ambient(self, azimuth_deg: float) -> Ambient:
        """Return the field over a profile of an azimuth from grid north."""
        return Ambient(self.strength_nT, self.inclination_deg, azimuth_deg - self.declination_deg)


def field_there(inputs: Mapping[str, Record], crs: str) -> Field:
    """Return the ambient field at the survey."""
    site = survey_site(inputs)
    turn = grid_turn(inputs, crs)
    return Field(site.total_field_nT, site.inclination_deg, site.declination_deg - turn)


def beyond_of(
    inputs: Mapping[str, Record],
    profiles: Sequence[tuple[Profile, float]],
    *,
    crs: str,
    context: Context,
) -> list[Beyond | None]:
    """Return what strong profiles hold beyond the projection; None for those that aren't strong.

    `profiles` holds each profile with its azimuth from grid north.
    """
    if not profiles:
        return []
    field = field_there(inputs, crs)
    parts = [
        (profile, azimuth, field) if anomaly_share(profile, field.strength_nT) > STRONG else None
        for profile, azimuth in profiles
    ]
    found = iter(context.map(told_beyond, [part for part in parts if part is not None]))
    return [None if part is None else next(found) for part in parts]


def told_beyond(part: tuple[Profile, float, Field]) -> Beyond:
    """Return what one strong profile holds beyond the projection."""
    profile, azimuth, field = part
    try:
        return beyond_projection(profile, field.ambient(azimuth))
    except InputError as error:
        share = anomaly_share(profile, field.strength_nT)
        return Beyond(np.zeros(profile.distance_m.size), share, problem=error.rule)


def without_beyond(profile: Profile, beyond: Beyond | None) -> Profile:
    """Return a profile as its body's projection would have it."""
    return profile if beyond is None or beyond.problem else projected(profile, beyond)


def measured(found: ProfileFit, beyond: Beyond | None) -> ProfileFit:
    """Return a fit to a projected profile as measured; a problem where the exact fit had one."""
    if beyond is None:
        return found
    return ProfileFit(problem=beyond.problem) if beyond.problem else as_measured(found, beyond)


def said_of(strong: Sequence[Beyond | None]) -> str:
    """Return the words on the strongest of several profiles; empty where none is strong."""
    there = [one for one in strong if one is not None and not one.problem]
    return strong_words(max(there, key=lambda one: one.share)) if there else ""


def beyond_note(beyond: Beyond | None) -> dict[str, Any]:
    """Return what is kept of a strong profile: for the depths, which rest on it as well."""
    if beyond is None:
        return {}
    return {
        "strong": {
            "share": round(beyond.share, 4),
            "wider": round(beyond.wider, 4),
            "problem": beyond.problem or None,
            "beyond_nT": [round(float(value), 3) for value in beyond.curve_nT],
        }
    }


def noted_beyond(note: Mapping[str, Any] | None) -> Beyond | None:
    """Return what `beyond_note` kept."""
    kept = (note or {}).get("strong")
    if not kept:
        return None
    curve = np.array(kept["beyond_nT"], dtype=float)
    return Beyond(curve, kept["share"], kept["wider"], kept["problem"] or "")


def add_words(row: dict[str, Any], words: str) -> dict[str, Any]:
    """Return a body's row with a sentence more on what isn't resolved."""
    if not words:
        return row
    return row | {"not_resolved": " ".join(text for text in (row["not_resolved"], words) if text)}


def wider(row: dict[str, Any], beyond: Beyond) -> dict[str, Any]:
    """Return a row of depths with an interval by the exact slopes, and words."""
    value, times = row.get("depth_m"), beyond.wider
    told = {"reason": f"{row['reason']} {strong_words(beyond)}"}
    if value is None or row.get("depth_sd_m") is None:
        return row | told
    ends = {
        name: value + times * (row[name] - value)
        for name in ("depth_low_m", "depth_high_m")
        if row.get(name) is not None
    }
    return row | told | ends | {"depth_sd_m": times * row["depth_sd_m"]}
