"""Decisions about places on a line: a pick to add, a pick or lineament to refuse."""

import math
from collections.abc import Mapping
from typing import Any, cast

import numpy as np
import polars as pl

from lodewalk.errors import FolderError, InputError
from lodewalk.survey.decisions import Pick, in_force, read_decisions
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path, read_product

#: A place given by coordinates lies no farther from a reading than this [m] (common practice).
FARTHEST_M = 25.0


def check_azimuth(strike_deg: float | None) -> None:
    """Raise where a strike that is given is no azimuth.

    Examples
    --------
    >>> check_azimuth(110.0)
    """
    if strike_deg is not None and not (math.isfinite(strike_deg) and 0 <= strike_deg < 360):
        raise InputError(
            "A strike is an azimuth from grid north, from 0 to less than 360 degrees.",
            value=strike_deg,
            remedy="Give the strike clockwise from grid north, or leave it out.",
        )


def check_finite(**values: float | None) -> None:
    """Raise for the first value that is given and isn't a finite number; names are its words.

    Examples
    --------
    >>> check_finite(distance=12.5, easting=None)
    """
    for name, value in values.items():
        if value is not None and not math.isfinite(value):
            raise InputError(f"{name.capitalize()} must be a finite number.", value=value)


def reading_named(folder: Folder, reading: str, places: Mapping[str, Any]) -> str:
    """Return the id of a reading to pick, given instead of a place.

    Raises
    ------
    InputError
        For an id that no kept reading on a line has, and where a place is given too.
    FolderError
        Before the first run.
    """
    given = [name for name, value in places.items() if value is not None]
    if given:
        raise InputError(
            "A pick is placed in one way.",
            value=f"reading with {' and '.join(given)}",
            remedy="Give the reading alone, or line and distance, or easting and northing.",
        )
    if reading not in set(walked_readings(folder)["reading_id"].to_list()):
        raise InputError(
            "No kept reading on a line has this id.",
            value=reading,
            remedy="Ids stand in column reading_id of the readings; or give line and distance.",
        )
    return reading


def reading_there(
    folder: Folder,
    *,
    line: str | None,
    distance_m: float | None,
    easting_m: float | None,
    northing_m: float | None,
) -> str:
    """Return the id of the kept reading nearest to a place, on a line or in plan.

    Raises
    ------
    InputError
        For an unknown line, a place off the survey, or half a place.
    FolderError
        Before the first run.
    """
    own = walked_readings(folder)
    if line is not None and distance_m is not None and easting_m is None and northing_m is None:
        here = own.filter(pl.col("line") == line)
        check_line(own, line)
        away = (here["distance_m"] - distance_m).abs()
        reach = f"Distances on it run from 0 to {np.max(here['distance_m'].to_numpy()):.0f} m."
    elif line is None and distance_m is None and easting_m is not None and northing_m is not None:
        here = own
        away = pl.Series(np.hypot(own["easting_m"] - easting_m, own["northing_m"] - northing_m))
        reach = "Give easting and northing in the survey's CRS."
    else:
        raise InputError(
            "A place is a line with a distance along it, or an easting with a northing.",
            remedy="Give line and distance, or easting and northing, or a reading.",
        )
    place = int(away.arg_min() or 0)
    if not away[place] <= FARTHEST_M:
        raise InputError(
            f"No kept reading lies within {FARTHEST_M:g} m of this place.",
            value=round(float(away[place]), 1),
            remedy=reach,
        )
    return str(here["reading_id"][place])


def walked_readings(folder: Folder) -> pl.DataFrame:
    """Return the kept readings on lines, with passage and distance along the line.

    Raises
    ------
    FolderError
        Before the first run.
    """
    joined = pl.concat([_frame(folder, "readings"), _frame(folder, "rover_lines").drop("line")],
                       how="horizontal")  # fmt: skip
    return joined.filter(
        pl.col("kept") & pl.col("line").is_not_null() & pl.col("anomaly_nT").is_not_null()
    )


def check_line(own: pl.DataFrame, line: str) -> None:
    """Raise where no kept reading is on a line."""
    known = sorted(set(own["line"].to_list()))
    if line not in known:
        shown = ", ".join(known) if len(known) <= 12 else f"{known[0]} … {known[-1]}"
        raise InputError(
            "No line with kept readings has this name.",
            value=line,
            remedy=f"Lines are {shown or 'none'}.",
        )


def reading_of(folder: Folder, name: str) -> tuple[str, str]:
    """Return the id of the reading at a pick, or at a lineament's first one, and which it is.

    Raises
    ------
    InputError
        For a name that no pick and no lineament has.
    """
    picks = _frame(folder, "picks")
    for what in ("pick", "lineament"):
        here = picks.filter(pl.col(what) == name)
        if here.height:
            row = here.row(0, named=True)
            own = walked_readings(folder).filter(pl.col("passage") == row["passage"])
            east, north = (own[axis] - row[axis] for axis in ("easting_m", "northing_m"))
            return str(own["reading_id"][int(np.argmin(np.hypot(east, north)))]), what
    _check_waiting(folder, name)
    known = [str(value) for value in picks["pick"]]
    shown = f"Names are {', '.join(known[:8])}{', …' if len(known) > 8 else ''}."
    raise InputError(
        "No pick and no lineament has this name.",
        value=name,
        remedy=shown if known else "Nothing is picked yet: a run makes the picks.",
    )


def _check_waiting(folder: Folder, name: str) -> None:
    """Raise where a name is that of a pick that was added and of which no run knows yet."""
    for item in in_force(read_decisions(folder), ("pick",)):
        if isinstance(item.value, Pick) and item.value.name == name:
            raise InputError(
                "This pick was added, but no profile is cut at it yet.",
                value=name,
                remedy="Run the survey first, or take back the decision that added it: "
                f"{item.id[:8]}.",
            )


def next_name(folder: Folder) -> str:
    """Return the next free name of a pick; those of withdrawn picks aren't given again."""
    taken = [
        int(item.value.name[1:]) for item in read_decisions(folder) if isinstance(item.value, Pick)
    ]
    return f"P{max(taken, default=0) + 1}"


def _frame(folder: Folder, product: str) -> pl.DataFrame:
    """Return the frame of a product that is a table."""
    if not product_path(folder, product).exists():
        raise FolderError("This survey has no such products yet: a run makes them.")
    return cast(pl.DataFrame, cast(Any, read_product(folder, product)).frame)
