"""Position: each rover reading's place, from its own fix, a track or the local grid."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.adapters.projection import to_geographic
from lodewalk.methods.checks.spans import marked_spans
from lodewalk.methods.corrections.height import smooth_height
from lodewalk.records import Record
from lodewalk.records.products import Heights, Positions
from lodewalk.records.table import float_column
from lodewalk.steps.context import Context
from lodewalk.steps.findings import FindingList, amount, duration_text
from lodewalk.steps.places import Places, Work, place_file
from lodewalk.steps.rows import FileRows, document, file_rows, instruments, own_value, table, timed
from lodewalk.steps.tracks import track_for, tracks_of

Floats = NDArray[np.float64]


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return position, smoothed height and sensor height of each rover reading."""
    recorded = table(inputs, "rover_recorded")
    seconds = table(inputs, "rover_times").seconds("time_utc")
    crs, own = settings["survey.crs"], settings["position"]
    work = Work(recorded, seconds, crs, own, Places(len(recorded)), FindingList("position"))
    files = document(inputs, "rover_files")
    tracks = tracks_of(
        table(inputs, "track_recorded"),
        table(inputs, "track_times").seconds("time_utc"),
        document(inputs, "track_files"),
        crs=crs,
        max_speed_m_s=own["max_speed_m_s"],
    )
    spans = file_rows(files)
    for done, span in enumerate(spans, 1):
        place_file(work, span, track_for(span, seconds[span.rows], tracks, instruments(files)))
        context.progress(done, len(spans))
    _tell_missing(work, spans)
    heights = _heights(work, spans, settings["instruments.*.geoid_m"])
    sensor = settings["instruments.*.sensor_height_m"]
    return {
        "rover_positions": _positions(work, spans, sensor),
        "rover_heights": Heights(pl.DataFrame({"height_m": float_column(heights)})),
        "position_findings": work.found.table(),
    }


def _heights(work: Work, spans: list[FileRows], geoid: Mapping[str, float]) -> Floats:
    """Return smoothed heights above the ellipsoid; the setting where a file has none."""
    heights = np.full(len(work.recorded), work.settings["height_m"])
    for span in spans:
        rows = timed(np.arange(span.start, span.stop), work.seconds)
        if np.isfinite(work.places.height[rows]).any():
            times, first, again = np.unique(
                work.seconds[rows], return_index=True, return_inverse=True
            )
            smooth = smooth_height(
                times,
                work.places.height[rows][first],
                window_s=work.settings["height_window_s"],
            )
            heights[rows] = smooth[again] + own_value(geoid, span.instrument)
    return heights


def _tell_missing(work: Work, spans: list[FileRows]) -> None:
    """Add a finding for each stretch without a position."""
    for span in spans:
        rows = timed(np.arange(span.start, span.stop), work.seconds)
        lacking = ~np.isfinite(work.places.easting[rows])
        lost = marked_spans(lacking, time_s=work.seconds[rows])
        for first, last in zip(lost.first, lost.last, strict=True):
            start, end = work.seconds[rows[first]], work.seconds[rows[last]]
            count = amount(int(last - first) + 1, "reading")
            work.found.add(
                "no position",
                f"{span.instrument}: {count} without a position for {duration_text(end - start)}.",
                severity="doubt",
                instrument=span.instrument,
                start_s=start,
                end_s=end,
                file=span.name,
                line_in_file=work.recorded.frame["line_in_file"][int(rows[first])],
            )


def _positions(work: Work, spans: list[FileRows], sensor: Mapping[str, float]) -> Positions:
    """Return the places as their table."""
    places = work.places
    longitude, latitude = to_geographic(places.easting, places.northing, crs=work.crs)
    above = np.full(len(work.recorded), np.nan)
    for span in spans:
        above[span.rows] = own_value(sensor, span.instrument)
    columns = {
        "easting_m": places.easting,
        "northing_m": places.northing,
        "latitude_deg": latitude,
        "longitude_deg": longitude,
        "height_above_ground_m": above,
    }
    frame = pl.DataFrame({name: float_column(values) for name, values in columns.items()})
    source = pl.Series("source", places.source.tolist(), dtype=pl.String)
    return Positions(frame.with_columns(source))
