"""What a survey tells of itself before going: its day, its height, and what was measured."""

from collections.abc import Mapping
from datetime import date, datetime
from math import isfinite
from pathlib import Path
from typing import Any, cast

import polars as pl

from lodewalk.errors import FolderError
from lodewalk.methods.geomagnetic import IGRF_FIRST_YEAR, IGRF_LAST_YEAR
from lodewalk.survey.folder import Folder
from lodewalk.survey.ledger import read_ledger
from lodewalk.survey.store import product_path

FIRST_DAY = "plan.first_day"


def survey_day(folder: Folder) -> date | None:
    """Return the first day that is set, else the first one walked that the field is known for."""
    if folder.settings.plan.first_day:
        return folder.settings.plan.first_day
    first = cast(datetime | None, _of_column(product_path(folder, "readings"), "time_utc", "min"))
    if first is None or not IGRF_FIRST_YEAR <= first.year < IGRF_LAST_YEAR:
        return None
    return first.date()


def dated(folder: Folder, changes: Mapping[str, Any]) -> dict[str, Any]:
    """Return changes under which the field is that of the survey's own day, if none is set."""
    day = survey_day(folder)
    if day is None or changes.get(FIRST_DAY):
        return dict(changes)
    return {**changes, FIRST_DAY: day.isoformat()}


def survey_height_m(folder: Folder) -> float:
    """Return the height above the ellipsoid: the walked one, else that of the settings [m]."""
    try:
        walked = _of_column(product_path(folder, "rover_heights"), "height_m", "median")
    except FolderError:
        walked = None
    if walked is None or not isfinite(cast(float, walked)):
        return folder.settings.position.height_m
    return float(round(cast(float, walked)))


def tells_magnetic(folder: Folder) -> bool:
    """Tell whether settings or hand-meter readings say how magnetic the body is."""
    body = folder.settings.body
    return bool(body.rock) or body.susceptibility is not None or has_hand_meter(folder)


def has_hand_meter(folder: Folder) -> bool:
    """Tell whether there are readings of a hand meter."""
    return any(item.role == "hand_meter" for item in read_ledger(folder))


def _of_column(path: Path, name: str, what: str) -> object:
    """Return the smallest or middle value of a product's column; None where there is none."""
    if not path.exists():
        return None
    column = pl.scan_parquet(path).select(pl.col(name).drop_nans() if what == "median" else name)
    return getattr(column, what)().collect().item()
