"""Surface: tension and damping of the grid, chosen by lines that are left out."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.methods.gridding.choose_surface import SurfaceChoice, choose_surface
from lodewalk.methods.gridding.line_folds import line_folds
from lodewalk.methods.gridding.piece_folds import piece_folds
from lodewalk.records import Document, Record
from lodewalk.steps.context import Context
from lodewalk.steps.gridded import Used, used_readings
from lodewalk.steps.rows import table

#: Fewest readings from which anything can be chosen.
LEAST = 20


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return tension and damping with what was tried, and how well left-out lines are predicted."""
    del context
    passage = table(inputs, "rover_lines").frame["passage"].fill_null(-1).to_numpy()
    used = used_readings(table(inputs, "readings"), passage)
    wanted = settings["grid.tension"], settings["grid.damping_m2"]
    choice = None
    if settings["grid.method"] == "minimum curvature" and None in wanted:
        choice = _choice(used) if used.passage.size >= LEAST else None
    return {"surface": Document(_values(choice, used, *wanted))}


def _choice(used: Used) -> SurfaceChoice:
    """Return what left-out lines say."""
    places, between = (used.easting_m, used.northing_m), used.line_spacing_m
    sd = used.weighing_sd
    return choose_surface(
        *places,
        used.anomaly_nT,
        sd=np.ones(used.passage.size) if sd is None else sd,
        lines=_lines(used, between),
        pieces=piece_folds(*places, used.passage, length_m=between),
        line_spacing_m=between,
    )


def _lines(used: Used, between: float) -> NDArray[np.int64]:
    """Return the fold of each reading's line; none can be left out of very few lines."""
    try:
        return line_folds(used.easting_m, used.northing_m, used.passage, line_spacing_m=between)
    except InputError:
        return np.full(used.passage.size, -1)


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
