"""Position: each rover reading's place, from its own fix, a track or the local grid."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.adapters.projection import WGS84, to_geographic, to_projected
from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import marked_spans
from lodewalk.methods.corrections.height import smooth_height
from lodewalk.methods.corrections.local_grid import tie_local_grid
from lodewalk.methods.corrections.track import position_at
from lodewalk.records import Record, Table
from lodewalk.records.products import Positions
from lodewalk.records.table import float_column
from lodewalk.steps.context import Context
from lodewalk.steps.findings import FindingList, amount, duration_text
from lodewalk.steps.rows import FileRows, document, file_rows, table

Floats = NDArray[np.float64]


class _Places:
    """Places of all rover readings while they are gathered."""

    def __init__(self, count: int) -> None:
        self.easting = np.full(count, np.nan)
        self.northing = np.full(count, np.nan)
        self.height = np.full(count, np.nan)
        self.source = np.full(count, "none", dtype=object)

    def put(
        self, rows: NDArray[np.int64], place: tuple[Floats, Floats, Floats], source: str
    ) -> None:
        """Fill rows whose place is known now; leave the others as they are."""
        known = np.isfinite(place[0])
        for target, values in zip((self.easting, self.northing, self.height), place, strict=True):
            target[rows[known]] = values[known]
        self.source[rows[known]] = source


@dataclass
class _Work:
    """What the step works on."""

    recorded: Table
    seconds: Floats
    crs: str
    settings: Mapping[str, Any]
    places: _Places
    found: FindingList = field(default_factory=lambda: FindingList("position"))


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return position, smoothed height and sensor height of each rover reading."""
    recorded = table(inputs, "rover_recorded")
    seconds = table(inputs, "rover_times").seconds("time_utc")
    count = len(recorded)
    places = _Places(count)
    work = _Work(recorded, seconds, settings["survey.crs"], settings["position"], places)
    spans = file_rows(document(inputs, "rover_files"))
    track = _track(table(inputs, "track_recorded"), table(inputs, "track_times"), work.crs)
    for done, span in enumerate(spans):
        _place_file(work, span, track)
        context.progress(done + 1, len(spans))
    heights = settings["instruments.*.sensor_height_m"]
    _tell_missing(work, spans)
    return {
        "rover_positions": _table(work, _smooth_heights(work, spans), spans, heights),
        "position_findings": work.found.table(),
    }


def _track(recorded: Table, times: Table, crs: str) -> dict[str, Floats]:
    """Return the points of all tracks in order of time, projected."""
    seconds = times.seconds("time_utc")
    order = np.argsort(seconds, kind="stable")
    order = order[np.isfinite(seconds[order])]
    order = order[np.diff(seconds[order], prepend=-np.inf) > 0]
    longitude, latitude = (recorded.floats(f"{name}_deg") for name in ("longitude", "latitude"))
    easting, northing = to_projected(longitude[order], latitude[order], crs=crs)
    return {
        "track_time_s": seconds[order],
        "track_easting_m": easting,
        "track_northing_m": northing,
        "track_height_m": recorded.floats("height_m")[order],
    }


def _place_file(work: _Work, span: FileRows, track: dict[str, Floats]) -> None:
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


def _own_place(
    work: _Work, span: FileRows, rows: NDArray[np.int64]
) -> tuple[Floats, Floats, Floats] | None:
    """Return the place that the file itself gives, or None when it has no positions."""
    easting, northing, height = (
        work.recorded.floats(f"{name}_m")[rows] for name in ("easting", "northing", "height")
    )
    longitude, latitude = (
        work.recorded.floats(f"{name}_deg")[rows] for name in ("longitude", "latitude")
    )
    stated = span.position.get("crs")
    if np.isfinite(longitude).any():
        datum = stated or WGS84
        easting, northing = to_projected(longitude, latitude, crs=work.crs, geographic=datum)
    elif not np.isfinite(easting).any():
        return None
    else:
        easting, northing = _into_survey(work, easting, northing, stated)
    return easting, northing, height


def _into_survey(
    work: _Work, easting: Floats, northing: Floats, stated: str | None
) -> tuple[Floats, Floats]:
    """Return projected positions in the survey's own reference system."""
    if stated is None or stated == work.crs:
        return easting, northing
    longitude, latitude = to_geographic(easting, northing, crs=stated)
    return to_projected(longitude, latitude, crs=work.crs)


