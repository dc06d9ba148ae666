"""A body fitted to a piece of one line, as a person asks for it; nothing is kept."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.methods.inversion.choice import KINDS, USUAL
from lodewalk.methods.inversion.picking import (
    LEAST_ANGLE_DEG,
    PickedProfile,
    angle_between_deg,
    taken,
)
from lodewalk.services.decide_places import (
    check_azimuth,
    check_finite,
    check_line,
    walked_readings,
)
from lodewalk.services.rocks.fit import Body
from lodewalk.services.rocks.kinds import Kind, kind_told
from lodewalk.services.rocks.rows import filled
from lodewalk.services.rocks.stopping import unless_cancelled
from lodewalk.steps.across import NEEDS, NEEDS_SET, Walked, pick_row, walked
from lodewalk.steps.bodies import FIELD_NEEDS, bodies_table, body_row
from lodewalk.steps.context import Reporter
from lodewalk.steps.dips import DIP_SETTINGS, dip_row, dips_table, under
from lodewalk.steps.fits import Fitted, Pick, curve_rows, fit_one, pick_body, pick_of
from lodewalk.steps.picks import STATED_SD_DEG
from lodewalk.steps.strong import field_there
from lodewalk.survey.folder import Folder
from lodewalk.survey.run import run
from lodewalk.survey.settings import picked
from lodewalk.survey.store import read_product

NAME = "P0"
#: Hears of what a section is drawn of: pick, its rows, the fit, the row of the body.
Hear = Callable[[Pick, pl.DataFrame, Fitted, dict[str, Any]], None]


@dataclass(frozen=True)
class AlongResult:
    """A body fitted to a piece of a line.

    `kinds` are those tried, the most probable first; `readings` counts the ones fitted to.
    """

    line: str
    from_m: float
    to_m: float
    strike_deg: float
    readings: int
    body: Body
    kinds: list[Kind]
    figure: str | None


def fit_along(
    folder: Folder,
    *,
    line: str,
    from_m: float,
    to_m: float,
    kind: str | None = None,
    strike_deg: float | None = None,
    figure: Path | None = None,
    hear: Hear | None = None,
    workers: int = 2,
    reporter: Reporter | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> AlongResult:
    """Fit a body to the readings of a line between two distances along it.

    Parameters
    ----------
    folder : Folder
        The survey.
    line : str
        Name of the line.
    from_m, to_m : float
        Distances along it [m].
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
    AlongResult
        The body with 90 % intervals.

    Raises
    ------
    InputError
        For an unknown line or kind, distances in the wrong order, a line that is too oblique, and
        a profile that can't hold a body: too short, too few readings, flat, cut by an end, or two
        bodies.
    """
    check_kind(kind)
    check_azimuth(strike_deg)
    check_finite(**{"from": from_m, "to": to_m})
    if not from_m < to_m:
        raise InputError(
            "A profile begins before it ends.",
            value=f"from {from_m:g} to {to_m:g} m",
            remedy="Give a begin that lies before the end, in metres along the line.",
        )
    check_figure(figure)
    for step in ("readings", "culture"):
        run(folder, to=step, workers=workers, reporter=reporter, cancelled=cancelled)
    inputs = {name: read_product(folder, name) for name in {*NEEDS, *FIELD_NEEDS}}
    lines = walked(inputs, picked(folder.settings, NEEDS_SET))
    pick, profile_rows = _picked(folder, lines, line, (from_m, to_m), strike_deg)
    work = partial(
        fit_one,
        pick.profile,
        kinds=(kind,) if kind else USUAL,
        field=field_there(inputs, folder.settings.survey.crs),
        azimuth_deg=pick.stand.azimuth_deg,
    )
    fitted = unless_cancelled(work, cancelled)
    if fitted.found.problem:
        raise InputError(fitted.found.problem)
    field = under(inputs, picked(folder.settings, DIP_SETTINGS))
    body = pick_body(pick, fitted.found)
    row = body | dip_row(body, field)
    if figure is not None:
        draw(figure, pick, profile_rows, fitted, row)
    if hear is not None:
        hear(pick, profile_rows, fitted, row)
    return AlongResult(
        line,
        from_m,
        to_m,
        (pick.stand.azimuth_deg - 90.0) % 360.0,
        pick.profile.distance_m.size,
        filled(Body, row),
        kinds_of(fitted, pick),
        None if figure is None else str(figure),
    )


def check_kind(kind: str | None) -> None:
    """Raise for a kind of body that there isn't."""
    if kind is not None and kind not in KINDS:
        raise InputError(
            "There is no such kind of body.", value=kind, remedy=f"Kinds are {', '.join(KINDS)}."
        )


