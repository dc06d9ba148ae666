"""Position: each rover reading's place, from its own fix, a track or the local grid.

Places are given as recorded too, without arm and lag: what tells a lag must not move when a person
decides on it.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.adapters.projection import to_geographic
from lodewalk.methods.checks.spans import marked_spans
from lodewalk.methods.corrections.height import smooth_height
from lodewalk.methods.corrections.position_gaps import fill_position_gaps, fix_sd
from lodewalk.records import Record
from lodewalk.records.products import Heights, Positions
from lodewalk.records.table import float_column
from lodewalk.steps.context import Context
from lodewalk.steps.findings import FindingList, amount, duration_text
from lodewalk.steps.places import Places, Work, place_file
from lodewalk.steps.rows import (
    FileRows,
    at_distinct_times,
    document,
    file_rows,
    instruments,
    own_value,
    table,
    timed,
)
from lodewalk.steps.sensor import decided_lags, tell_idle_lags, to_sensor
from lodewalk.steps.tracks import Track, track_for, tracks_of

Floats = NDArray[np.float64]
#: Error of a station paced or taped between pegs (common practice) [m].
LOCAL_GRID_SD_M = 1.0
#: A loss of position no longer than this, as where a track begins late, spoils no line [s].
SHORT_LOSS_S = 10.0


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return position, smoothed height and sensor height of each rover reading."""
    work, spans, tracks = _placed(inputs, settings, context)
    recorded = _positions(work, spans, settings)
    lags = decided_lags(context.decisions, work.recorded, spans)
    tell_idle_lags(context.decisions, work, spans)
    moved = to_sensor(recorded, work, spans, tracks, settings=settings, lags=lags)
    heights = _heights(work, spans, settings["instruments.*.geoid_m"])
    return {
        "rover_positions": moved,
        "rover_recorded_positions": recorded,
        "rover_heights": Heights(pl.DataFrame({"height_m": float_column(heights)})),
        "position_findings": work.found.table(),
    }


def recorded_positions(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> Positions:
    """Return the positions without arm and lag."""
    work, spans, _ = _placed(inputs, settings, context)
    return _positions(work, spans, settings)


def _placed(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> tuple[Work, list[FileRows], dict[int, Track]]:
    """Place all readings; return the track of each file that has no fixes of its own as well."""
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
    used: dict[int, Track] = {}
    for done, span in enumerate(spans, 1):
        track = track_for(span, seconds[span.rows], tracks, instruments(files))
        place_file(work, span, track)
        if (work.places.source[span.rows] == "track").any():
            used[span.start] = track
        context.progress(done, len(spans))
    _tell_missing(work, spans)
    return work, spans, used


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
                severity="doubt" if end - start > SHORT_LOSS_S else "information",
                instrument=span.instrument,
                start_s=start,
                end_s=end,
                file=span.name,
                line_in_file=work.recorded.frame["line_in_file"][int(rows[first])],
            )


def _positions(work: Work, spans: list[FileRows], settings: Mapping[str, Any]) -> Positions:
    """Return the places as their table."""
    sensor = settings["instruments.*.sensor_height_m"]
    given = settings["instruments.*.position_sd_m"]
    places = work.places
    longitude, latitude = to_geographic(places.easting, places.northing, crs=work.crs)
    above, error = np.full(len(work.recorded), np.nan), np.full(len(work.recorded), np.nan)
    for span in spans:
        above[span.rows] = own_value(sensor, span.instrument)
        error[span.rows] = _errors(work, span, own_value(given, span.instrument))
    columns = {
        "easting_m": places.easting,
        "northing_m": places.northing,
        "latitude_deg": latitude,
        "longitude_deg": longitude,
        "height_above_ground_m": above,
        "sd_m": error,
    }
    frame = pl.DataFrame({name: float_column(values) for name, values in columns.items()})
    source = pl.Series("source", places.source.tolist(), dtype=pl.String)
    return Positions(frame.with_columns(source))


def _errors(work: Work, span: FileRows, given: float | None) -> Floats:
    """Return the error of each position of a file: of its fix, and of bridging its losses.

    What the settings give goes before the kind of fix.
    """
    rows = np.arange(span.start, span.stop)
    source = work.places.source[rows]
    recorded = work.recorded
    fix = fix_sd(recorded.strings("fix")[span.rows], hdop=recorded.floats("hdop")[rows])
    placed = np.isfinite(work.places.easting[rows])
    error = np.where(placed, np.where(np.isfinite(fix), fix, np.nanmedian([*fix, 3.0])), np.nan)
    error[source == "local grid"] = LOCAL_GRID_SD_M
    if given is not None:
        error[placed] = given
    order = at_distinct_times(timed(rows, work.seconds), work.seconds)
    bridged = source == "bridged"
    if bridged.any() and order.size > 2:
        own = ~bridged[order - span.start]
        filled = fill_position_gaps(
            work.seconds[order],
            np.where(own, work.places.easting[order], np.nan),
            np.where(own, work.places.northing[order], np.nan),
            max_gap_s=work.settings["track_gap_s"],
            fix_sd_m=error[order - span.start],
        )
        there = order - span.start
        error[there] = np.where(bridged[there] & filled.filled, filled.sd_m, error[there])
    return error
