"""Lines: passages of survey lines, by marks in the files, by plan or by the track."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.errors import SettingsError
from lodewalk.methods.checks.fourth_difference import noise_by_group
from lodewalk.methods.corrections.lines import passage_geometry, split_track, tie_lines
from lodewalk.methods.corrections.plan_lines import assign_to_plan
from lodewalk.methods.corrections.repeat_lines import is_repeat
from lodewalk.records import Record, Table
from lodewalk.records.products import Lines, ReadingLines
from lodewalk.records.table import float_column, utc_column
from lodewalk.steps.context import Context
from lodewalk.steps.planned import Plan, planned
from lodewalk.steps.rows import document, file_rows, in_time_order, table
from lodewalk.steps.set_up import read_mark

Floats = NDArray[np.float64]
Names = NDArray[np.object_]
#: A passage ends where its line isn't read for longer than this [s] (common practice).
PAUSE_S = 600.0


@dataclass(frozen=True)
class _Rover:
    """The readings of all rovers while lines are told apart."""

    recorded: Table
    seconds: Floats
    easting: Floats
    northing: Floats


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the line of each rover reading, and the table of passages."""
    del context
    positions = table(inputs, "rover_positions")
    rover = _Rover(
        table(inputs, "rover_recorded"),
        table(inputs, "rover_times").seconds("time_utc"),
        positions.floats("easting_m"),
        positions.floats("northing_m"),
    )
    plan = planned(table(inputs, "plan_recorded"), settings["survey.crs"])
    names = _names(inputs, rover, plan, settings["lines"])
    passages = _passages(inputs, rover, names)
    number = np.full(names.shape, -1, dtype=np.int64)
    distance = np.full(names.shape, np.nan)
    checks = table(inputs, "rover_checks")
    kept, noise = checks.booleans("kept"), _noise(passages, checks.floats("fourth_difference_nT"))
    described = []
    for place, (instrument, rows) in enumerate(passages):
        about, along = _described(rover, rows, kept)
        number[rows], distance[rows] = place, along
        own = {"line": str(names[rows[0]]), "instrument": instrument, "noise_nT": noise[place]}
        described.append(own | about)
    on_line = pl.Series(names.tolist(), dtype=pl.String)
    frame = pl.DataFrame({"line": on_line, "distance_m": float_column(distance)})
    passage = pl.Series(number).replace(-1, None)
    return {
        "rover_lines": ReadingLines(frame.with_columns(passage=passage)),
        "lines": _lines_table(described),
    }


def _described(
    rover: _Rover, rows: NDArray[np.int64], kept: NDArray[np.bool_]
) -> tuple[dict[str, Any], Floats]:
    """Return what the table of lines says of a passage, and the distance along it."""
    length, azimuth, along = passage_geometry(rover.easting[rows], rover.northing[rows])
    start, end = rover.seconds[rows[0]], rover.seconds[rows[-1]]
    about = {
        "day": datetime.fromtimestamp(start, UTC).strftime("%Y-%m-%d"),
        "readings": rows.size,
        "kept": int(kept[rows].sum()),
        "length_m": length,
        "azimuth_deg": azimuth,
        "start": start,
        "end": end,
    }
    return about, along


def _names(
    inputs: Mapping[str, Record],
    rover: _Rover,
    plan: Plan,
    settings: Mapping[str, Any],
) -> Names:
    """Return the name of the line of each reading, None off the lines.

    Files that name their lines are taken at their word, the others go by plan or track.
    """
    files = document(inputs, "rover_files")
    names = np.full(rover.seconds.shape, None, dtype=object)
    source = settings["source"]
    if source in ("auto", "marks"):
        names[:] = [_survey_line(name) for name in rover.recorded.strings("line")]
    marked = np.zeros(names.shape, dtype=bool)
    for span in file_rows(files):
        marked[span.rows] = any(name is not None for name in names[span.rows])
    _check_source(source, plan=bool(plan.lines), marked=bool(marked.any()), rows=names.size)
    for instrument, every in in_time_order(files, rover.seconds):
        rows = every[~marked[every]]
        if source == "marks" or not rows.size:
            continue
        if plan.lines and source != "track":
            found = _across_losses(_by_plan(rover, rows, plan.lines, settings), rover, rows)
            names[rows] = _with_repeats(found, rover, rows, plan, settings)
        elif source != "plan":
            found = _by_track(rover, rows, instrument, settings)
            names[rows] = _across_losses(found, rover, rows)
    return names


def _survey_line(name: str | None) -> str | None:
    """Return the name of a line; a mark such as check station or static run names none."""
    return None if read_mark(name) else name


def _check_source(source: str, *, plan: bool, marked: bool, rows: int) -> None:
    """Raise when the setting asks for what the survey doesn't have."""
    missing = {"plan": not plan, "marks": not marked}
    if rows and missing.get(source):
        what = {"plan": "no planned lines were added", "marks": "no rover file names its lines"}
        raise SettingsError(
            f"Setting lines.source is {source}, but {what[source]}.",
            file="survey.toml",
            remedy="Set it to auto, or add what is missing.",
        )


