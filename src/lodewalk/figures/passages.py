"""Passages: unbroken walks along one line by one instrument, for drawing."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lodewalk.records.products import Lines, Readings

#: A pause this long on one line begins a new passage [s].
LONGEST_PAUSE_S = 1800.0


@dataclass(frozen=True)
class Passage:
    """Rows of the readings, in order of time, of one walk along a line."""

    line: str
    instrument: str
    rows: NDArray[np.intp]


def passages(readings: Readings) -> list[Passage]:
    """Return the passages of all lines, by instrument and then by time.

    Readings off the lines, without time or without position are left out.
    """
    names = np.array([name or "" for name in readings.strings("line")])
    tools = np.array([name or "" for name in readings.strings("instrument")])
    time = readings.seconds("time_utc")
    usable = (names != "") & np.isfinite(time)
    usable &= np.isfinite(readings.floats("easting_m") + readings.floats("northing_m"))
    rows = np.flatnonzero(usable)
    rows = rows[np.lexsort((rows, time[rows], tools[rows]))]
    if rows.size == 0:
        return []
    change = (names[rows][1:] != names[rows][:-1]) | (tools[rows][1:] != tools[rows][:-1])
    change |= np.diff(time[rows]) > LONGEST_PAUSE_S
    parts = np.split(rows, np.flatnonzero(change) + 1)
    return [Passage(str(names[part[0]]), str(tools[part[0]]), part) for part in parts]


def drawable_lines(readings: Readings) -> list[str]:
    """Return, sorted, the names of the lines that have a reading with time and position.

    No other line has a profile, see `draw_line_profile`.

    Examples
    --------
    >>> drawable_lines(Readings.empty())
    []
    """
    return sorted({passage.line for passage in passages(readings)})


def without_base(readings: Readings) -> NDArray[np.bool_]:
    """Return which readings are sound but have no diurnal correction, for lack of a base.

    A reading dropped for a reason of its own, such as a spike, isn't one of them.
    """
    named = np.array(
        ["base" in (reason or "") for reason in readings.strings("reason")], dtype=bool
    )
    lacking = np.isnan(readings.floats("diurnal_nT")) & np.isfinite(readings.floats("raw_nT"))
    return named & lacking


def tie_lines(lines: Lines) -> set[str]:
    """Return the names of the tie lines."""
    flags = lines.booleans("tie")
    return {name for name, tie in zip(lines.strings("line"), flags, strict=True) if tie and name}


def usable_anomaly(readings: Readings) -> NDArray[np.float64]:
    """Return the anomaly [nT] where the reading is kept, NaN elsewhere."""
    return np.where(readings.booleans("kept"), readings.floats("anomaly_nT"), np.nan)


def axis_of(east: NDArray[np.float64], north: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the unit vector (east, north) of the best straight line through points.

    It points into the half from north-west by north and east to south-east, so that profiles of
    lines walked to and fro all run the same way.
    """
    offset = np.column_stack((east - east.mean(), north - north.mean()))
    axis: NDArray[np.float64] = np.array([0.0, 1.0])
    if np.ptp(offset) > 0:
        axis = np.linalg.svd(offset, full_matrices=False)[2][0]
    return axis if axis[0] + axis[1] >= 0 else -axis


def with_breaks(
    distance: NDArray[np.float64], *values: NDArray[np.float64]
) -> tuple[NDArray[np.float64], ...]:
    """Put a NaN where the distance jumps by much more than a step, so a curve breaks there."""
    step = np.abs(np.diff(distance))
    walked = step[step > 0]
    limit = max(6 * float(np.median(walked)), 5.0) if walked.size else np.inf
    at = np.flatnonzero(step > limit) + 1
    return tuple(np.insert(array.astype(float), at, np.nan) for array in (distance, *values))
