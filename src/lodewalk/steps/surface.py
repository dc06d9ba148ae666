"""Surface: what the gridding engine needs to be told, chosen by lines that are left out."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from lodewalk.errors import InputError
from lodewalk.methods.gridding.choose_along_strike import (
    AlongStrikeChoice,
    choose_along_strike,
)
from lodewalk.methods.gridding.choose_layer import choose_layer
from lodewalk.methods.gridding.choose_surface import SurfaceChoice, choose_surface
from lodewalk.methods.gridding.interface import ALONG_STRIKE
from lodewalk.records import Document, Record
from lodewalk.steps.context import Context
from lodewalk.steps.gridded import CURVED, LAYER, Used, used_readings
from lodewalk.steps.rows import passage_of_readings, table

#: Damping of a layer that nothing could be left out to choose.
USUAL_DAMPING = 1e-3
#: Fewest readings from which anything can be chosen.
LEAST = 20


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return what was chosen and tried, and how well left-out lines are predicted."""
    method = settings["grid.method"]
    passage = passage_of_readings(inputs)
    used = used_readings(table(inputs, "readings"), passage)
    wanted = settings["grid.tension"], settings["grid.damping_m2"]
    choice = None
    along = None
    if method == ALONG_STRIKE and used.passage.size >= LEAST:
        along = _along_strike(used, wanted, context)
        choice = _plain_of(along)
    elif method in CURVED and None in wanted and used.passage.size >= LEAST:
        choice = _choice(used, context)
    values = _values(choice, used, *wanted) | _strike_values(along)
    if method == LAYER:
        values["layer"] = _layer(used)
    return {"surface": Document(values)}


def _along_strike(
    used: Used, wanted: tuple[float | None, float | None], context: Context
) -> AlongStrikeChoice:
    """Return what left-out lines say of carrying the field along the strike."""
    sd = used.weighing_sd
    return choose_along_strike(
        used.easting_m,
        used.northing_m,
        used.anomaly_nT,
        sd=np.ones(used.passage.size) if sd is None else sd,
        line=used.passage,
        lines=used.line_folds,
        pieces=used.piece_folds,
        line_spacing_m=used.line_spacing_m,
        tension=wanted[0],
        damping_m2=wanted[1],
        each=context.map,
    )


def _plain_of(along: AlongStrikeChoice) -> SurfaceChoice:
    """Return the surface that goes with what is carried along the strike."""
    return SurfaceChoice(
        along.tension,
        along.damping_m2,
        along.tension_length_m,
        along.rms,
        along.judged,
        along.plain_trials,
    )


def _strike_values(along: AlongStrikeChoice | None) -> dict[str, Any]:
    """Return what was chosen along the strike, for print."""
    if along is None:
        return {
            "strength": 0.0,
            "longest_m": None,
            "left_out_plain_rms_nT": None,
            "strike_trials": [],
        }
    return {
        "strength": along.strength,
        "longest_m": along.longest_m,
        "left_out_plain_rms_nT": _rounded(along.plain_rms),
        "strike_trials": [
            {
                "strength": trial.strength,
                "longest_m": trial.longest_m,
                "damping_m2": trial.damping_m2,
                "left_out": trial.left_out,
                "rms_nT": _rounded(trial.rms),
            }
            for trial in along.trials
        ],
    }


def _layer(used: Used) -> dict[str, Any]:
    """Return depth, damping, number and rounds of layers of equivalent sources."""
    between = used.line_spacing_m if used.passage.size else 1.0
    try:
        found = choose_layer(
            used.easting_m,
            used.northing_m,
            used.anomaly_nT,
            sd=used.weighing_sd,
            line=used.passage,
            line_spacing_m=between,
        )
    except InputError as error:
        # One line, or too few readings: a layer a line spacing down, and why nothing was chosen.
        usual = {"depth_m": between, "damping": USUAL_DAMPING, "layers": 1, "rounds": 0}
        return {**usual, "why": error.rule}
    return {
        "depth_m": round(found.depth_m, 3),
        "damping": found.damping,
        "layers": found.layers,
        "rounds": found.rounds,
        "left_out_lines_rms_nT": _rounded(found.rms_lines),
        "left_out_ties_rms_nT": _rounded(found.rms_ties),
        "by_ties": found.by_ties,
        "tried": len(found.trials),
    }


def _rounded(rms: float) -> float | None:
    """Return an rms for print, null where there is none."""
    return round(float(rms), 4) if np.isfinite(rms) else None


def _choice(used: Used, context: Context) -> SurfaceChoice:
    """Return what left-out lines say."""
    places, between = (used.easting_m, used.northing_m), used.line_spacing_m
    sd = used.weighing_sd
    return choose_surface(
        *places,
        used.anomaly_nT,
        sd=np.ones(used.passage.size) if sd is None else sd,
        lines=used.line_folds,
        pieces=used.piece_folds,
        line_spacing_m=between,
        each=context.map,
    )


def _values(
    choice: SurfaceChoice | None, used: Used, tension: float | None, damping_m2: float | None
) -> dict[str, Any]:
    """Return the choice for print; what a setting gives goes before it."""
    between = used.line_spacing_m if used.passage.size else 1.0
    found = choice or SurfaceChoice(0.0, 1e-4 * between**2, between / 4, float("nan"), 0, ())
    return {
        "tension": found.tension if tension is None else tension,
        "damping_m2": found.damping_m2 if damping_m2 is None else damping_m2,
        "tension_length_m": found.tension_length_m,
        "left_out_rms_nT": round(found.rms, 4) if np.isfinite(found.rms) else None,
        "left_out_readings": found.judged,
        "layer": None,
        "trials": [
            {
                "tension": trial.tension,
                "damping_m2": trial.damping_m2,
                "left_out": trial.left_out,
                "rms_nT": round(trial.rms, 4),
            }
            for trial in found.trials
        ],
    }