def _across_losses(found: Names, rover: _Rover, rows: NDArray[np.int64]) -> Names:
    """Let a line go on over readings without a position, where it is walked before and after."""
    lost = np.isnan(rover.easting[rows])
    known = np.flatnonzero(~lost)
    if not known.size:
        return found
    place = np.searchsorted(known, np.flatnonzero(lost))
    before = found[known[np.maximum(place - 1, 0)]]
    after = found[known[np.minimum(place, known.size - 1)]]
    inside = (place > 0) & (place < known.size) & (before == after)
    filled = found.copy()
    filled[np.flatnonzero(lost)[inside]] = before[inside]
    return filled


def _by_plan(
    rover: _Rover, rows: NDArray[np.int64], plan: Mapping[str, Floats], settings: Mapping[str, Any]
) -> Names:
    """Return the planned line that each reading lies on."""
    index, _, _ = assign_to_plan(
        rover.easting[rows],
        rover.northing[rows],
        list(plan.values()),
        off_line_m=settings["off_line_m"],
        smoothing_m=settings["smoothing_m"],
    )
    return _named(index, list(plan))


def _with_repeats(
    found: Names, rover: _Rover, rows: NDArray[np.int64], plan: Plan, settings: Mapping[str, Any]
) -> Names:
    """Name the passages that stay within the ends of a repeat line by it."""
    named = found.copy()
    beyond = settings["off_line_m"] + settings["smoothing_m"]  # where a turn on foot ends
    for name, (host, stretch) in plan.repeats.items():
        here = np.flatnonzero(found == host)
        for part in _unbroken(here, rover.seconds[rows[here]]):
            own = rows[part]
            if is_repeat(rover.easting[own], rover.northing[own], stretch, beyond_m=beyond):
                named[part] = name
    return named


def _unbroken(place: NDArray[np.int64], seconds: Floats) -> list[NDArray[np.int64]]:
    """Return places in order of time, cut where others lie between or the line was left long."""
    if not place.size:
        return []
    return np.split(place, np.flatnonzero((np.diff(place) > 1) | (np.diff(seconds) > PAUSE_S)) + 1)


def _by_track(
    rover: _Rover, rows: NDArray[np.int64], instrument: str, settings: Mapping[str, Any]
) -> Names:
    """Return the straight walk that each reading belongs to, named by instrument and number."""
    number = split_track(
        rover.seconds[rows],
        rover.easting[rows],
        rover.northing[rows],
        min_length_m=settings["min_length_m"],
        max_turn_deg=settings["max_turn_deg"],
        smoothing_m=settings["smoothing_m"],
        max_gap_s=PAUSE_S,
    )
    count = int(number.max(initial=-1)) + 1
    return _named(number, [f"{instrument}-{item + 1:03d}" for item in range(count)])


def _named(index: NDArray[np.int64], names: list[str]) -> Names:
    """Return the name for each index, None for -1."""
    return np.array([*names, None], dtype=object)[index]


def _passages(
    inputs: Mapping[str, Record], rover: _Rover, names: Names
) -> list[tuple[str, NDArray[np.int64]]]:
    """Return instrument and rows of each unbroken passage of a line, in order of time."""
    passages = []
    for instrument, rows in in_time_order(document(inputs, "rover_files"), rover.seconds):
        here = rows[[name is not None for name in names[rows]]]
        if not here.size:
            continue
        new = (names[here][1:] != names[here][:-1]) | (np.diff(rover.seconds[here]) > PAUSE_S)
        passages += [(instrument, part) for part in np.split(here, np.flatnonzero(new) + 1)]
    return sorted(passages, key=lambda item: (rover.seconds[item[1][0]], item[0]))


def _noise(passages: list[tuple[str, NDArray[np.int64]]], fourth: Floats) -> Floats:
    """Return the noise of each passage from its fourth differences."""
    group = np.full(fourth.shape, -1, dtype=np.int64)
    for place, (_, rows) in enumerate(passages):
        group[rows] = place
    found = noise_by_group(fourth, group)
    noise = np.full(len(passages), np.nan)
    noise[found.group] = found.sd_nT
    return noise


def _lines_table(rows: list[dict[str, Any]]) -> Lines:
    """Return the passages as their table; tie lines are those across the main direction."""
    if not rows:
        return Lines.empty()
    numbers = {
        name: np.array([row[name] for row in rows], dtype=np.float64)
        for name in ("length_m", "azimuth_deg", "noise_nT", "start", "end")
    }
    ties = tie_lines(numbers["azimuth_deg"], numbers["length_m"])
    columns: dict[str, Any] = {
        name: [row[name] for row in rows]
        for name in ("line", "instrument", "day", "readings", "kept")
    }
    columns |= {
        name: float_column(numbers[name]) for name in ("length_m", "azimuth_deg", "noise_nT")
    }
    columns |= {f"{end}_utc": utc_column(numbers[end]) for end in ("start", "end")}
    return Lines(pl.DataFrame(columns | {"tie": pl.Series(ties)}))
