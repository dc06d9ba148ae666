"""The body that a plan is made for, lines chosen for it, and what the laid-out lines promise."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.planning.aliasing import USUAL_SHARE, largest_spacing_m
from lodewalk.methods.planning.detection import layout_detection, predict_detection
from lodewalk.methods.planning.feasibility import UNLIKELY, size_share
from lodewalk.methods.planning.layout import readings_along
from lodewalk.methods.planning.line_layout import LineLayout, Readings
from lodewalk.methods.planning.optimiser import PlanChoice, choose_plan
from lodewalk.methods.planning.sought import Target, body_target, prepare_target
from lodewalk.methods.planning.survey_noise import SurveyNoise
from lodewalk.records.recorded import HandMeter
from lodewalk.steps.feasibility import source_of
from lodewalk.steps.feasibility_odds import noise_of
from lodewalk.steps.going_place import GoingPlace
from lodewalk.steps.plan_lines import Layout
from lodewalk.steps.rock_contrast import rock_contrast

Floats = NDArray[np.float64]
#: With more readings than this the promise is that of the lines without exclusions.
MOST_READINGS = 150_000


@dataclass(frozen=True)
class Sought:
    """The body that is sought, the noise against it, and where it may lie.

    Parameters
    ----------
    target : Target
        The body and what isn't known of it.
    noise : SurveyNoise
        Noise of the readings.
    outline_m : array, shape (n, 2)
        Corners of the largest polygon of the area, from its middle [m].
    middle_m : array, shape (2,)
        Easting and northing of the middle [m].
    """

    target: Target
    noise: SurveyNoise
    outline_m: Floats
    middle_m: Floats


def sought_body(place: GoingPlace, meter: HandMeter, settings: Mapping[str, Any]) -> Sought | None:
    """Return the body that is sought; None where nothing tells how magnetic it is."""
    body, plan = settings["body"], settings["plan"]
    told = (meter.frame["part"] == "target").any()
    if not told and body["susceptibility"] is None and not body["rock"]:
        return None
    assert place.outline_m is not None
    contrast = rock_contrast(meter, body, settings["host"])
    source = source_of(place, contrast, body)
    draws = contrast.draws
    target = body_target(
        source.body,
        ambient_nT=source.ambient_nT,
        susceptibility=(source.susceptibility,) * 2,
        remanence_A_m=source.remanence_A_m,
        depth_factor=body["depth_factor"],
        strike_sd_deg=body["strike_sd_deg"],
        both_polarities=bool(min(np.mean(draws > 0), np.mean(draws < 0)) > UNLIKELY),
    )
    low, high = (size_share(source, float(k)) for k in np.quantile(np.abs(draws), [0.05, 0.95]))
    return Sought(
        replace(target, strength_low=low, strength_high=high),
        noise_of(settings, plan["sensor_height_m"]),
        place.outline_m,
        np.array([place.easting_m, place.northing_m]),
    )


def lines_of(
    settings: Mapping[str, Any], azimuth_deg: float, spacing_m: float, tie_spacing_m: float | None
) -> LineLayout:
    """Return lines as the predictor takes them."""
    plan = settings["plan"]
    return LineLayout(
        azimuth_deg,
        spacing_m,
        tie_spacing_m,
        plan["reading_interval_m"],
        plan["sensor_height_m"],
        settings["effort"]["pace_m_s"],
    )


def optimised(sought: Sought, settings: Mapping[str, Any], check: Callable[[], None]) -> PlanChoice:
    """Return the lines that find the body as surely as the rule of thumb with fewest kilometres.

    For a map, lines lie no farther apart than the usual share of aliased power allows, and there
    is a tie line for ten lines. `check` is called before each plan that is tried.
    """
    plan = settings["plan"]
    below = sought.target.depth_m + plan["sensor_height_m"]
    to_map = plan["purpose"] == "map"
    return choose_plan(
        sought.outline_m,
        sought.target,
        lines_of(settings, 0.0, below, None),
        noise=sought.noise,
        false_alarm=plan["false_alarm"],
        widest_m=largest_spacing_m(USUAL_SHARE, depth_m=below) if to_map else np.inf,
        two_ties=not to_map,
        check=check,
    )


def promise(sought: Sought, layout: Layout, settings: Mapping[str, Any]) -> dict[str, Any]:
    """Return the probability with which the laid-out lines find the body."""
    plan = settings["plan"]
    prepared = prepare_target(sought.target, sensor_height_m=plan["sensor_height_m"])
    every = readings_along(
        layout.pieces.first - sought.middle_m,
        layout.pieces.second - sought.middle_m,
        [(tour.order.piece, tour.order.turned) for tour in layout.tours],
        interval_m=plan["reading_interval_m"],
        pace_m_s=layout.pace_m_s,
    )
    whole = every[0].size <= MOST_READINGS
    if whole:
        found = predict_detection(
            Readings(*every),
            sought.outline_m,
            prepared=prepared,
            noise=sought.noise,
            spacing_m=layout.spacing_m,
            azimuth_deg=layout.azimuth_deg,
            false_alarm=plan["false_alarm"],
        )
    else:
        lines = lines_of(settings, layout.azimuth_deg, layout.spacing_m, layout.tie_spacing_m)
        found = layout_detection(
            sought.outline_m,
            lines,
            prepared=prepared,
            noise=sought.noise,
            false_alarm=plan["false_alarm"],
        )
    return {
        "probability": round(found.probability, 4),
        "standard_error": round(found.standard_error, 4),
        "wanted": plan["detection"],
        "threshold": round(found.threshold, 3),
        "looks": round(found.looks, 1),
        "of": "the lines as laid out" if whole else "the lines without exclusions",
    }


def choice_words(choice: PlanChoice) -> dict[str, Any]:
    """Return what the optimiser found, as plain values."""
    rule = f"{choice.rule_length_m / 1000:.1f} km"
    odds = f"{choice.rule_detection.probability:.0%}"
    better = (
        f"{choice.length_m / 1000:.1f} km of lines and ties instead of {rule} by the rule of "
        f"thumb, {choice.saving:.0%} less, at equal detection "
        f"({choice.detection.probability:.0%} and {odds})"
        if choice.better
        else f"no better plan found: the rule of thumb stays, {rule} of lines and ties for a "
        f"detection of {odds}"
    )
    return {
        "text": better,
        "better": choice.better,
        "saving": round(choice.saving, 4) if choice.better else 0.0,
        "tried": len(choice.tried),
        "rule": _lines(choice.rule, choice.rule_length_m, choice.rule_detection.probability),
        "chosen": _lines(choice.layout, choice.length_m, choice.detection.probability),
    }


def _lines(lines: LineLayout, length_m: float, probability: float) -> dict[str, float]:
    """Return lines as plain values."""
    assert lines.tie_spacing_m is not None
    return {
        "azimuth_deg": round(lines.azimuth_deg, 2),
        "spacing_m": round(lines.spacing_m, 2),
        "tie_spacing_m": round(lines.tie_spacing_m, 1),
        "kilometres": round(length_m / 1000, 3),
        "probability": round(probability, 4),
    }
