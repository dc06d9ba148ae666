"""Planned lines that the survey holds: of a plan made here, or of a file that was added."""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import hypot
from pathlib import Path
from typing import cast

from lodewalk.survey.folder import Folder
from lodewalk.survey.ledger import read_ledger


@dataclass(frozen=True)
class HeldLine:
    """A planned line; corners are easting and northing [m]."""

    line: str
    length_m: float
    corners_m: list[list[float]]


def held_lines(folder: Folder) -> list[HeldLine]:
    """Return the planned lines of the survey in its reference system, none without a plan.

    Parameters
    ----------
    folder : Folder
        The survey.

    Raises
    ------
    InputError
        For a plan's file that can't be read.
    """
    digests = tuple(item.sha256 for item in read_ledger(folder) if item.role == "plan")
    return list(_lines(folder.path, digests, folder.settings.survey.crs)) if digests else []


@lru_cache(maxsize=4)
def _lines(path: Path, digests: tuple[str, ...], crs: str) -> tuple[HeldLine, ...]:
    """Read the plan's files; they are known by their digests, so that they are read once."""
    from lodewalk.adapters.projection import to_projected
    from lodewalk.records.recorded import Route
    from lodewalk.survey.ingest import read_role

    folder = Folder(path)
    held = read_ledger(folder)
    entries = [item for item in held if item.role == "plan" and item.sha256 in digests]
    frame = cast(Route, read_role(folder, entries, role="plan")["plan_recorded"]).frame
    east, north = to_projected(
        frame["longitude_deg"].to_numpy(), frame["latitude_deg"].to_numpy(), crs=crs
    )
    corners: dict[str, list[list[float]]] = {}
    for name, x, y in zip(frame["line"], east, north, strict=True):
        corners.setdefault(str(name), []).append([round(float(x), 2), round(float(y), 2)])
    return tuple(HeldLine(name, _length(ends), ends) for name, ends in corners.items())


def _length(corners: list[list[float]]) -> float:
    """Return the length of a line through its corners [m]."""
    steps = pairwise(corners)
    return round(sum(hypot(x2 - x1, y2 - y1) for (x1, y1), (x2, y2) in steps), 1)