def _bridge(work: _Work, rows: NDArray[np.int64]) -> None:
    """Bridge short losses of the fix by straight lines between the fixes beside them."""
    times, places = work.seconds[rows], work.places
    fixed = np.isfinite(places.easting[rows]) & np.isfinite(times)
    missing = rows[~np.isfinite(places.easting[rows])]
    known = rows[fixed]
    known = known[np.argsort(work.seconds[known], kind="stable")]
    known = known[np.diff(work.seconds[known], prepend=-np.inf) > 0]
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


def _from_local_grid(work: _Work, span: FileRows, rows: NDArray[np.int64]) -> None:
    """Place readings by line and station of a grid that is tied to surveyed pegs."""
    lines = work.recorded.strings("line")[span.rows]
    local_east = np.array([_line_number(name, span.name) for name in lines])
    pegs = span.position.get("pegs") or []
    tie = tie_local_grid(
        [float(peg["line"]) for peg in pegs],
        [float(peg["station"]) for peg in pegs],
        easting_m=[peg["easting"] for peg in pegs],
        northing_m=[peg["northing"] for peg in pegs],
    )
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
        severity="information" if abs(tie.scale - 1) < 0.05 else "doubt",
        instrument=span.instrument,
        file=span.name,
    )


def _line_number(name: str | None, file: str) -> float:
    """Return the local easting that a line's name stands for."""
    try:
        return float(name) if name is not None else np.nan
    except ValueError as error:
        raise InputError(
            "In a local grid the name of a line must be its local easting in metres.",
            file=file,
            value=name,
            remedy="Number the lines, west negative.",
        ) from error


def _smooth_heights(work: _Work, spans: list[FileRows]) -> Floats:
    """Return smoothed heights, file by file; the setting where a file has none."""
    heights = np.full(len(work.recorded), work.settings["height_m"])
    for span in spans:
        rows = np.arange(span.start, span.stop)
        rows = rows[np.isfinite(work.seconds[rows])]
        rows = rows[np.argsort(work.seconds[rows], kind="stable")]
        if np.isfinite(work.places.height[rows]).any():
            times, first, again = np.unique(
                work.seconds[rows], return_index=True, return_inverse=True
            )
            smooth = smooth_height(
                times,
                work.places.height[rows][first],
                window_s=work.settings["height_window_s"],
            )
            heights[rows] = smooth[again]
    return heights


def _tell_missing(work: _Work, spans: list[FileRows]) -> None:
    """Add a finding for each stretch without a position."""
    for span in spans:
        rows = np.arange(span.start, span.stop)
        rows = rows[np.isfinite(work.seconds[rows])]
        rows = rows[np.argsort(work.seconds[rows], kind="stable")]
        lacking = ~np.isfinite(work.places.easting[rows])
        lost = marked_spans(lacking, time_s=work.seconds[rows])
        for first, last in zip(lost.first, lost.last, strict=True):
            start, end = work.seconds[rows[first]], work.seconds[rows[last]]
            work.found.add(
                "no position",
                f"{span.instrument}: {amount(last - first + 1, 'reading')} without a position for "
                f"{duration_text(end - start)}.",
                severity="doubt",
                instrument=span.instrument,
                start_s=start,
                end_s=end,
                file=span.name,
                line_in_file=work.recorded.frame["line_in_file"][int(rows[first])],
            )


def _table(
    work: _Work, heights: Floats, spans: list[FileRows], sensor: Mapping[str, float]
) -> Positions:
    """Return the places as their table."""
    places = work.places
    longitude, latitude = to_geographic(places.easting, places.northing, crs=work.crs)
    above = np.full(len(heights), 2.0)
    for span in spans:
        above[span.rows] = sensor.get(span.instrument, 2.0)
    columns = {
        "easting_m": places.easting,
        "northing_m": places.northing,
        "latitude_deg": latitude,
        "longitude_deg": longitude,
        "height_m": heights,
        "height_above_ground_m": above,
    }
    frame = pl.DataFrame({name: float_column(values) for name, values in columns.items()})
    source = pl.Series("source", places.source.tolist(), dtype=pl.String)
    return Positions(frame.with_columns(source))
