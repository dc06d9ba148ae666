"""Fits: a body at each pick, and one joint body for each lineament."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.inversion.choice import USUAL, fit_profile, noise_rows
from lodewalk.methods.inversion.place_regional import curved
from lodewalk.methods.inversion.pooled_noise import pooled_noises
from lodewalk.methods.inversion.results import BodyFit, Noise, Profile, ProfileFit
from lodewalk.methods.inversion.shared_width import Said
from lodewalk.methods.inversion.strike_error import mean_azimuth
from lodewalk.methods.inversion.strong import STRONG, anomaly_share
from lodewalk.records import Document, Record, Table
from lodewalk.records.interpreted import Curves
from lodewalk.steps.bodies import Stand, bodies_table, body_row, stand_of
from lodewalk.steps.context import Context
from lodewalk.steps.fields_beside import FieldBeside, fields_beside, on_its_line
from lodewalk.steps.joint_fits import Joint, Line, fit_together, joint_note, joint_row
from lodewalk.steps.known_facts import (
    CONTRADICTS,
    Near,
    contradicted,
    facts_note,
    facts_of,
    near_picks,
)
from lodewalk.steps.rows import table
from lodewalk.steps.strong import (
    Field,
    add_words,
    beyond_note,
    beyond_of,
    measured,
    said_of,
    told_beyond,
    without_beyond,
)

Floats = NDArray[np.float64]


#: Error of a receiver's height, in errors of its place on one axis (common practice).
HEIGHT_ERROR = 1.5
#: Why a body that comes out above the ground is not told.
ABOVE = (
    "Its top comes out above the ground: iron at the surface, a wrong height of the sensor, or "
    "several bodies taken for one."
)


@dataclass(frozen=True)
class Fitted:
    """What a part of the work returns: the noise of a profile and what it says of the body.

    `used` are the facts from elsewhere that it was held to, `refused` those it contradicts;
    `plain` is what it says without them,
    `beside` the field of other bodies that was taken off.
    """

    noise: Noise
    found: ProfileFit
    used: tuple[Near, ...] = ()
    refused: tuple[tuple[Near, float], ...] = ()
    plain: ProfileFit | None = None
    beside: FieldBeside | None = None


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
    strong = beyond_of(
        inputs, [(p.profile, p.stand.azimuth_deg) for p in picks], crs=settings["survey.crs"],
        context=context,
    )  # fmt: skip
    beyond = dict(zip((str(pick.row["pick"]) for pick in picks), strong, strict=True))
    picks = [
        replace(pick, profile=without_beyond(pick.profile, one))
        for pick, one in zip(picks, strong, strict=True)
    ]
    beside = _neighbours(table(inputs, "picks"), picks)
    facts = facts_of(table(inputs, "known_recorded").frame, crs=settings["survey.crs"])
    known = near_picks(facts, [(pick.row, pick.stand) for pick in picks])
    profiles = [pick.profile for pick in picks]
    noises = _noises(picks, context.map(noise_rows, profiles))
    fitted = context.map(_fit_part, list(zip(profiles, beside, noises, known, strict=True)))
    fitted = [replace(f, found=measured(f.found, b)) for f, b in zip(fitted, strong, strict=True)]
    context.check_cancelled()
    good, lines, joints = _joined(picks, fitted, context)
    named = {line.name: joint for (line, _), joint in zip(lines, joints, strict=True)}
    fields = fields_beside(table(inputs, "picks"), good, named, picks)
    again = {k: (picks[k], fitted[k], one) for k, one in enumerate(fields) if one is not None}
    if again:
        more = context.map(_fit_beside, list(again.values()))
        context.check_cancelled()
        for k, found in zip(again, more, strict=True):
            fitted[k] = replace(found, found=measured(found.found, strong[k]))
        good, lines, joints = _joined(picks, fitted, context)
    rows: list[dict[str, Any]] = []
    curves = [Curves.empty().frame]
    for pick, one in good:
        rows.append(pick_body(pick, one.found))
        curves.append(curve_rows(pick, one.found.fits[0]))
    strikes = {
        line.name: mean_azimuth([pick.stand.azimuth_deg - 90.0 for pick in own])
        for line, own in lines
    }
    for (line, own), joint in zip(lines, joints, strict=True):
        if not joint.problem:
            stands = [pick.stand for pick in own]
            row = joint_row(line, joint, stands, strikes[line.name])
            rows.append(add_words(row, said_of([beyond[str(pick.row["pick"])] for pick in own])))
    notes = {
        "picks": {
            str(pick.row["pick"]): _note(one) | beyond_note(beyond[str(pick.row["pick"])])
            for pick, one in zip(picks, fitted, strict=True)
        },
        "facts": facts_note(
            facts,
            [str(pick.row["pick"]) for pick in picks],
            [one.used for one in fitted],
            [one.refused for one in fitted],
        ),
        "lineaments": {
            line.name: joint_note(line, joint)
            for (line, _), joint in zip(lines, joints, strict=True)
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
    fitted[:] = [in_the_ground(pick, one) for pick, one in zip(picks, fitted, strict=True)]
    good = [(pick, one) for pick, one in zip(picks, fitted, strict=True) if not one.found.problem]
    lines = [(line, own) for line, own in _lineaments(good) if len(own) > 1]
    return good, lines, list(context.map(fit_together, [line for line, _ in lines]))


def in_the_ground(pick: Pick, one: Fitted) -> Fitted:
    """Return what a profile says, or why it says nothing: a body above the ground is none."""
    if one.found.problem or not one.found.fits:
        return one
    if pick_body(pick, one.found)["depth_m"] > 0.0:
        return one
    return replace(one, found=replace(one.found, problem=ABOVE))


def _fit_beside(part: tuple[Pick, Fitted, FieldBeside]) -> Fitted:
    """Return what a profile says of its body, the field of other lineaments taken off.

    How far that field may be off counts as an error that all readings share.
    """
    pick, first, beside = part
    field, off = beside.field, np.vstack([beside.off, curved(pick.profile)])
    profile = replace(pick.profile, anomaly_nT=pick.profile.anomaly_nT - field)
    told = [one.constraint for one in first.used]
    plain = fit_profile(profile, noise=first.noise, off=off)
    held = fit_profile(profile, noise=first.noise, off=off, constraints=told) if told else plain
    fits = tuple(
        replace(fit, **{n: getattr(fit, n) + field for n in ("model_nT", "low_nT", "high_nT")})
        for fit in held.fits
    )
    return replace(first, found=replace(held, fits=fits), plain=plain, beside=beside)


def _lineaments(good: list[tuple[Pick, Fitted]]) -> list[tuple[Line, list[Pick]]]:
    """Return the lineaments with a strike, each with its fitted profiles in order along it."""
    names = dict.fromkeys(str(p.row["lineament"]) for p, _ in good if p.row["lineament"])
    found = []
    for name in names:
        own = in_order([(pick, one) for pick, one in good if pick.row["lineament"] == name])
        best = [one.found.fits[0] for _, one in own]
        line = Line(
            name,
            tuple(_said(pick, one, told) for pick, one, told in once(own)),
            tuple(fit.estimates["position_m"] for fit in best),
            (float(sum(fit.cost for fit in best)), sum(fit.freedom for fit in best)),
        )
        found.append((line, [pick for pick, _ in own]))
    return found


def once(own: Sequence[tuple[Pick, Fitted]]) -> Iterator[tuple[Pick, Fitted, ProfileFit]]:
    """Yield what each profile says, every fact from elsewhere at the nearest profile alone.

    The profiles are taken together: a fact in each would count so many times.
    """
    nearest: dict[int, tuple[float, str]] = {}
    for pick, one in own:
        for near in one.used:
            here = (near.along_m, str(pick.row["pick"]))
            nearest[near.fact.row] = min(nearest.get(near.fact.row, here), here)
    places = {name for _, name in nearest.values()}
    for pick, one in own:
        free = one.plain if one.used and one.plain and not one.plain.problem else None
        kept = free is None or str(pick.row["pick"]) in places
        yield pick, one, one.found if kept or free is None else free


def _said(pick: Pick, one: Fitted, told: ProfileFit) -> Said:
    """Return what a profile says of its body, with the heights there."""
    stand, profile = pick.stand, pick.profile
    place = one.found.fits[0].estimates["position_m"].value
    rise = float(np.interp(place, profile.distance_m, profile.rise_m))
    ground = np.nan if stand.ground_m is None else stand.ground_m + rise
    shared = {}
    if one.beside is not None:
        parts = zip(one.beside.names, one.beside.common, told.response, strict=False)
        shared = {name: (part * row[0], part * row[1]) for name, part, row in parts}
    unsure = HEIGHT_ERROR * profile.place_sd_m
    return Said(told.widths, stand.sensor_height_m - rise, ground, shared, unsure)


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
    used, plain = tuple(one for one, by in off if by <= CONTRADICTS), found
    if used:
        told = [one.constraint for one in used]
        found = fit_profile(profile, noise=noise, constraints=told, neighbours=beside or None)
    return Fitted(noise, found, used, refused, plain)


def fit_one(
    profile: Profile, *, kinds: Sequence[str] = USUAL, field: Field, azimuth_deg: float
) -> Fitted:
    """Return what one profile says of the body under it, and its likeliest noise."""
    strong = anomaly_share(profile, field.strength_nT) > STRONG
    beyond = told_beyond((profile, azimuth_deg, field)) if strong else None
    found = fit_profile(without_beyond(profile, beyond), kinds=kinds)
    return Fitted(found.noise or Noise(), measured(found, beyond))


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
    return Pick(row, profile_of(own), stand_of(row))


def profile_of(frame: pl.DataFrame) -> Profile:
    """Return the readings of one profile as arrays."""
    arrays = [frame[name].to_numpy() for name in ("distance_m", "anomaly_nT", "rise_m", "sd_nT")]
    distance, anomaly, rise, own = arrays
    known = "place_nT" in frame.columns
    place = frame["place_nT"].to_numpy() if known else np.zeros(0)
    sd = frame["place_sd_m"].mean() if "place_sd_m" in frame.columns else None
    place_sd = sd if isinstance(sd, float) else 0.0
    return Profile(distance, anomaly, rise, own, place_nT=place, place_sd_m=place_sd)


def pick_body(pick: Pick, found: ProfileFit) -> dict[str, Any]:
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
    return body_row(about, best, pick.profile, pick.stand, depth=found.depth)


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
