"""Feasibility: the anomaly to expect, the odds of finding it, and what would change them."""

from collections.abc import Mapping
from dataclasses import fields
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.bodies import (
    Body,
    body_outline,
    induced_magnetisation,
    remanent_magnetisation,
)
from lodewalk.methods.planning.expected import (
    Curve,
    MapOfAnomaly,
    Source,
    expected_curve,
    expected_map,
    main_azimuth,
    share_of_best_strike,
    strike_counts,
)
from lodewalk.methods.planning.feasibility import verdict_of
from lodewalk.records import Document, Grid, GridSet, Record
from lodewalk.records.recorded import HandMeter, Shapes
from lodewalk.steps.context import Context
from lodewalk.steps.feasibility_odds import Odds, odds_of, without_odds
from lodewalk.steps.feasibility_words import anomaly_words, reasons, summary_words, warnings
from lodewalk.steps.going_place import GoingPlace, going_place
from lodewalk.steps.rock_contrast import Contrast, rock_contrast

Floats = NDArray[np.float64]
NAME = "expected_anomaly"


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the feasibility and the map of the expected anomaly."""
    area = cast(Shapes, inputs["area_recorded"])
    place = going_place(area, settings["plan"], crs=settings["survey.crs"])
    meter = cast(HandMeter, inputs["hand_meter_recorded"])
    contrast = rock_contrast(meter, settings["body"], settings["host"])
    source = source_of(place, contrast, settings["body"])
    height = settings["plan"]["sensor_height_m"]
    shown = expected_map(source, sensor_height_m=height)
    odds = odds_of(place, contrast, source, settings, context)
    found = _found(place, contrast, source, shown, odds, settings)
    crs = settings["survey.crs"]
    west, south = place.easting_m - shown.half_side_m, place.northing_m - shown.half_side_m
    grid = Grid(shown.anomaly_nT, west, south, shown.spacing_m, crs, "nT", NAME)
    return {"feasibility": Document(found), "expected_grids": GridSet((grid,))}


def expected(
    inputs: Mapping[str, Record], settings: Mapping[str, Any]
) -> tuple[dict[str, Any], tuple[GoingPlace, Contrast, Source]]:
    """Return the document but for odds and verdict, and what the odds are reckoned from."""
    area = cast(Shapes, inputs["area_recorded"])
    place = going_place(area, settings["plan"], crs=settings["survey.crs"])
    meter = cast(HandMeter, inputs["hand_meter_recorded"])
    contrast = rock_contrast(meter, settings["body"], settings["host"])
    source = source_of(place, contrast, settings["body"])
    shown = expected_map(source, sensor_height_m=settings["plan"]["sensor_height_m"])
    odds = without_odds(place, contrast, source, settings)
    found = _shown(place, contrast, source, shown, odds, settings)
    return found, (place, contrast, source)


def source_of(place: GoingPlace, contrast: Contrast, wanted: Mapping[str, Any]) -> Source:
    """Return the body of the settings with what magnetises it there."""
    names = {field.name for field in fields(Body)}
    body = Body(**{name: value for name, value in wanted.items() if name in names})
    ambient = place.ambient_nT
    turn = wanted["remanence_declination_deg"]
    remanence = remanent_magnetisation(
        ambient,
        susceptibility=contrast.target.typical,
        koenigsberger=wanted["koenigsberger"],
        inclination_deg=wanted["remanence_inclination_deg"],
        declination_deg=None if turn is None else turn - place.convergence_deg,
    )
    return Source(body, ambient, contrast.shown, remanence)


def _found(
    place: GoingPlace,
    contrast: Contrast,
    source: Source,
    shown: MapOfAnomaly,
    odds: Odds,
    settings: Mapping[str, Any],
) -> dict[str, Any]:
    """Return the document."""
    found = _shown(place, contrast, source, shown, odds, settings)
    best = max((row["probability"] for row in odds.changes if row["of_survey"]), default=0.0)
    found["verdict"] = verdict_of(odds.probability, wanted=found["wanted"], best=best)
    found["probability"] = round(odds.probability, 4)
    found |= {"cases": odds.cases, "changes": odds.changes}
    found["summary"] = summary_words(found)
    found["reasons"] = list(reasons(found))
    return found


def _shown(
    place: GoingPlace,
    contrast: Contrast,
    source: Source,
    shown: MapOfAnomaly,
    odds: Odds,
    settings: Mapping[str, Any],
) -> dict[str, Any]:
    """Return all of the document that needs no odds."""
    height = settings["plan"]["sensor_height_m"]
    across = expected_curve(source, azimuth_deg=main_azimuth(source), sensor_height_m=height)
    found: dict[str, Any] = {
        "wanted": settings["plan"]["detection"],
        "site": _site(place),
        "middle": {"easting_m": place.easting_m, "northing_m": place.northing_m},
        "body": {name: settings["body"][name] for name in _BODY}
        | {field.name: getattr(source.body, field.name) for field in fields(Body)},
        "susceptibility": contrast.document(),
        "magnetisation": _magnetisation(place, source),
        "plan": odds.plan,
        "anomaly": _anomaly(across, shown, long=strike_counts(source.body)),
        "profiles": _profiles(source, across, odds, height),
        "outline_m": [ring.tolist() for ring in body_outline(source.body)],
    }
    found["anomaly"]["size_low"], found["anomaly"]["size_high"] = odds.sizes
    found["noise"] = _noise(odds, found["anomaly"]["peak_to_trough_nT"])
    found["anomaly"]["text"] = anomaly_words(
        found["anomaly"],
        least_m=0.1 * (source.body.depth_m + height),
        reach_m=min(float(across.distance_m.max()), shown.half_side_m),
    )
    share, strike = (
        share_of_best_strike(source, sensor_height_m=height)
        if strike_counts(source.body)
        else (1.0, source.body.strike_deg)
    )
    found["strike_share"] = round(share, 4)
    found["warnings"] = [*warnings(found, share=share, best_strike=strike)]
    found["assumed"] = [*odds.assumed, *place.notes]
    return found


_BODY = (
    "rock", "depth_factor", "strike_sd_deg", "koenigsberger", "remanence_inclination_deg",
    "remanence_declination_deg",
)  # fmt: skip


def _site(place: GoingPlace) -> dict[str, Any]:
    """Return place and field as plain values."""
    return {
        "latitude_deg": round(place.latitude_deg, 6),
        "longitude_deg": round(place.longitude_deg, 6),
        "total_field_nT": round(place.site.total_field_nT, 1),
        "inclination_deg": round(place.site.inclination_deg, 3),
        "declination_deg": round(place.site.declination_deg, 3),
        "convergence_deg": round(place.convergence_deg, 3),
        "epoch": round(place.epoch, 3),
        "model": place.site.model,
        "area_m2": place.area_m2,
    }


def _magnetisation(place: GoingPlace, source: Source) -> dict[str, float]:
    """Return the magnetisation before demagnetisation, with its direction from true north."""
    induced = induced_magnetisation(source.ambient_nT, susceptibility=source.susceptibility)
    whole = induced + source.remanence_A_m
    north, east, down = whole
    declination = np.degrees(np.arctan2(east, north)) + place.convergence_deg
    return {
        "induced_A_m": float(np.linalg.norm(induced)),
        "remanence_A_m": float(np.linalg.norm(source.remanence_A_m)),
        "total_A_m": float(np.linalg.norm(whole)),
        "inclination_deg": float(np.degrees(np.arctan2(down, np.hypot(north, east)))),
        "declination_deg": float((declination + 180.0) % 360.0 - 180.0),
    }


def _anomaly(across: Curve, shown: MapOfAnomaly, *, long: bool) -> dict[str, Any]:
    """Return the figures of the expected anomaly; of a long body those across its strike."""
    high, low = shown.high_at, shown.low_at
    values = shown.anomaly_nT
    if long:
        high, low = across.place_at(across.high_m), across.place_at(across.low_m)
        values = across.anomaly_nT
    return {
        "peak_to_trough_nT": across.peak_to_trough if long else float(np.ptp(values)),
        "width_m": across.width_m,
        "high_nT": float(values.max()),
        "low_nT": float(values.min()),
        "high_east_m": high[0],
        "high_north_m": high[1],
        "low_east_m": low[0],
        "low_north_m": low[1],
    }


def _noise(odds: Odds, peak_to_trough: float) -> dict[str, Any]:
    """Return the noise of one reading, its parts, and the anomaly's ratio to it."""
    parts, whole = odds.noise_parts, odds.reading_noise
    return {
        **{f"{name}_nT": value for name, value in parts.items()},
        "reading_nT": whole,
        "largest": max(parts, key=lambda name: parts[name]),
        "ratio": peak_to_trough / whole,
    }


def _profiles(
    source: Source, across: Curve, odds: Odds, sensor_height_m: float
) -> list[dict[str, Any]]:
    """Return the profile across the strike, and along the lines where they run elsewhere."""
    curves = [("across the strike" if strike_counts(source.body) else "magnetic north", across)]
    azimuth = odds.plan["line_azimuth_deg"]
    apart = abs((azimuth - across.azimuth_deg + 90.0) % 180.0 - 90.0)
    if apart > 1.0:
        along = expected_curve(source, azimuth_deg=azimuth, sensor_height_m=sensor_height_m)
        curves.append(("along a line", along))
    return [
        {
            "name": name,
            "azimuth_deg": curve.azimuth_deg % 360.0,
            "distance_m": curve.distance_m.round(3).tolist(),
            "anomaly_nT": curve.anomaly_nT.round(5).tolist(),
        }
        for name, curve in curves
    ]
