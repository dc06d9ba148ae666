"""Placing the readings of one file: by its own fixes, a track or the local grid."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.adapters.projection import WGS84, to_geographic, to_projected
from lodewalk.errors import InputError
from lodewalk.methods.checks.fixes import find_wild_fixes
from lodewalk.methods.corrections.local_grid import GridTie, tie_local_grid
from lodewalk.methods.corrections.track import position_at
from lodewalk.records import Table
from lodewalk.steps.findings import FindingList, amount
from lodewalk.steps.rows import FileRows, at_distinct_times, timed
from lodewalk.steps.tracks import Track, no_fix

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]
#: A scale of the local grid farther from 1 than this is doubted (common practice).
SCALE_TOLERANCE = 0.05


class Places:
    """Places of all rover readings while they are gathered."""

    def __init__(self, count: int) -> None:
        self.easting = np.full(count, np.nan)
        self.northing = np.full(count, np.nan)
        self.height = np.full(count, np.nan)
        self.source = np.full(count, "none", dtype=object)

    def put(self, rows: Rows, place: tuple[Floats, Floats, Floats], source: str) -> None:
        """Fill rows whose place is known now; leave the others as they are."""
        known = np.isfinite(place[0])
        for target, values in zip((self.easting, self.northing, self.height), place, strict=True):
            target[rows[known]] = values[known]
        self.source[rows[known]] = source


@dataclass(frozen=True)
class Work:
    """What the placing works on."""

    recorded: Table
    seconds: Floats
    crs: str
    settings: Mapping[str, Any]
    places: Places
    found: FindingList


def place_file(work: Work, span: FileRows, track: Track) -> None:
    """Place the readings of one file."""
    rows = np.arange(span.start, span.stop)
    if span.position.get("local_grid"):
        _from_local_grid(work, span, rows)
        return
    own = _own_place(work, span, rows)
    if own is None:
        found = position_at(work.seconds[rows], **track, max_gap_s=work.settings["track_gap_s"])
        work.places.put(rows, (found.easting_m, found.northing_m, found.height_m), "track")
    else:
        work.places.put(rows, own, "recorded")
        _bridge(work, rows)


def _own_place(work: Work, span: FileRows, rows: Rows) -> tuple[Floats, Floats, Floats] | None:
    """Return the place that the file itself gives, or None when it has no positions."""
    easting, northing, height = (
        work.recorded.floats(f"{name}_m")[rows] for name in ("easting", "northing", "height")
    )
    longitude, latitude = (
        work.recorded.floats(f"{name}_deg")[rows] for name in ("longitude", "latitude")
    )
    lost = no_fix(work.recorded)[rows]
    stated = span.position.get("crs")
    if np.isfinite(longitude).any():
        longitude, latitude = (np.where(lost, np.nan, part) for part in (longitude, latitude))
        datum = stated or WGS84
        easting, northing = to_projected(longitude, latitude, crs=work.crs, geographic=datum)
    elif not np.isfinite(easting).any():
        return None
    else:
        easting, northing = _into_survey(work, easting, northing, stated)
    wild = lost | _wild(work, span, rows, easting, northing)
    easting, northing, height = (
        np.where(wild, np.nan, part) for part in (easting, northing, height)
    )
    return easting, northing, height


def _wild(
    work: Work, span: FileRows, rows: Rows, easting: Floats, northing: Floats
) -> NDArray[np.bool_]:
    """Tell which fixes a walker can't have reached, and say so in a finding."""
    wild = np.zeros(rows.size, dtype=bool)
    times, speed = work.seconds[rows], work.settings["max_speed_m_s"]
    order = timed(np.arange(rows.size), times)
    wild[order] = find_wild_fixes(
        times[order], easting[order], northing[order], max_speed_m_s=speed
    )
    if wild.any():
        first = int(rows[np.flatnonzero(wild)[0]])
        work.found.add(
            "wild fix",
            f"{span.instrument}: {amount(int(wild.sum()), 'fix', 'fixes')} left out, too far to be "
            f"walked at {speed:g} m/s.",
            severity="doubt",
            instrument=span.instrument,
            start_s=np.nanmin(work.seconds[rows[wild]]),
            end_s=np.nanmax(work.seconds[rows[wild]]),
            file=span.name,
            line_in_file=work.recorded.frame["line_in_file"][first],
        )
    return wild


def _into_survey(
    work: Work, easting: Floats, northing: Floats, stated: str | None
) -> tuple[Floats, Floats]:
    """Return projected positions in the survey's own reference system."""
    if stated is None or stated == work.crs:
        return easting, northing
    longitude, latitude = to_geographic(easting, northing, crs=stated)
    return to_projected(longitude, latitude, crs=work.crs)


def _bridge(work: Work, rows: Rows) -> None:
    """Bridge short losses of the fix by straight lines between the fixes beside them."""
    places = work.places
    placed = np.isfinite(places.easting[rows])
    missing = rows[~placed]
    known = at_distinct_times(timed(rows[placed], work.seconds), work.seconds)
    if not (missing.size and known.size):
        return
    found = position_at(
        work.seconds[missing],
        track_time_s=work.seconds[known],
        track_easting_m=places.easting[known],
        track_northing_m=places.northing[known],
        track_height_m=places.height[known],
        max_gap_s=work.settings["track_gap_s"],
    )
    places.put(missing, (found.easting_m, found.northing_m, found.height_m), "bridged")


def _from_local_grid(work: Work, span: FileRows, rows: Rows) -> None:
    """Place readings by line and station of a grid that is tied to surveyed pegs."""
    lines = work.recorded.strings("line")[span.rows]
    local_east = np.array([line_number(name, span.name) for name in lines])
    pegs = span.position.get("pegs") or []
    tie = tie_of(span.position, span.name)
    easting, northing = tie.to_projected(local_east, work.recorded.floats("station")[rows])
    easting, northing = _into_survey(work, easting, northing, span.position.get("crs"))
    work.places.put(rows, (easting, northing, np.full(rows.size, np.nan)), "local grid")
    residuals = np.hypot(tie.residual_easting_m, tie.residual_northing_m)
    spread = f", rms {tie.rms_m:.2f} m" if np.isfinite(tie.rms_m) else ""
    work.found.add(
        "local grid",
        f"{span.name}: {amount(len(pegs), 'peg')} tie the local grid, scale {tie.scale:.4f}, local "
        f"north at azimuth {tie.rotation_deg % 360:.1f} degrees, largest residual "
        f"{residuals.max():.2f} m{spread}.",
        severity="information" if abs(tie.scale - 1) < SCALE_TOLERANCE else "doubt",
        instrument=span.instrument,
        file=span.name,
    )


def tie_of(position: Mapping[str, Any], file: str) -> GridTie:
    """Return how the pegs of a column map tie its local grid.

    Raises
    ------
    InputError
        For a peg whose line is no number, fewer than two pegs, or pegs in one place.
    """
    pegs = position.get("pegs") or []
    return tie_local_grid(
        [line_number(peg["line"], file) for peg in pegs],
        [float(peg["station"]) for peg in pegs],
        easting_m=[peg["easting"] for peg in pegs],
        northing_m=[peg["northing"] for peg in pegs],
    )


def line_number(name: str | None, file: str) -> float:
    """Return the local easting that a line's name stands for.

    Raises
    ------
    InputError
        When the name is no number.
    """
    try:
        return float(name) if name is not None else np.nan
    except ValueError as error:
        raise InputError(
            "In a local grid the name of a line must be its local easting in metres.",
            file=file,
            value=name,
            remedy="Number the lines, west negative.",
        ) from error
