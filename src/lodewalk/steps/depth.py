"""Depth: below each pick by every method, the one calibrated answer first."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, cast

import numpy as np
import polars as pl

from lodewalk.errors import InputError
from lodewalk.methods.depth.answer import KINDS, LEAST_PROBABILITY, answer_depth
from lodewalk.methods.depth.euler import clusters, euler_grid
from lodewalk.methods.depth.results import DepthAnswer, DepthRule
from lodewalk.methods.depth.spectral import spectral_depth
from lodewalk.methods.inversion.results import Estimate, Noise, Profile
from lodewalk.methods.inversion.strong import Beyond
from lodewalk.methods.spectral.power import radial_power
from lodewalk.methods.spectral.transforms import gradients, prepare
from lodewalk.records import Document, Grid, GridSet, Record
from lodewalk.records.interpreted import Depths
from lodewalk.steps.bodies import Stand, estimate_columns
from lodewalk.steps.context import Context
from lodewalk.steps.fits import Pick, usable_picks
from lodewalk.steps.rows import document, table
from lodewalk.steps.strong import noted_beyond, wider, without_beyond

ANSWER, FIT = "answer", "fit"
#: Window of Euler's equation in nodes, and places that are told.
WINDOW, PLACES = 10, 12


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the depths at the picks, and what the whole grid says."""
    del settings
    picks = usable_picks(inputs)
    noises = document(inputs, "fit_notes").values["picks"]
    strong = [noted_beyond(noises.get(pick.row["pick"])) for pick in picks]
    answers = _answers(picks, noises, strong, context)
    bodies = {
        row["pick"]: row
        for row in table(inputs, "bodies").frame.iter_rows(named=True)
        if row["pick"] is not None
    }
    rows: list[dict[str, Any]] = []
    for pick, answer, one in zip(picks, answers, strong, strict=True):
        own = _rows(pick, answer, bodies.get(pick.row["pick"]))
        rows += [
            # the fit's own row is wider already
            row if one is None or one.problem or row["method"] == FIT else wider(row, one)
            for row in own
        ]
    rows += _without(inputs, {row["pick"] for row in rows})
    columns = {
        column.name: pl.Series([row.get(column.name) for row in rows], dtype=column.dtype)
        for column in Depths.SCHEMA
    }
    context.check_cancelled()
    notes = {
        "picks": {
            pick.row["pick"]: _note(answer) for pick, answer in zip(picks, answers, strict=True)
        },
        "grid": _of_grid(inputs),
    }
    return {"depths": Depths(pl.DataFrame(columns)), "depth_notes": Document(notes)}


def _answers(
    picks: Sequence[Pick],
    noises: Mapping[str, Any],
    strong: Sequence[Beyond | None],
    context: Context,
) -> list[DepthAnswer]:
    """Return the depths at each pick; where the fit found no body there is none, by its reason."""
    refused = [
        (one.problem if one is not None else "")
        or (noises.get(pick.row["pick"]) or {}).get("problem")
        for pick, one in zip(picks, strong, strict=True)
    ]
    parts = [
        (without_beyond(pick.profile, one), *_found(noises.get(pick.row["pick"])))
        for pick, one, why in zip(picks, strong, refused, strict=True)
        if not why
    ]
    told = iter(context.map(_answer, parts))
    return [DepthAnswer(None, problem=why) if why else next(told) for why in refused]


def _answer(part: tuple[Profile, Noise | None, tuple[str, ...]]) -> DepthAnswer:
    """Return the depths of one profile, over the kinds that the fits left."""
    profile, noise, kinds = part
    return answer_depth(profile, noise=noise, kinds=kinds)


def _found(note: Mapping[str, Any] | None) -> tuple[Noise | None, tuple[str, ...]]:
    """Return the noise that the fits found at a pick, and the kinds that remain."""
    if note is None or not note.get("noise"):
        return None, KINDS
    names = ("scale", "correlated_nT", "length_m")
    shares = note.get("probability") or {}
    remain = tuple(kind for kind in KINDS if shares.get(kind, 0.0) >= LEAST_PROBABILITY)
    return Noise(**{name: note["noise"][name] for name in names}), remain or KINDS


def _rows(
    pick: Pick, answer: DepthAnswer, body: Mapping[str, Any] | None
) -> Iterator[dict[str, Any]]:
    """Yield the rows of a pick: the answer, the fit, the rules."""
    said = answer.problem or "Over the kinds of body that remain, with neighbours."
    first = DepthRule(
        ANSWER, answer.depth, answer.distance_m, answer.index, not answer.problem, said
    )
    yield {**_row(pick, first), "disagreement": _rounded(answer.spread)}
    if body is not None:
        taken = [
            name
            for name in (column.name for column in Depths.SCHEMA)
            if name in body and name != "pick"
        ]
        yield {
            **{name: body[name] for name in taken},
            "pick": pick.row["pick"],
            "method": FIT,
            "valid": body["depth_m"] is not None,
            "reason": f"The body of the fit: {body['kind']}.",
        }
    for rule in answer.rules:
        yield _row(pick, rule)


