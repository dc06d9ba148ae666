"""Fits: a body at each pick, and one joint body for each lineament."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.inversion.choice import USUAL, fit_profile, noise_rows
from lodewalk.methods.inversion.pooled_noise import pooled_noises
from lodewalk.methods.inversion.results import BodyFit, Noise, Profile, ProfileFit
from lodewalk.methods.inversion.strike_error import mean_azimuth
from lodewalk.records import Document, Record, Table
from lodewalk.records.interpreted import Curves
from lodewalk.steps.bodies import Stand, Under, bodies_table, body_row, under
from lodewalk.steps.context import Context
from lodewalk.steps.fields_beside import fields_beside, on_its_line
from lodewalk.steps.joint_fits import (
    Joint,
    Line,
    Single,
    depths_of,
    fit_together,
    joint_note,
    joint_row,
)
from lodewalk.steps.known_facts import (
    CONTRADICTS,
    Near,
    contradicted,
    facts_note,
    facts_of,
    near_picks,
)
from lodewalk.steps.rows import table

Floats = NDArray[np.float64]
#: Profiles of one lineament that are fitted together, at most, spread evenly along it: more take
#: long and say little more.
MOST_TOGETHER = 12


@dataclass(frozen=True)
class Fitted:
    """What a part of the work returns: the noise of a profile and what it says of the body.

    `used` are the facts from elsewhere that it was held to, `refused` those it contradicts.
    """

    noise: Noise
    found: ProfileFit
    used: tuple[Near, ...] = ()
    refused: tuple[tuple[Near, float], ...] = ()


@dataclass(frozen=True)
class Pick:
    """A pick with its profile and where that stands."""

    row: Mapping[str, Any]
    profile: Profile
    stand: Stand


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the bodies, their curves, and what was found on the way."""
    picks = usable_picks(inputs)
    beside = _neighbours(table(inputs, "picks"), picks)
    facts = facts_of(table(inputs, "known_recorded").frame, crs=settings["survey.crs"])
    known = near_picks(facts, [(pick.row, pick.stand) for pick in picks])
    profiles = [pick.profile for pick in picks]
    noises = _noises(picks, context.map(noise_rows, profiles))
    fitted = context.map(_fit_part, list(zip(profiles, beside, noises, known, strict=True)))
    context.check_cancelled()
    good, lines, joints = _joined(picks, fitted, context)
    named = {line.name: joint for (line, _), joint in zip(lines, joints, strict=True)}
    fields = fields_beside(table(inputs, "picks"), good, named, picks)
    again = {k: (picks[k], fitted[k], one) for k, one in enumerate(fields) if one is not None}
    if again:
        more = context.map(_fit_beside, list(again.values()))
        context.check_cancelled()
        for k, found in zip(again, more, strict=True):
            fitted[k] = found
        good, lines, joints = _joined(picks, fitted, context)
    field = under(inputs, settings) if good else None
    rows: list[dict[str, Any]] = []
    curves = [Curves.empty().frame]
    for pick, one in good:
        assert field is not None
        rows.append(pick_body(pick, one.found, field))
        curves.append(curve_rows(pick, one.found.fits[0]))
    strikes = {
        line.name: mean_azimuth([pick.stand.azimuth_deg - 90.0 for pick in own])
        for line, own in lines
    }
    for (line, own), joint in zip(lines, joints, strict=True):
        if field is not None and not joint.problem:
            stands = [pick.stand for pick in own]
            rows.append(joint_row(line, joint, stands, strikes[line.name], field))
    notes = {
        "picks": {
            str(pick.row["pick"]): _note(one) for pick, one in zip(picks, fitted, strict=True)
        },
        "facts": facts_note(
            facts,
            [str(pick.row["pick"]) for pick in picks],
            [one.used for one in fitted],
            [one.refused for one in fitted],
        ),
        "lineaments": {
            line.name: joint_note(joint) for (line, _), joint in zip(lines, joints, strict=True)
        },
    }
    return {
        "bodies": bodies_table(rows),
        "curves": Curves(pl.concat(curves, how="diagonal")),
        "fit_notes": Document(notes),
    }


def _joined(
    picks: list[Pick], fitted: list[Fitted], context: Context
) -> tuple[list[tuple[Pick, Fitted]], list[tuple[Line, list[Pick]]], list[Joint]]:
    """Return the picks with a body, and their lineaments with what each is together."""
    good = [(pick, one) for pick, one in zip(picks, fitted, strict=True) if not one.found.problem]
    lines = [(line, own) for line, own in _lineaments(good) if len(own) > 1]
    return good, lines, list(context.map(fit_together, [line for line, _ in lines]))


