"""Crossings: places that rovers read at two times, by crossing lines or standing there again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.checks.spans import marked_spans
from lodewalk.methods.corrections.crossings import at_positions, find_crossings
from lodewalk.records import Record
from lodewalk.records.products import Crossings
from lodewalk.records.table import float_column, utc_column
from lodewalk.steps.context import Context
from lodewalk.steps.rows import document, in_time_order, table

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]
#: Lines that meet at a smaller angle than this run along each other [deg].
LEAST_ANGLE_DEG = 20.0
#: Readings of a line farther apart than this many usual steps are not joined.
GAP_STEPS = 6.0
#: Spread of recorded positions where nothing better is known [m]; common practice.
POSITION_SD_M = 2.0
#: A stand is a stretch of at least this long within `STAND_M` [s].
STAND_S = 20.0
STAND_M = 3.0
#: Stands that lie this close are on one spot [m], if this far apart in time [s].
SAME_SPOT_M = 5.0
APART_S = 300.0
#: Least noise of the level of a stand: nobody stands on the same spot to the metre [nT].
STAND_NOISE_NT = 0.2


@dataclass(frozen=True)
class Walked:
    """All rover readings that are kept and placed, rover by rover in order of time."""

    rows: Rows
    passage: Rows
    seconds: Floats
    easting: Floats
    northing: Floats
    field_nT: Floats
    instrument: list[str]
    line: list[str | None]
    position_sd_m: Floats


@dataclass(frozen=True)
class Stand:
    """A stretch in which a rover stood still."""

    instrument: str
    start_s: float
    end_s: float
    easting: float
    northing: float
    field_nT: float
    sd_nT: float

    @property
    def second(self) -> float:
        """Time of its middle [s]."""
        return (self.start_s + self.end_s) / 2


@dataclass(frozen=True)
class Side:
    """The first or the second readings of pairs."""

    instrument: Sequence[str]
    line: Sequence[str | None]
    passage: Sequence[int | None]
    seconds: Floats
    slope_nT_m: Floats
    position_sd_m: Floats


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return crossings and revisited stands with the difference of their readings."""
    del settings, context
    walked = walked_readings(inputs)
    found = _crossing_frames(walked) + _stand_frames(stands(walked))
    if not found:
        return {"crossings": Crossings.empty()}
    return {"crossings": Crossings(pl.concat(found).sort("first_utc", maintain_order=True))}


def walked_readings(inputs: Mapping[str, Record]) -> Walked:
    """Return the readings that are kept and have a place."""
    seconds = table(inputs, "rover_times").seconds("time_utc")
    positions = table(inputs, "rover_positions")
    easting, northing = positions.floats("easting_m"), positions.floats("northing_m")
    lines = table(inputs, "rover_lines").frame
    passage = lines["passage"].fill_null(-1).to_numpy()
    usable = table(inputs, "rover_checks").booleans("kept") & np.isfinite(easting)
    parts, names = [], []
    for name, rows in in_time_order(document(inputs, "rover_files"), seconds):
        parts.append(rows[usable[rows]])
        names += [name] * parts[-1].size
    rows = np.concatenate(parts) if parts else np.zeros(0, dtype=np.int64)
    named = lines["line"].to_list()
    return Walked(
        rows,
        passage[rows],
        seconds[rows],
        easting[rows],
        northing[rows],
        table(inputs, "rover_recorded").floats("raw_nT")[rows],
        names,
        [named[row] for row in rows],
        np.nan_to_num(positions.floats("sd_m")[rows], nan=POSITION_SD_M),
    )


def _crossing_frames(walked: Walked) -> list[pl.DataFrame]:
    """Return the crossings of lines, as a frame if there are any."""
    on_line = np.flatnonzero(walked.passage >= 0)
    order = on_line[np.argsort(walked.passage[on_line], kind="stable")]
    if order.size < 4:
        return []
    east, north, passage = walked.easting[order], walked.northing[order], walked.passage[order]
    steps = np.hypot(np.diff(east), np.diff(north))[np.diff(passage) == 0]
    usual = float(np.median(steps)) if steps.size else 0.0
    if usual <= 0:
        return []
    found = find_crossings(passage, east, north, max_gap_m=GAP_STEPS * usual)
    good = np.flatnonzero(found.angle_deg >= LEAST_ANGLE_DEG)
    if not good.size:
        return []
    value, slope = walked.field_nT[order], _slope(walked, order)
    times, noise = walked.seconds[order], _noise(walked, order)
    first, second = found.first[good], found.second[good]
    shift = slope * walked.position_sd_m[order]
    sd = np.sqrt(at_positions(first, shift) ** 2 + at_positions(second, shift) ** 2 + 2 * noise**2)
    position_sd = walked.position_sd_m[order]
    sides = [
        Side(
            [walked.instrument[row] for row in before],
            [walked.line[row] for row in before],
            [int(walked.passage[row]) for row in before],
            at_positions(part, times),
            at_positions(part, slope),
            at_positions(part, position_sd),
        )
        for part in (first, second)
        for before in [order[np.floor(part).astype(np.int64)]]
    ]
    return [
        _frame(
            "crossing",
            sides,
            place=(found.easting[good], found.northing[good], found.angle_deg[good]),
            difference=at_positions(first, value) - at_positions(second, value),
            sd=sd,
        )
    ]