def _row(pick: Pick, rule: DepthRule) -> dict[str, Any]:
    """Return one method's depth below ground at its place."""
    stand, profile = pick.stand, pick.profile
    at = rule.distance_m if np.isfinite(rule.distance_m) else 0.0
    easting, northing = _place(stand, at)
    rise = float(np.interp(at, profile.distance_m, profile.rise_m))
    below = None if rule.depth is None else stand.below_ground(rule.depth, rise)
    ground = None if stand.ground_m is None else stand.ground_m + rise
    above = below is not None and not below.value > 0.0
    index = rule.index
    told = below is not None and ground is not None and not above
    return {
        "pick": pick.row["pick"],
        "method": rule.method,
        "easting_m": easting,
        "northing_m": northing,
        **estimate_columns("depth", "m", below),
        "top_height_m": ground - below.value if told and below and ground is not None else None,
        "index": None if index is None else index.value,
        "index_sd": None if index is None or not np.isfinite(index.sd) else index.sd,
        "valid": rule.valid and not above,
        "reason": "It comes out above the ground." if above else rule.reason,
    }


def _place(stand: Stand, at_m: float) -> tuple[float, float]:
    """Return the place in plan at a distance along a pick's profile."""
    turn = np.radians(stand.azimuth_deg)
    return (
        stand.easting_m + at_m * float(np.sin(turn)),
        stand.northing_m + at_m * float(np.cos(turn)),
    )


def _without(inputs: Mapping[str, Record], done: set[str]) -> Iterator[dict[str, Any]]:
    """Yield a row for each pick that has no profile to read."""
    for row in table(inputs, "picks").frame.iter_rows(named=True):
        if row["pick"] not in done:
            yield {
                "pick": row["pick"],
                "method": ANSWER,
                "easting_m": row["easting_m"],
                "northing_m": row["northing_m"],
                "valid": False,
                "reason": row["problem"] or "It has no profile.",
            }


def _note(answer: DepthAnswer) -> dict[str, Any]:
    """Return what the answer of a pick rests on: depths below the sensor."""
    return {
        "problem": answer.problem or None,
        "disagreement": _rounded(answer.spread),
        "kinds_below_sensor_m": {kind: _parts(estimate) for kind, estimate in answer.kinds.items()},
    }


def _rounded(value: float) -> float | None:
    """Return a number for a document; what isn't finite is missing."""
    return round(float(value), 4) if np.isfinite(value) else None


def _parts(estimate: Estimate) -> list[float | None]:
    """Return value, standard deviation and ends of the interval."""
    return [_rounded(part) for part in (estimate.value, estimate.sd, estimate.low, estimate.high)]


def _of_grid(inputs: Mapping[str, Record]) -> dict[str, Any]:
    """Return the depths of layers and the places of Euler's equation, from the whole grid."""
    grids = cast("GridSet", inputs["grids"]).grids
    if not grids:
        return {"problem": "There is no grid."}
    grid = grids[0]
    try:
        prepared = prepare(grid.values, grid.spacing_m)
        power = radial_power(prepared)
        share = float(prepared.known.sum()) / float(np.prod(prepared.torus))
        layers = spectral_depth(power.wavenumber, power.power, power.waves, known=share)
        return {"problem": None, "layers": [_layer(rule) for rule in layers], **_euler(grid)}
    except InputError as error:
        return {"problem": str(error)}


def _layer(rule: DepthRule) -> dict[str, Any]:
    """Return a layer's depth below the grid's level."""
    depth = None if rule.depth is None else _parts(rule.depth)
    return {"depth_below_sensor_m": depth, "valid": rule.valid, "reason": rule.reason}


def _euler(grid: Grid) -> dict[str, Any]:
    """Return the places where the windows of Euler's equation agree."""
    slopes = gradients(grid.values, grid.spacing_m)
    window = min(WINDOW, *grid.values.shape)
    found = euler_grid(
        grid.values, east=slopes.east, north=slopes.north, down=slopes.vertical,
        spacing_m=grid.spacing_m, window=window,
    )  # fmt: skip
    places = clusters(found, reach_m=0.5 * window * grid.spacing_m)[:PLACES]
    return {
        "euler_windows": found.windows,
        "euler_with_holes": found.with_holes,
        "euler_refused": found.refused,
        "euler_places": [
            {
                "easting_m": round(grid.west_m + float(place[0]), 2),
                "northing_m": round(grid.south_m + float(place[1]), 2),
                "depth_below_sensor_m": _rounded(float(np.median(found.depth_m[group]))),
                "spread_m": _rounded(float(np.std(found.depth_m[group]))),
                "index": _rounded(float(np.median(found.index[group]))),
                "windows": int(group.size),
            }
            for place, group in places
        ],
    }
