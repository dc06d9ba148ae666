"""A plan that was laid out becomes the plan of the survey: its lines enter `raw/`."""

from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from lodewalk.errors import InputError
from lodewalk.formats.registry import SET_ASIDE
from lodewalk.survey.folder import Folder
from lodewalk.survey.ledger import (
    RawFile,
    file_digest,
    read_ledger,
    same_content,
    store_raw,
    unique_name,
    write_ledger,
)
from lodewalk.survey.lock import locked

if TYPE_CHECKING:
    from lodewalk.records.planning import PlannedLines
    from lodewalk.records.recorded import Route

#: Name under which a laid-out plan enters the survey; a plan added by hand has its own.
ADOPTED_NAME = "adopted-plan.gpx"
REPLACE = "Let the new plan replace it, or make a draft, to look at only."
REPLACE_BY = ("replace", "draft")


@dataclass(frozen=True)
class Adoption:
    """The raw file that holds the plan, null where none does, and those whose place it took."""

    stored_as: str | None
    superseded: list[str]


def check_adoption(folder: Folder) -> None:
    """Raise when a new plan would take the place of something without being told to.

    Raises
    ------
    InputError
        When rover files are in the survey, whose lines would change their names, or a plan that
        was added by hand.
    """
    _check(read_ledger(folder))


def walked_before(folder: Folder) -> bool:
    """Tell whether rover files are in the survey, walked under a plan that it has."""
    roles = {entry.role for entry in read_ledger(folder)}
    return {"rover", "plan"} <= roles


def adopt(folder: Folder, lines: "PlannedLines", *, crs: str, replaces: bool) -> Adoption:
    """Let the lines and ties of a plan enter `raw/` as its planned lines.

    Parameters
    ----------
    folder : Folder
        The survey.
    lines : PlannedLines
        The lines of the plan, among them the repeat line, which lies on one of them.
    crs : str
        The survey's reference system.
    replaces : bool
        Whether it may take the place of a plan under which was walked, or of one added by hand.

    Returns
    -------
    Adoption
        A plan that is the survey's already is left as it is.

    Raises
    ------
    InputError
        As for `check_adoption`, unless it may take the place.

    Notes
    -----
    The plan before keeps its file; its role becomes ``set_aside``.
    """
    from lodewalk.formats.gpx import write

    with locked(folder), TemporaryDirectory() as scratch:
        source = Path(scratch) / ADOPTED_NAME
        write(source, routes=plan_route(lines, crs))
        sha256 = file_digest(source)
        entries = read_ledger(folder)
        plans = [entry for entry in entries if entry.role == "plan"]
        known = same_content(entries, sha256)
        if known is not None and plans == [known]:
            return Adoption(f"raw/{known.name}", [])
        if not replaces:
            _check(entries)
        entries = [replace(entry, role=SET_ASIDE) if entry in plans else entry for entry in entries]
        if known is None:
            entry = store_raw(folder, source, _entry(folder, entries, sha256))
            entries.append(entry)
        else:
            entry = replace(known, role="plan")
            entries = [entry if item.sha256 == sha256 else item for item in entries]
        write_ledger(folder, entries)
        former = [item.name for item in plans if item.sha256 != sha256]
        return Adoption(f"raw/{entry.name}", [f"raw/{name}" for name in former])


def _check(entries: list[RawFile]) -> None:
    """Raise when something stands in the way of a new plan."""
    if any(entry.role == "rover" for entry in entries):
        raise InputError(
            "Rover files are in the survey already: under a new plan their lines would get other "
            "names.",
            remedy=REPLACE,
            means=REPLACE_BY,
        )
    by_hand = [
        entry.name
        for entry in entries
        if entry.role == "plan" and entry.original_name != ADOPTED_NAME
    ]
    if by_hand:
        raise InputError(
            "A plan that was added by hand is in the survey already.",
            file=by_hand[0],
            remedy=REPLACE,
            means=REPLACE_BY,
        )


def _entry(folder: Folder, entries: list[RawFile], sha256: str) -> RawFile:
    """Return the ledger entry of a plan."""
    return RawFile(
        name=unique_name(folder, entries, ADOPTED_NAME, sha256),
        sha256=sha256,
        size=0,
        mtime_ns=0,
        role="plan",
        instrument="",
        format="gpx",
        zone="UTC",
        column_map=None,
        original_name=ADOPTED_NAME,
        added_utc="",
    )


def plan_route(lines: "PlannedLines", crs: str) -> "Route":
    """Return lines, repeat line and ties as routes named as they are, in order of numbers."""
    import numpy as np
    import polars as pl

    from lodewalk.adapters.projection import to_geographic
    from lodewalk.records.recorded import Route

    every = lines.frame.unique("line", keep="first", maintain_order=True)  # R01 is each day's
    rows = every.sort("kind", "number", "piece")
    ends = [rows.select(f"easting_{end}_m", f"northing_{end}_m").to_numpy() for end in (1, 2)]
    places = np.stack(ends, axis=1).reshape(-1, 2)
    longitude, latitude = to_geographic(places[:, 0], places[:, 1], crs=crs)
    return Route(
        pl.DataFrame(
            {
                "line_in_file": np.arange(1, len(places) + 1),
                "line": np.repeat(rows["line"].to_numpy(), 2).tolist(),
                "latitude_deg": latitude,
                "longitude_deg": longitude,
            }
        )
    )
