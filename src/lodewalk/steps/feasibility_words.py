"""What a feasibility says in words: verdict, reasons and warnings."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from lodewalk.methods.planning.expected import LOW_LATITUDE_DEG, POOR_STRIKE

COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
#: Peak to trough less than this many times the noise of one reading is called weak.
WEAK = 3.0
#: A high or low below this part of the other isn't told.
NOTHING = 0.03
#: Nor is one beyond this part of the profile.
RIM = 0.98
#: A table's range wider than this factor is told of.
TEN = 10.0


def odds_words(chance: float) -> str:
    """Return a probability in whole per cent; a certainty isn't claimed.

    Examples
    --------
    >>> odds_words(0.873), odds_words(0.9999), odds_words(0.001)
    ('87%', 'over 99%', 'under 1%')
    """
    if chance > 0.995:
        return "over 99%"
    return "under 1%" if chance < 0.005 else f"{chance:.0%}"


def direction(east_m: float, north_m: float) -> str:
    """Return the name of the eighth of the compass in which a place lies.

    Examples
    --------
    >>> direction(0.0, -3.0), direction(2.0, 2.0)
    ('south', 'north-east')
    """
    azimuth = float(np.degrees(np.arctan2(east_m, north_m)))
    return COMPASS[round(azimuth / 45.0) % 8]


def place_words(east_m: float, north_m: float, *, least_m: float) -> str:
    """Return where a high or low lies from the body's middle.

    Examples
    --------
    >>> place_words(0.0, -12.0, least_m=2.0), place_words(0.0, 1.0, least_m=2.0)
    ('12 m south of its middle', 'above its middle')
    """
    distance = float(np.hypot(east_m, north_m))
    if distance < least_m:
        return "above its middle"
    return f"{distance:.0f} m {direction(east_m, north_m)} of its middle"


def anomaly_words(anomaly: Mapping[str, Any], *, least_m: float, reach_m: float) -> str:
    """Return the expected anomaly in words, without a high or low next to nothing or at the rim."""
    parts = []
    largest = max(abs(anomaly["high_nT"]), abs(anomaly["low_nT"]))
    for name, sign in (("high", 1.0), ("low", -1.0)):
        value = anomaly[f"{name}_nT"]
        at = anomaly[f"{name}_east_m"], anomaly[f"{name}_north_m"]
        if sign * value > NOTHING * largest and np.hypot(*at) < RIM * reach_m:
            where = place_words(*at, least_m=least_m)
            parts.append(f"a {name} of {value:.3g} nT {where}")
    text = " and ".join(parts)
    text = text or "no high or low by itself"
    return (
        f"{text[:1].upper()}{text[1:]}; {anomaly['peak_to_trough_nT']:.3g} nT from peak to "
        f"trough, {anomaly['width_m']:.3g} m wide at half."
    )


def summary_words(found: Mapping[str, Any]) -> str:
    """Return verdict and odds in one sentence."""
    chance = found["probability"]
    return (
        f"{found['verdict'].capitalize()}: this survey finds the {found['body']['kind']} with a "
        f"probability of {odds_words(chance)}; {found['wanted']:.0%} is wanted."
    )


def reasons(found: Mapping[str, Any]) -> Iterator[str]:
    """Yield why the verdict is what it is."""
    anomaly, noise = found["anomaly"], found["noise"]
    ratio = noise["ratio"]
    size = "large" if ratio >= 3 * WEAK else "small" if ratio < WEAK else "fair"
    yield (
        f"The anomaly is {size} beside the noise: {anomaly['peak_to_trough_nT']:.3g} nT from peak "
        f"to trough, {ratio:.2g} times the {noise['reading_nT']:.2g} nT of one reading, of which "
        f"{noise['largest']} is the largest part."
    )
    below = found["body"]["depth_m"] + found["plan"]["sensor_height_m"]
    spacing = found["plan"]["line_spacing_m"]
    apart = "no farther" if spacing <= below * 1.001 else "farther"
    yield (
        f"Lines are {spacing:.3g} m apart, {apart} than the body lies below the sensor "
        f"({below:.3g} m)."
    )
    yield from _range_reasons(found)
    if found["verdict"] == "go":
        yield from _sparser(found)
    else:
        best = next((row for row in found["changes"] if row["of_survey"]), None)
        if best and best["gain"] >= 0.01:
            yield f"What helps most: {best['text']} Then {odds_words(best['probability'])}."
        else:
            yield "No single change of the survey helps by a hundredth or more."


def _sparser(found: Mapping[str, Any]) -> Iterator[str]:
    """Yield that half of the kilometres would do, where they would."""
    for row in found["changes"]:
        if row["name"] == "sparser lines" and row["probability"] >= found["wanted"]:
            yield (
                f"Lines twice as far apart would do: {odds_words(row['probability'])} for half the "
                "kilometres."
            )


def _range_reasons(found: Mapping[str, Any]) -> Iterator[str]:
    """Yield how far the odds hang on what isn't known of the body."""
    for what, unit in (("susceptibility", "SI"), ("depth", "m")):
        ends = {row["end"]: row for row in found["cases"] if row["what"] == what}
        low, high = ends["low"], ends["high"]
        if abs(low["probability"] - high["probability"]) >= 0.1:
            yield (
                f"It hangs on its {what}: {odds_words(low['probability'])} at {low['value']:.2g} "
                f"{unit}, {odds_words(high['probability'])} at {high['value']:.2g} {unit}."
            )


def warnings(found: Mapping[str, Any], *, share: float, best_strike: float) -> Iterator[str]:
    """Yield what makes this site or body hard."""
    inclination = found["site"]["inclination_deg"]
    if abs(inclination) < LOW_LATITUDE_DEG:
        # north lines are twice as good as east ones there: Geophysics 33(2), 329, 1968 (abstract)
        yield (
            f"Low magnetic latitude (inclination {inclination:.0f} degrees): over a body by "
            "induction stands a low, with highs on its magnetic north and south sides, and a "
            "reduction to the pole blows up noise along magnetic north. Lines along magnetic "
            "north show most of it."
        )
    if share < POOR_STRIKE:
        yield (
            f"The strike lies near the field's direction, which shows least: across its strike of "
            f"{found['body']['strike_deg']:.0f} degrees it shows "
            f"{found['anomaly']['peak_to_trough_nT']:.3g} nT, {share:.0%} of what it would with a "
            f"strike of {best_strike:.0f} degrees. Its ends and offsets may show more than itself."
        )
    if found["magnetisation"]["remanence_A_m"] > 0:
        yield (
            "Remanence is counted as one direction; where that isn't known the high may be a low."
        )
    contrast = found["susceptibility"]["contrast"]
    if contrast["low"] < 0.0 < contrast["high"]:
        yield (
            "The host may be as magnetic as the body or more: the contrast runs from "
            f"{contrast['low']:.2g} to {contrast['high']:.2g} SI. Hand-meter readings on both "
            "would tell."
        )
    target = found["susceptibility"]["target"]
    sizes = found["anomaly"]["size_low"], found["anomaly"]["size_high"]
    if target["source"] != "as set" and not target["places"] and sizes[1] > TEN * sizes[0]:
        yield (
            "The susceptibility is that of a table; the anomaly may be from "
            f"{sizes[0]:.2g} to {sizes[1]:.2g} times that shown: "
            "readings with a hand meter at five places of body and host are worth more than any "
            "change of the plan."
        )