def _slope(walked: Walked, order: Rows) -> Floats:
    """Return the steepness along the walk at each reading, over its neighbours [nT/m]."""
    step = np.hypot(np.gradient(walked.easting[order]), np.gradient(walked.northing[order]))
    slope = np.abs(np.gradient(walked.field_nT[order])) / np.maximum(step, 0.3)
    edge = np.diff(walked.passage[order], prepend=-2, append=-2) != 0
    slope[edge[:-1] | edge[1:]] = np.nan
    steep: Floats = np.where(np.isfinite(slope), slope, np.nanmedian(slope))
    return steep


def _noise(walked: Walked, order: Rows) -> float:
    """Return a rough noise of a reading from third differences; steep places count little [nT]."""
    third = np.diff(walked.field_nT[order], 3)
    return float(np.median(np.abs(third)) / 0.6745 / np.sqrt(20.0))


def stands(walked: Walked) -> list[Stand]:
    """Return the stretches in which a rover stood still."""
    found: list[Stand] = []
    names = np.array(walked.instrument, dtype=object)
    for name in dict.fromkeys(walked.instrument):
        rows = np.flatnonzero(names == name)
        for part in _still(walked, rows):
            value = walked.field_nT[part]
            spread = float(np.std(np.diff(value))) / np.sqrt(2)
            found.append(
                Stand(
                    name,
                    float(walked.seconds[part[0]]),
                    float(walked.seconds[part[-1]]),
                    float(np.median(walked.easting[part])),
                    float(np.median(walked.northing[part])),
                    float(np.median(value)),
                    max(spread / np.sqrt(part.size / 4), STAND_NOISE_NT),
                )
            )
    return found


def _still(walked: Walked, rows: Rows) -> list[Rows]:
    """Return the runs of readings over which the rover stayed within `STAND_M`."""
    seconds, east, north = walked.seconds[rows], walked.easting[rows], walked.northing[rows]
    later = np.searchsorted(seconds, seconds + STAND_S)
    inside = np.flatnonzero(later < rows.size)
    then = later[inside]
    near = np.hypot(east[then] - east[inside], north[then] - north[inside]) <= STAND_M
    near &= seconds[then] - seconds[inside] <= 2 * STAND_S
    still = np.zeros(rows.size, dtype=bool)
    still[inside] = near
    spans = marked_spans(still, time_s=seconds)
    return [rows[a : later[b] + 1] for a, b in zip(spans.first, spans.last, strict=True)]


def _stand_frames(found: list[Stand]) -> list[pl.DataFrame]:
    """Return the pairs of stands on one spot, as a frame if there are any."""
    pairs = [
        (one, other)
        for one, other in combinations(found, 2)
        if abs(other.second - one.second) > APART_S
        and np.hypot(one.easting - other.easting, one.northing - other.northing) < SAME_SPOT_M
        and one.instrument == other.instrument
    ]
    if not pairs:
        return []
    nothing = np.full(len(pairs), np.nan)
    sides = [
        Side(
            [item.instrument for item in own],
            [None] * len(own),
            [None] * len(own),
            np.array([item.second for item in own]),
            nothing,
            nothing,
        )
        for own in zip(*pairs, strict=True)
    ]
    return [
        _frame(
            "stand",
            sides,
            place=(
                np.array([one.easting for one, _ in pairs]),
                np.array([one.northing for one, _ in pairs]),
                nothing,
            ),
            difference=np.array([a.field_nT - b.field_nT for a, b in pairs]),
            sd=np.array([np.hypot(a.sd_nT, b.sd_nT) for a, b in pairs]),
        )
    ]


def _frame(
    kind: str,
    sides: Sequence[Side],
    *,
    place: tuple[Floats, Floats, Floats],
    difference: Floats,
    sd: Floats,
) -> pl.DataFrame:
    """Return pairs of readings as a frame; those whose difference isn't known are left out."""
    columns: dict[str, Any] = {}
    for name, side in zip(("first", "second"), sides, strict=True):
        columns[f"{name}_instrument"] = pl.Series(side.instrument, dtype=pl.String)
        columns[f"{name}_line"] = pl.Series(side.line, dtype=pl.String)
        columns[f"{name}_passage"] = pl.Series(side.passage, dtype=pl.Int64)
        columns[f"{name}_utc"] = utc_column(side.seconds)
        columns[f"{name}_slope_nT_m"] = float_column(side.slope_nT_m)
        columns[f"{name}_position_sd_m"] = float_column(side.position_sd_m)
    frame = pl.DataFrame(
        {
            "kind": [kind] * difference.size,
            **columns,
            "easting_m": float_column(place[0]),
            "northing_m": float_column(place[1]),
            "angle_deg": float_column(place[2]),
            "difference_nT": float_column(difference),
            "sd_nT": float_column(sd),
        }
    )
    return frame.select(column.name for column in Crossings.SCHEMA).filter(
        pl.col("difference_nT").is_not_null()
    )