def _fit_beside(part: tuple[Pick, Fitted, Floats]) -> Fitted:
    """Return what a profile says of its body, the field of other lineaments taken off.

    Its amplitude is left open besides, as that is known from other places only.
    """
    pick, first, field = part
    profile = replace(pick.profile, anomaly_nT=pick.profile.anomaly_nT - field)
    told = [one.constraint for one in first.used]
    found = fit_profile(profile, noise=first.noise, constraints=told, regional=field[None, :])
    fits = tuple(
        replace(fit, **{n: getattr(fit, n) + field for n in ("model_nT", "low_nT", "high_nT")})
        for fit in found.fits
    )
    return replace(first, found=replace(found, fits=fits))


def _lineaments(good: list[tuple[Pick, Fitted]]) -> list[tuple[Line, list[Pick]]]:
    """Return the lineaments with a strike, each with its fitted profiles in order along it."""
    names = dict.fromkeys(str(p.row["lineament"]) for p, _ in good if p.row["lineament"])
    found = []
    for name in names:
        own = [(pick, one) for pick, one in good if pick.row["lineament"] == name]
        own = in_order(own)
        every = np.linspace(0, len(own) - 1, min(len(own), MOST_TOGETHER)).round().astype(int)
        line = Line(
            name,
            tuple(_single(pick, one.found) for pick, one in own),
            tuple(own[place][0].profile for place in every),
            tuple(own[place][1].noise for place in every),
        )
        found.append((line, [pick for pick, _ in own]))
    return found


def _single(pick: Pick, found: ProfileFit) -> Single:
    """Return what one profile says of its body, the depth below the ground there."""
    stand, profile, own = pick.stand, pick.profile, found.fits[0].estimates
    rise = float(np.interp(own["position_m"].value, profile.distance_m, profile.rise_m))
    ground = np.nan if stand.ground_m is None else stand.ground_m + rise
    depths, alone = (
        {kind: (depth - stand.sensor_height_m + rise, part) for kind, (depth, part) in one.items()}
        for one in depths_of(found)
    )
    return Single(
        found.fits[0].kind,
        depths,
        alone,
        stand.sensor_height_m - rise,
        ground,
        own["index_angle_deg"],
        own["position_m"],
        dict(found.probability),
    )


