"""A body fitted to a profile of the grid between two points; nothing is kept."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import polars as pl

from lodewalk.errors import InputError
from lodewalk.methods.inversion.choice import USUAL, fit_profile
from lodewalk.methods.inversion.grid_profile import GridProfile, grid_profile
from lodewalk.methods.inversion.line_gradient import LineGradient
from lodewalk.methods.inversion.picking import LEAST_ANGLE_DEG, angle_between_deg, taken
from lodewalk.methods.inversion.results import Noise
from lodewalk.records import Grid, GridSet
from lodewalk.services.decide_places import check_azimuth, check_finite
from lodewalk.services.rocks.along import NAME, Hear, check_figure, check_kind, draw, kinds_of
from lodewalk.services.rocks.fit import Body
from lodewalk.services.rocks.kinds import Kind
from lodewalk.services.rocks.rows import filled
from lodewalk.services.rocks.stopping import unless_cancelled
from lodewalk.steps.across import NEEDS, NEEDS_SET, UNKNOWN_HEIGHT, Walked, sensor_sd, walked
from lodewalk.steps.bodies import FIELD_NEEDS
from lodewalk.steps.context import Reporter
from lodewalk.steps.dips import DIP_SETTINGS, dip_row, under
from lodewalk.steps.fits import Fitted, Pick, pick_body, pick_of
from lodewalk.steps.grid import NAME as GRID
from lodewalk.steps.picks import STATED_SD_DEG
from lodewalk.survey.folder import Folder
from lodewalk.survey.run import run
from lodewalk.survey.settings import picked
from lodewalk.survey.store import read_product

#: Length over which errors of the grid go together [line spacings]: half way between lines, where
#: one of them pins the grid, their correlation is 1 / e.
ERROR_LENGTH = 0.5
#: Independent part of the grid's error, as a share of it: nodes beside each other share the rest.
OWN = 0.1
RESTS = (
    "It rests on the grid and not on readings: the map is smooth between lines, and its error is "
    "in the intervals."
)


@dataclass(frozen=True)
class BetweenResult:
    """A body fitted to the grid between two points.

    `grid_sd_nT` is the root mean square of the map's standard error along the profile, which nodes
    share over `error_length_m`; `kinds` are those tried, the most probable first.
    """

    from_easting_m: float
    from_northing_m: float
    to_easting_m: float
    to_northing_m: float
    strike_deg: float
    nodes: int
    spacing_m: float
    grid_sd_nT: float
    error_length_m: float
    rests_on: str
    body: Body
    kinds: list[Kind]
    figure: str | None


def fit_between(
    folder: Folder,
    *,
    start: tuple[float, float],
    end: tuple[float, float],
    kind: str | None = None,
    strike_deg: float | None = None,
    figure: Path | None = None,
    hear: Hear | None = None,
    workers: int = 2,
    reporter: Reporter | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> BetweenResult:
    """Fit a body to the grid along a straight line.

    Parameters
    ----------
    folder : Folder
        The survey.
    start, end : tuple = (easting, northing)
        Ends of the line in the survey's CRS [m].
    kind : str, optional
        Kind of body; the most probable one when left out.
    strike_deg : float, optional
        Azimuth of the strike from grid north [deg]; straight across the line when left out.
    figure : path, optional
        Where to draw the section, as PNG.
    hear : callable, optional
        Called with what a section is drawn of: pick, its rows, the fit, and the body's row.
    workers, reporter, cancelled
        As for a run.

    Returns
    -------
    BetweenResult
        The body with 90 % intervals.

    Raises
    ------
    InputError
        For an unknown kind, a survey without a grid, a point outside it, a line across a hole of
        it, one that meets the strike under less than 30 degrees, and a profile that can't hold a
        body: too short, flat, cut by an end, or two bodies.

    Notes
    -----
    The sensor is taken at its usual height above ground and level, as the grid tells no other.
    """
    check_kind(kind)
    check_azimuth(strike_deg)
    check_finite(
        **{
            f"{axis} of the {which}": value
            for which, point in (("begin", start), ("end", end))
            for axis, value in zip(("easting", "northing"), point, strict=True)
        }
    )
    check_figure(figure)
    for step in ("grid", "culture"):
        run(folder, to=step, workers=workers, reporter=reporter, cancelled=cancelled)
    inputs = {name: read_product(folder, name) for name in {*NEEDS, *FIELD_NEEDS, "grids"}}
    lines = walked(inputs, picked(folder.settings, NEEDS_SET))
    grid, error = _grid_of(inputs["grids"])
    place = {"west_m": grid.west_m, "south_m": grid.south_m, "spacing_m": grid.spacing_m}
    cut = grid_profile(grid.values, error.values, **place, start=start, end=end)
    pick, rows = _pick(cut, strike_deg, lines)
    level = float(np.sqrt(np.mean(cut.sd**2)))
    length = ERROR_LENGTH * lines.line_spacing_m
    noise = Noise(1.0, level, length)
    kinds = (kind,) if kind else USUAL
    work = partial(fit_profile, pick.profile, noise=noise, kinds=kinds)
    fitted = Fitted(noise, unless_cancelled(work, cancelled))
    if fitted.found.problem:
        raise InputError(fitted.found.problem)
    field = under(inputs, picked(folder.settings, DIP_SETTINGS))
    body = pick_body(pick, fitted.found)
    body |= dip_row(body, field)
    if figure is not None:
        draw(figure, pick, rows, fitted, body)
    if hear is not None:
        hear(pick, rows, fitted, body)
    return BetweenResult(
        *start,
        *end,
        (pick.stand.azimuth_deg - 90.0) % 360.0,
        pick.profile.distance_m.size,
        grid.spacing_m,
        level,
        length,
        RESTS,
        filled(Body, body),
        kinds_of(fitted, pick),
        None if figure is None else str(figure),
    )


def _grid_of(record: object) -> tuple[Grid, Grid]:
    """Return the grid of the anomaly and its standard error."""
    grids = record if isinstance(record, GridSet) else GridSet(())
    grid, error = grids.named(GRID), grids.named(f"{GRID}_standard_error")
    if grid is None:
        raise InputError(
            "There is no grid of the anomaly to cut a profile from.",
            remedy="A run says why; readings on two lines or more make one.",
        )
    if error is None:
        raise InputError(
            "The grid has no map of its error, so a profile of it would have no interval.",
            remedy="Fit to a piece of a line instead.",
        )
    return grid, error


def _pick(cut: GridProfile, strike_deg: float | None, lines: Walked) -> tuple[Pick, pl.DataFrame]:
    """Return the profile as a pick, or raise with what is wrong with it."""
    own = OWN * cut.sd
    line = LineGradient(cut.easting_m, cut.northing_m, cut.value, own)
    strike = (line.azimuth_deg - 90.0) % 180.0 if strike_deg is None else strike_deg % 360.0
    across = angle_between_deg(line.azimuth_deg, strike)
    if across < LEAST_ANGLE_DEG:
        raise InputError(
            f"The profile meets this strike under {across:.0f} degrees; it needs "
            f"{LEAST_ANGLE_DEG:.0f}.",
            value=strike_deg,
            remedy="Is the strike an azimuth from grid north?",
        )
    at = line.peak(float(line.along_m.min()), float(line.along_m.max()))
    share = float(np.sin(np.radians(across)))
    place = line.place(at)
    found = taken(
        line,
        np.arange(cut.value.size),
        place,
        strike_deg=strike,
        half_window_m=share * float(np.ptp(line.along_m)) / 2.0,
        depth_m=share * line.half_width(at),
    )
    if found.problem:
        raise InputError(found.problem, remedy="Draw a longer line, or another one.")
    sensor, sd = _sensor(lines, place)
    row = {
        "pick": NAME,
        "source": "asked for",
        "lineament": None,
        "line": None,
        "passage": None,
        "easting_m": place[0],
        "northing_m": place[1],
        "azimuth_deg": (strike + 90.0) % 360.0,
        "strike_sd_deg": None if strike_deg is None else STATED_SD_DEG,
        "crossing_deg": across,
        "half_window_m": found.half_window_m,
        "sensor_height_m": sensor,
        "sensor_sd_m": sd,
        "ground_m": None,
        "readings": int(found.rows.size),
        "problem": None,
    }
    rows = pl.DataFrame(
        {
            "pick": [NAME] * found.rows.size,
            "reading_id": [f"node {node + 1}" for node in found.rows],
            "distance_m": found.distance_m,
            "rise_m": np.zeros(found.rows.size),
            "anomaly_nT": cut.value[found.rows],
            "sd_nT": own[found.rows],
        }
    )
    return pick_of(row, rows), rows


def _sensor(lines: Walked, place: tuple[float, float]) -> tuple[float, float]:
    """Return the sensor's height above ground at the reading nearest to a place, and its error."""
    away = np.hypot(*(lines.places - place).T)
    above = lines.readings.floats("height_above_ground_m")
    away[~lines.used | ~np.isfinite(above)] = np.inf
    nearest = np.array([int(np.argmin(away))])
    if not np.isfinite(away[nearest[0]]):
        raise InputError(UNKNOWN_HEIGHT)
    return float(above[nearest[0]]), sensor_sd(lines, nearest) or 0.0
