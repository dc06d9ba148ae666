"""The odds of a survey that is planned, at the ends of what isn't known, and with changes."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.planning.contrast import log_spread
from lodewalk.methods.planning.expected import Source
from lodewalk.methods.planning.feasibility import (
    Case,
    Change,
    Seeking,
    alike,
    changes,
    ends_of,
    probabilities_of,
    size_share,
)
from lodewalk.methods.planning.line_layout import LineLayout, frame_of
from lodewalk.methods.planning.survey_noise import RandomField, SurveyNoise
from lodewalk.steps.context import Context
from lodewalk.steps.going_place import GoingPlace
from lodewalk.steps.plan_choice import AS_SET, chosen_layout
from lodewalk.steps.rock_contrast import Contrast

Floats = NDArray[np.float64]
#: Side of the square that is taken where no area is given [m].
USUAL_SIDE_M = 500.0
#: Cases that one worker takes at a time.
PART = 5
#: What a hand meter may find: as often less than the first as more than the second.
QUARTILES = (0.25, 0.75)
#: Odds that no change can better are not worth reckoning again; changes for the worse.
SURE, ALWAYS = 0.99, ("sparser lines", "hand meter, low")
#: A contrast whose logarithm spreads by less is known.
NO_SPREAD = 0.01


@dataclass(frozen=True)
class Odds:
    """Probability of detection as planned, its neighbours, and what it rests on."""

    probability: float
    sizes: tuple[float, float]
    plan: dict[str, Any]
    reading_noise: float
    noise_parts: dict[str, float]
    cases: list[dict[str, Any]]
    changes: list[dict[str, Any]]
    assumed: list[str]


def odds_of(
    place: GoingPlace,
    contrast: Contrast,
    source: Source,
    settings: Mapping[str, Any],
    context: Context,
) -> Odds:
    """Return the odds of the survey in the settings."""
    case, seeking, assumed = as_planned(place, contrast, source, settings)
    layout, outline, known = case.layout, seeking.area_m, contrast.contrast
    measured = dict(zip(("low", "high"), np.quantile(contrast.draws, QUARTILES), strict=True))
    others = list(changes(case, measured=measured if case.spread else None))
    ends = list(ends_of(case, low=known.low, high=known.high))
    # What shares the tables of the survey as planned, and is always wanted, is done with it.
    with_first = [
        case,
        *(change.case for change in others if change.name in ALWAYS),
        *(end[3] for end in ends if end[0] == "susceptibility"),
    ]
    known_chances = dict(zip(with_first, probabilities_of(seeking, with_first), strict=True))
    first = known_chances[case]
    if first >= SURE:
        others = [change for change in others if change.name in ALWAYS]
    everything = [*(change.case for change in others), *(end[3] for end in ends)]
    left = [one for one in everything if one not in known_chances]
    known_chances |= dict(zip(left, _chances(seeking, left, context), strict=True))
    rest = [known_chances[one] for one in everything]
    ranked = _ranked(others, rest[: len(others)], first)
    cases = [
        {"what": what, "end": end, "value": value, "probability": round(chance, 4)}
        for (what, end, value, _), chance in zip(ends, rest[len(others) :], strict=True)
    ]
    low, high = np.quantile(np.abs(contrast.draws), [0.05, 0.95])
    parts = _parts(settings)
    sizes = size_share(source, float(low)), size_share(source, float(high))
    return Odds(
        first,
        sizes,
        _plan(layout, outline),
        float(np.linalg.norm(list(parts.values()))),
        parts,
        cases,
        ranked,
        assumed,
    )


def as_planned(
    place: GoingPlace, contrast: Contrast, source: Source, settings: Mapping[str, Any]
) -> tuple[Case, Seeking, list[str]]:
    """Return the survey in the settings, what it seeks, and what was assumed."""
    layout, assumed = _layout(place, settings)
    noise = noise_of(settings, layout.sensor_height_m)
    spread = log_spread(contrast.draws)
    spread = spread if spread > NO_SPREAD else 0.0
    body = settings["body"]
    case = Case(layout, noise, contrast.shown, spread, body["depth_m"], body["depth_factor"])
    outline = place.outline_m
    if outline is None:
        half = USUAL_SIDE_M / 2
        outline = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
        assumed.append(f"No area is given: a square of {USUAL_SIDE_M:g} m a side is taken.")
    width = float(np.ptp(outline @ frame_of(layout.azimuth_deg)[:, 0]))
    if width < layout.spacing_m:
        assumed.append(
            f"The area is {width:.3g} m wide across the lines, less than their spacing of "
            f"{layout.spacing_m:.3g} m: one line is reckoned with."
        )
    seeking = Seeking(
        source, contrast.draws, body["strike_sd_deg"], outline, settings["plan"]["false_alarm"]
    )
    return case, seeking, assumed


def first_odds(
    place: GoingPlace, contrast: Contrast, source: Source, settings: Mapping[str, Any]
) -> tuple[float, float, float]:
    """Return the probability as planned, and those with the contrast at the ends of its range."""
    case, seeking, _ = as_planned(place, contrast, source, settings)
    known = contrast.contrast
    ends = ends_of(case, low=known.low, high=known.high)
    sides = [end[3] for end in ends if end[0] == "susceptibility"]
    first, *others = probabilities_of(seeking, [case, *sides])
    return first, min(first, *others), max(first, *others)


def without_odds(
    place: GoingPlace, contrast: Contrast, source: Source, settings: Mapping[str, Any]
) -> Odds:
    """Return what `odds_of` returns but the odds, which take a hundred times as long."""
    case, seeking, assumed = as_planned(place, contrast, source, settings)
    low, high = np.quantile(np.abs(contrast.draws), [0.05, 0.95])
    parts = _parts(settings)
    return Odds(
        float("nan"),
        (size_share(source, float(low)), size_share(source, float(high))),
        _plan(case.layout, seeking.area_m),
        float(np.linalg.norm(list(parts.values()))),
        parts,
        [],
        [],
        assumed,
    )


def _ranked(others: list[Change], chances: list[float], first: float) -> list[dict[str, Any]]:
    """Return the changes as plain values, the largest gain first."""
    rows: list[dict[str, Any]] = [
        {
            "name": change.name,
            "text": change.text,
            "of_survey": change.of_survey,
            "probability": round(chance, 4),
            "gain": round(chance - first, 4),
        }
        for change, chance in zip(others, chances, strict=True)
    ]
    return sorted(rows, key=lambda row: -float(row["gain"]))


def _chances(seeking: Seeking, cases: list[Case], context: Context) -> list[float]:
    """Return the probability of each case; those that share tables are one part of the work."""
    groups: dict[tuple[float, float, float], list[int]] = {}
    for index, case in enumerate(cases):
        groups.setdefault(alike(case), []).append(index)
    parts = [
        (key, members[start : start + PART])
        for key, members in groups.items()
        for start in range(0, len(members), PART)
    ]
    found = context.map(
        partial(probabilities_of, seeking), [[cases[i] for i in part] for _, part in parts]
    )
    chances = {
        index: chance
        for (_, part), own in zip(parts, found, strict=True)
        for index, chance in zip(part, own, strict=True)
    }
    return [chances[index] for index in range(len(cases))]


def _layout(place: GoingPlace, settings: Mapping[str, Any]) -> tuple[LineLayout, list[str]]:
    """Return the lines of the settings, those of the rule of thumb where left out, and which."""
    plan = settings["plan"]
    choice = chosen_layout(settings, magnetic_north_deg=place.magnetic_north_deg)
    texts = {
        "spacing": f"Lines {choice.spacing_m:.3g} m apart",
        "azimuth": f"Lines at azimuth {choice.azimuth_deg:.0f}",
        "ties": f"Tie lines {choice.tie_spacing_m:.3g} m apart",
    }
    assumed = [
        f"{text}: {choice.why[name]}." for name, text in texts.items() if choice.why[name] != AS_SET
    ]
    layout = LineLayout(
        choice.azimuth_deg,
        choice.spacing_m,
        choice.tie_spacing_m,
        plan["reading_interval_m"],
        plan["sensor_height_m"],
        settings["effort.pace_m_s"],
    )
    return layout, assumed


def noise_of(settings: Mapping[str, Any], height_m: float) -> SurveyNoise:
    """Return the noise of the settings; the depths of its layers are below the sensor."""
    host = settings["host"]
    return SurveyNoise(
        **settings["survey_noise"],
        geology=(
            RandomField(host["noise_nT"], host["noise_depth_m"] + height_m),
            RandomField(host["soil_noise_nT"], host["soil_depth_m"] + height_m),
            RandomField(host["regional_nT"], host["regional_depth_m"] + height_m),
        ),
    )


def _parts(settings: Mapping[str, Any]) -> dict[str, float]:
    """Return the parts of the noise of one reading; levels and slopes of lines left out."""
    own, host = settings["survey_noise"], settings["host"]
    return {
        "instrument": own["instrument_nT"],
        "walking": own["walking_nT"],
        "diurnal": own["diurnal_nT"],
        "geology": host["noise_nT"],
        "soil": host["soil_noise_nT"],
    }


def _plan(layout: LineLayout, outline: Floats) -> dict[str, Any]:
    """Return the lines as plain values."""
    sides = np.ptp(outline, axis=0)
    return {
        "line_spacing_m": layout.spacing_m,
        "line_azimuth_deg": layout.azimuth_deg,
        "tie_spacing_m": layout.tie_spacing_m,
        "reading_interval_m": layout.reading_interval_m,
        "sensor_height_m": layout.sensor_height_m,
        "extent_east_m": float(sides[0]),
        "extent_north_m": float(sides[1]),
    }
