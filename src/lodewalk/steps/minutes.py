"""Minutes: how far the diurnal correction can be wrong, minute by minute, at each base."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.checks.minutes import Minutes as Judged
from lodewalk.methods.checks.minutes import minute_verdicts, needed_tolerance
from lodewalk.records import Record
from lodewalk.records.products import Minutes
from lodewalk.records.table import float_column, utc_column
from lodewalk.steps.bases import Base, usable_bases
from lodewalk.steps.context import Context
from lodewalk.steps.rows import own_value, table

Floats = NDArray[np.float64]
AXES = ("easting", "northing")
#: A base that is silent for longer than this was taken down [s].
NIGHT_S = 4 * 3600.0
WEEK_S = 7 * 86_400.0
#: The default of the tolerance in standard deviations of the correction.
BEARABLE_SD = 2.0


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the verdict on each minute that a base recorded in, or that a rover walked in."""
    tolerance = bearable_error(settings["tolerances"])
    frames = []
    rover_s = table(inputs, "rover_times").seconds("time_utc")
    bases = usable_bases(inputs, context.decisions)
    for base in bases:
        distance = _distance(inputs, settings, base.name)
        for part in _sessions(base, _while_there(rover_s, base, bases)):
            judged = minute_verdicts(
                base.seconds,
                base.field_nT,
                tolerance_nT=tolerance,
                base_noise_nT=base.noise_nT,
                max_gap_s=settings["diurnal"]["max_gap_s"],
                start_s=part[0],
                end_s=part[1],
                distance_m=distance,
                scale_km=settings["diurnal"]["scale_km"],
            )
            frames.append(_frame(base.name, judged))
            context.check_cancelled()
    minutes = Minutes(pl.concat(frames)) if frames else Minutes.empty()
    return {"base_minutes": minutes}


def _while_there(rover_s: Floats, base: Base, bases: list[Base]) -> Floats:
    """Return the times of the rover while a base stood at this place, all if it never moved."""
    start_s, end_s = -np.inf, np.inf
    for other in bases:
        if other.name == base.name and other.place < base.place:
            start_s = float(base.seconds[0])
        if other.name == base.name and other.place > base.place:
            end_s = min(end_s, float(other.seconds[0]))
    with np.errstate(invalid="ignore"):
        return rover_s[(rover_s >= start_s) & (rover_s < end_s)]


def bearable_error(tolerances: Mapping[str, Any]) -> float:
    """Return the error of the diurnal correction that the survey can bear.

    Examples
    --------
    >>> usual = {"diurnal_nT": None, "smallest_anomaly_nT": 20.0, "diurnal_share": 0.1}
    >>> bearable_error(usual | {"diurnal_sd_nT": 1.0})
    2.0
    """
    wanted, smallest = tolerances["diurnal_nT"], tolerances["smallest_anomaly_nT"]
    if wanted is None and smallest is None:
        return BEARABLE_SD * float(tolerances["diurnal_sd_nT"])
    if wanted is not None:
        return float(wanted)
    return needed_tolerance(smallest_anomaly_nT=smallest, share=tolerances["diurnal_share"])


def _sessions(base: Base, rover_s: Floats) -> list[tuple[float, float]]:
    """Return the spans to judge: each day's record, and the rover's day where it is longer.

    A record that goes on through the nights is parted by weeks.
    """
    times = np.sort(np.concatenate([base.seconds, rover_s[np.isfinite(rover_s)]]))
    cuts = np.flatnonzero(np.diff(times) > NIGHT_S) + 1
    ends = [(float(part[0]), float(part[-1])) for part in np.split(times, cuts) if part.size > 1]
    return [part for start, end in ends for part in _weeks(start, end)]


def _weeks(start_s: float, end_s: float) -> list[tuple[float, float]]:
    """Return a span in parts of a week at most, cut at whole minutes.

    Examples
    --------
    >>> _weeks(30.0, 700_000.0)
    [(30.0, 604800.0), (604800.0, 700000.0)]
    """
    inner = np.arange((start_s // WEEK_S + 1) * WEEK_S, end_s, WEEK_S).tolist()
    return list(zip([start_s, *inner], [*inner, end_s], strict=True))


def _distance(inputs: Mapping[str, Record], settings: Mapping[str, Any], base: str) -> float:
    """Return how far the farthest readings usually lie from a base, 0 where it isn't known [m]."""
    place = [own_value(settings[f"instruments.*.{name}_m"], base) for name in AXES]
    if None in place:
        return 0.0
    positions = table(inputs, "rover_positions")
    away = np.hypot(
        positions.floats("easting_m") - place[0], positions.floats("northing_m") - place[1]
    )
    known = away[np.isfinite(away)]
    return float(np.percentile(known, 95)) if known.size else 0.0


def _frame(base: str, judged: Judged) -> pl.DataFrame:
    """Return the minutes of one base as a frame."""
    return pl.DataFrame(
        {
            "instrument": pl.Series([base] * judged.start_s.size, dtype=pl.String),
            "start_utc": utc_column(judged.start_s),
            "sd_nT": float_column(judged.sd_nT),
            "worst_nT": float_column(judged.worst_95_nT),
            "chance": float_column(judged.chance_over),
            "verdict": pl.Series(judged.verdict.tolist(), dtype=pl.String),
        }
    )