def in_order(own: Sequence[tuple[Pick, Fitted]]) -> list[tuple[Pick, Fitted]]:
    """Return the picks of a lineament in order along one strike: their own ones don't compare."""
    along = own[len(own) // 2][0].stand.along
    places = [along(pick.stand.easting_m, pick.stand.northing_m) for pick, _ in own]
    return [own[row] for row in np.argsort(places, kind="stable")]


def _noises(picks: list[Pick], rows: Sequence[Floats]) -> list[Noise]:
    """Return the noise of each pick's profile, told together for each lineament.

    What its neighbours leave over along it is much the same, and unlike that elsewhere.
    """
    own: dict[str, list[int]] = {}
    for place, pick in enumerate(picks):
        own.setdefault(str(pick.row["lineament"] or ""), []).append(place)
    found = {
        place: noise
        for places in own.values()
        for place, noise in zip(
            places,
            pooled_noises([picks[k].profile for k in places], [rows[k] for k in places]),
            strict=True,
        )
    }
    return [found[place] for place in range(len(picks))]


def _fit_part(
    part: tuple[Profile, tuple[float, ...], Noise, tuple[Near, ...]],
) -> Fitted:
    """Return what a profile says of its body; neighbours inside it are fitted along.

    Facts from elsewhere hold unless the readings alone contradict them.
    """
    profile, beside, noise, near = part
    found = fit_profile(profile, noise=noise, neighbours=beside or None)
    off = [(one, contradicted(one, found)) for one in near]
    refused = tuple((one, by) for one, by in off if by > CONTRADICTS)
    used = tuple(one for one, by in off if by <= CONTRADICTS)
    if used:
        told = [one.constraint for one in used]
        found = fit_profile(profile, noise=noise, constraints=told, neighbours=beside or None)
    return Fitted(noise, found, used, refused)


def fit_one(profile: Profile, *, kinds: Sequence[str] = USUAL) -> Fitted:
    """Return the noise that one profile shows by itself and what it says of the body under it."""
    noise = pooled_noises([profile], [noise_rows(profile)])[0]
    return Fitted(noise, fit_profile(profile, kinds=kinds))


def _neighbours(every: Table, picks: list[Pick]) -> list[tuple[float, ...]]:
    """Return for each pick the places of other lineaments' picks inside its profile [m]."""
    rows = every.frame.filter(pl.col("problem").is_null() | (pl.col("readings") > 0))
    found = []
    for pick in picks:
        others = on_its_line(rows, pick)
        at = pick.profile.distance_m
        away = pick.stand.across(others["easting_m"].to_numpy(), others["northing_m"].to_numpy())
        inside = away[(away > at[0]) & (away < at[-1])]
        found.append(tuple(float(place) for place in np.sort(inside)))
    return found


def usable_picks(inputs: Mapping[str, Record]) -> list[Pick]:
    """Return the picks without a problem, each with its profile."""
    profiles = table(inputs, "profiles").frame.partition_by("pick", as_dict=True)
    return [
        pick_of(row, profiles[row["pick"],])
        for row in table(inputs, "picks").frame.iter_rows(named=True)
        if row["problem"] is None and (row["pick"],) in profiles
    ]


def pick_of(row: Mapping[str, Any], own: pl.DataFrame) -> Pick:
    """Return a pick with its profile and where that stands."""
    stand = Stand(
        row["easting_m"],
        row["northing_m"],
        row["azimuth_deg"],
        row["sensor_height_m"],
        row["ground_m"],
        row["strike_sd_deg"],
        row["crossing_deg"],
        row["sensor_sd_m"],
    )
    return Pick(row, profile_of(own), stand)


def profile_of(frame: pl.DataFrame) -> Profile:
    """Return the readings of one profile as arrays."""
    arrays = [frame[name].to_numpy() for name in ("distance_m", "anomaly_nT", "rise_m", "sd_nT")]
    distance, anomaly, rise, own = arrays
    known = "place_nT" in frame.columns
    place = frame["place_nT"].to_numpy() if known else np.zeros(0)
    sd = frame["place_sd_m"].mean() if "place_sd_m" in frame.columns else None
    place_sd = sd if isinstance(sd, float) else 0.0
    return Profile(distance, anomaly, rise, own, place_nT=place, place_sd_m=place_sd)


def pick_body(pick: Pick, found: ProfileFit, field: Under) -> dict[str, Any]:
    """Return the body of a pick as a row."""
    best = found.fits[0]
    about = {
        "body": pick.row["pick"],
        "pick": pick.row["pick"],
        "lineament": pick.row["lineament"],
        "probability": found.probability[best.kind],
        "decidable": found.decidable,
        "profiles": 1,
    }
    return body_row(about, best, pick.profile, pick.stand, field, depth=found.depth)


def curve_rows(pick: Pick, fit: BodyFit) -> pl.DataFrame:
    """Return the curve of a body at the readings of its pick."""
    at = pick.profile.distance_m
    frame = {
        "pick": [pick.row["pick"]] * at.size,
        "body": [pick.row["pick"]] * at.size,
        "distance_m": at,
        "model_nT": fit.model_nT,
        "low_nT": fit.low_nT,
        "high_nT": fit.high_nT,
    }
    level, slope = (fit.estimates.get(name) for name in ("level_nT", "slope_nT_m"))
    if level is not None and slope is not None:
        frame["regional_nT"] = level.value + slope.value * at
    return pl.DataFrame(frame)


def _note(one: Fitted) -> dict[str, Any]:
    """Return what was found at one pick besides the body."""
    found, noise = one.found, one.noise
    return {
        "problem": found.problem or None,
        "probability": {kind: round(p, 6) for kind, p in found.probability.items()},
        "depth_below_sensor_m": {
            fit.kind: [
                round(getattr(fit.estimates["depth_m"], part), 4)
                for part in ("value", "sd", "low", "high")
            ]
            for fit in found.fits
            if all(np.isfinite(vars(fit.estimates["depth_m"])[p]) for p in ("low", "high", "sd"))
        },
        "noise": {
            "scale": round(noise.scale, 4),
            "correlated_nT": round(noise.correlated_nT, 4),
            "length_m": round(noise.length_m, 3),
        },
        "facts": [near.fact.words for near in one.used],
    }
