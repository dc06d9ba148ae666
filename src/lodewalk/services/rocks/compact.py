"""A compact body fitted to the readings around a place, as a person asks for it."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
import polars as pl

from lodewalk.errors import InputError
from lodewalk.methods.inversion.compact import CompactFit, fit_compact
from lodewalk.methods.inversion.results import Estimate
from lodewalk.services.rocks.rows import frame_of
from lodewalk.services.rocks.stopping import unless_cancelled
from lodewalk.steps.across import NEEDS, NEEDS_SET, UNKNOWN_HEIGHT, sensor_sd, walked
from lodewalk.steps.bodies import FIELD_NEEDS, below_ground
from lodewalk.steps.context import Reporter
from lodewalk.steps.site_field import ambient_on_grid, grid_turn
from lodewalk.survey.folder import Folder
from lodewalk.survey.run import run
from lodewalk.survey.settings import picked
from lodewalk.survey.store import read_product
from lodewalk.validation import FloatArray

#: A cone wider than this tells no direction (as `magnetisation_direction`).
LARGEST_CONE_DEG = 15.0


@dataclass(frozen=True)
class Interval:
    """A value with the ends of its 90 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class CompactResult:
    """A compact body: its centre, moment and direction of magnetisation.

    The depth is that of the centre below ground, nulls stand where it can't be told. The direction
    counts from true north; without one, `direction_problem` says why. `off_field_deg` is its
    angle from the field's direction: beyond the cone the body holds remanence.
    """

    readings: int
    reach_m: float
    easting_m: Interval
    northing_m: Interval
    depth_m: Interval
    moment_A_m2: Interval
    inclination_deg: float | None
    declination_deg: float | None
    cone_deg: float
    off_field_deg: float
    direction_problem: str
    misfit: float


def fit_spot(
    folder: Folder,
    *,
    easting_m: float,
    northing_m: float,
    reach_m: float,
    workers: int = 2,
    reporter: Reporter | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> CompactResult:
    """Fit a compact body to the kept readings in a square around a place.

    Parameters
    ----------
    folder : Folder
        The survey.
    easting_m, northing_m : float
        Middle of the square, in the survey's CRS [m].
    reach_m : float
        Half its side [m]: about three times the depth.
    workers, reporter, cancelled
        As for a run.

    Returns
    -------
    CompactResult
        With 90 % intervals.

    Raises
    ------
    InputError
        For a reach that isn't above zero, and readings that can't hold a compact body: too few,
        flat, cut by the edge, another body among them, a long body, or one too weak.

    Notes
    -----
    Errors are the readings' own, independent of each other; what is left over more than noise
    gives widens the intervals. Nothing is kept.
    """
    if not 0.0 < reach_m < np.inf:
        raise InputError("The reach must be above zero.", value=reach_m)
    for step in ("readings", "culture"):
        run(folder, to=step, workers=workers, reporter=reporter, cancelled=cancelled)
    inputs = {name: read_product(folder, name) for name in {*NEEDS, *FIELD_NEEDS}}
    lines = walked(inputs, picked(folder.settings, NEEDS_SET))
    own = _readings(folder, easting_m, northing_m, reach_m)
    if not own.height:
        raise InputError(
            "No kept reading lies there.",
            value=f"{easting_m:g} E {northing_m:g} N",
            remedy="Give easting and northing in the survey's CRS.",
        )
    ambient = ambient_on_grid(inputs, folder.settings.survey.crs)
    work = partial(
        fit_compact,
        *(own[name].to_numpy() for name in ("easting_m", "northing_m", "height_m", "anomaly_nT")),
        ambient_nT=ambient,
        sd_nT=own["sd_nT"].to_numpy(),
    )
    found = unless_cancelled(work, cancelled)
    if found.problem:
        raise InputError(found.problem, remedy="Give another place, or another reach.")
    above = own["height_above_ground_m"].median()
    sd = sensor_sd(lines, own["row"].to_numpy())
    if not isinstance(above, float) or sd is None:
        raise InputError(UNKNOWN_HEIGHT, remedy="Set sensor_height_m of the instrument.")
    depth = below_ground(found.estimates["depth_m"], above, sd_m=sd)
    turn = grid_turn(inputs, folder.settings.survey.crs)
    return _result(found, own.height, reach_m, depth, ambient, turn)


def _readings(folder: Folder, east: float, north: float, reach: float) -> pl.DataFrame:
    """Return the kept readings of the square, with their smoothed heights."""
    heights = frame_of(folder, "rover_heights").select("height_m")
    return (
        frame_of(folder, "readings")
        .hstack(heights)
        .with_row_index("row")
        .filter(
            pl.col("kept"),
            (pl.col("easting_m") - east).abs() <= reach,
            (pl.col("northing_m") - north).abs() <= reach,
            *(pl.col(name).is_finite() for name in ("anomaly_nT", "sd_nT", "height_m")),
        )
    )


def _result(
    found: CompactFit,
    count: int,
    reach_m: float,
    depth: Estimate,
    ambient: FloatArray,
    turn_deg: float,
) -> CompactResult:
    """Return the fit as it is told: depths below ground, a direction where its cone is narrow."""
    own = found.estimates
    unit = found.moment / np.linalg.norm(found.moment)
    field = ambient / np.linalg.norm(ambient)
    told = found.cone_deg <= LARGEST_CONE_DEG
    return CompactResult(
        count,
        reach_m,
        _interval(own["easting_m"]),
        _interval(own["northing_m"]),
        _interval(depth),
        _interval(own["moment_A_m2"]),
        own["inclination_deg"].value if told else None,
        (own["declination_deg"].value + turn_deg + 180.0) % 360.0 - 180.0 if told else None,
        found.cone_deg,
        float(np.degrees(np.arccos(np.clip(unit @ field, -1.0, 1.0)))),
        "" if told else f"The cone of its direction is {found.cone_deg:.0f} degrees wide.",
        found.misfit,
    )


def _interval(told: Estimate) -> Interval:
    """Return an estimate as value and interval."""
    return Interval(told.value, told.low, told.high)