def check_figure(figure: Path | None) -> None:
    """Raise where a figure can't be written."""
    if figure is not None and not figure.parent.is_dir():
        raise InputError("There is no such folder for the figure.", value=str(figure.parent))
    if figure is not None and figure.suffix.lower() != ".png":
        raise InputError(
            "The figure is written as PNG.",
            value=str(figure),
            remedy="Give --figure a name that ends in .png.",
        )


def _picked(
    folder: Folder,
    lines: Walked,
    line: str,
    ends: tuple[float, float],
    strike_deg: float | None,
) -> tuple[Pick, pl.DataFrame]:
    """Return the piece of the line as a pick, or raise with what is wrong with it."""
    own = walked_readings(folder)
    check_line(own, line)
    number, inside = _inside(own.filter(pl.col("line") == line), lines, *ends)
    gradient = lines.line(number)
    if gradient is None or not inside.any():
        raise InputError(
            "No kept reading of this line lies there.", value=f"from {ends[0]:g} to {ends[1]:g} m"
        )
    strike = (gradient.azimuth_deg - 90.0) % 180.0 if strike_deg is None else strike_deg % 360.0
    across = angle_between_deg(gradient.azimuth_deg, strike)
    if across < LEAST_ANGLE_DEG:
        raise InputError(
            f"The line meets this strike under {across:.0f} degrees; a profile needs "
            f"{LEAST_ANGLE_DEG:.0f}.",
            value=strike_deg,
            remedy="Is the strike an azimuth from grid north?",
        )
    at = gradient.peak(*np.quantile(gradient.along_m[inside], [0.0, 1.0]))
    share = float(np.sin(np.radians(across)))
    place = gradient.place(at)
    found: PickedProfile = taken(
        gradient,
        np.flatnonzero(inside),
        place,
        strike_deg=strike,
        half_window_m=share * float(np.ptp(gradient.along_m[inside])) / 2.0,
        depth_m=share * gradient.half_width(at),
    )
    if found.problem:
        raise InputError(found.problem, remedy="Give a longer piece of the line, or another one.")
    about = {
        "pick": NAME, "source": "asked for", "lineament": None, "line": line, "passage": number,
    }  # fmt: skip
    told = strike, None if strike_deg is None else STATED_SD_DEG
    row, rows = pick_row(about, found, lines, lines.rows(number), place=place, strike=told)
    return pick_of(row, rows), rows


def _inside(
    own: pl.DataFrame, lines: Walked, low: float, high: float
) -> tuple[int, NDArray[np.bool_]]:
    """Return the passage of a line with most readings between two distances, and which they are."""
    between = own.filter(pl.col("distance_m").is_between(low, high))
    if not between.height:
        end = float(np.max(own["distance_m"].to_numpy()))
        raise InputError(
            "No kept reading of this line lies there.",
            value=f"from {low:g} to {high:g} m",
            remedy=f"Distances on it run from 0 to {end:.0f} m.",
        )
    counts = between.group_by("passage").len().sort(["len", "passage"], descending=[True, False])
    number = int(counts["passage"][0])
    wanted = set(between.filter(pl.col("passage") == number)["reading_id"])
    rows = lines.rows(number)
    return number, np.array([lines.ids[row] in wanted for row in rows], dtype=bool)


def kinds_of(fitted: Fitted, pick: Pick) -> list[Kind]:
    """Return the kinds that were tried with the depth below ground that each gives."""
    told = []
    for one in fitted.found.fits:
        own = body_row({}, one, pick.profile, pick.stand)
        depth = (own[name] for name in ("depth_m", "depth_low_m", "depth_high_m"))
        told.append(kind_told(one.kind, fitted.found.probability[one.kind], *depth))
    return told


def draw(path: Path, pick: Pick, rows: pl.DataFrame, fitted: Fitted, body: dict[str, Any]) -> None:
    """Draw the section of the body."""
    from lodewalk.figures.save import png_bytes
    from lodewalk.figures.section import draw_section
    from lodewalk.records.interpreted import Curves, ProfileReadings
    from lodewalk.steps.picks import picks_table

    drawn = draw_section(
        picks_table([dict(pick.row)]),
        ProfileReadings(rows),
        Curves(curve_rows(pick, fitted.found.fits[0])),
        bodies_table([body]),
        pick=NAME,
        dips=dips_table([body]),
        noise={"scale": fitted.noise.scale, "correlated_nT": fitted.noise.correlated_nT},
    )
    path.write_bytes(png_bytes(drawn))
