"""Facing: the stands of turn-around tests, each with its heading from a mark or from the walk."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.adapters.projection import grid_convergence_deg
from lodewalk.methods.corrections.heading_stands import part_stands, passes_over, stand_level
from lodewalk.methods.corrections.lines import passage_geometry
from lodewalk.methods.geomagnetic import decimal_year, site_values
from lodewalk.records import Record
from lodewalk.steps.rows import document, table
from lodewalk.steps.set_up import facings
from lodewalk.steps.trial_spans import TrialSpan

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]
#: Left out at either end of a marked stand that lasts long enough: the turn [s].
TURNING_S = 2.0
#: A pass over the point of the test is at least this long [m], else somebody stands there.
PASS_M = 3.0


@dataclass(frozen=True)
class Readings:
    """All rover readings, less the diurnal correction where they are kept."""

    seconds: Floats
    easting: Floats
    northing: Floats
    field_nT: Floats


@dataclass(frozen=True)
class Stand:
    """One way that was faced in a test: heading from grid north, mean and its sd."""

    test: int
    heading_deg: float
    value_nT: float
    sd_nT: float


def stands_of(
    readings: Readings, test: int, spans: Sequence[TrialSpan], *, north_deg: float
) -> list[Stand]:
    """Return the stands of one test; none where nothing says which way was faced.

    `north_deg` is the direction of the north that facings are counted from [deg from grid north].
    """
    if len(spans) > 1 or len(facings(spans[0].item)) == 1:
        parts = [(facings(span.item)[0] + north_deg, _inner(readings, span)) for span in spans]
    elif facings(spans[0].item):
        parts = _parted(readings, spans[0], north_deg)
    else:
        parts = _walked(readings, spans[0])
    stands = []
    for heading, rows in parts:
        value, sd = stand_level(readings.seconds[rows], readings.field_nT[rows])
        if np.isfinite(value):
            stands.append(Stand(test, heading % 360.0, value, sd))
    return stands if len(stands) > 1 else []


def _inner(readings: Readings, span: TrialSpan) -> Rows:
    """Return the readings of a stand away from the turns at its ends."""
    seconds = readings.seconds[span.rows]
    away = np.minimum(seconds - seconds[0], seconds[-1] - seconds)
    inner = span.rows[away >= TURNING_S]
    return inner if inner.size > span.rows.size / 2 else span.rows


def _parted(readings: Readings, span: TrialSpan, north_deg: float) -> list[tuple[float, Rows]]:
    """Return the stands of a span that names all its facings in their order."""
    ways = facings(span.item)
    number = part_stands(
        readings.seconds[span.rows], readings.field_nT[span.rows], count=len(ways)
    )  # fmt: skip
    return [(way + north_deg, span.rows[number == place]) for place, way in enumerate(ways)]


def _walked(readings: Readings, span: TrialSpan) -> list[tuple[float, Rows]]:
    """Return the passes of a test that is walked over one point."""
    east, north = readings.easting[span.rows], readings.northing[span.rows]
    number = passes_over(east, north)
    parts = []
    for place in range(int(number.max(initial=-1)) + 1):
        own = np.flatnonzero(number == place)
        length, azimuth, _ = passage_geometry(east[own], north[own])
        if own.size > 1 and length >= PASS_M:
            parts.append((azimuth, span.rows[own]))
    return parts


def north_of(inputs: Mapping[str, Record], counted_from: str, crs: str) -> float:
    """Return the direction of magnetic, true or grid north [deg, clockwise from grid north]."""
    if counted_from == "grid":
        return 0.0
    positions = table(inputs, "rover_positions")
    columns = (
        positions.floats("latitude_deg"),
        positions.floats("longitude_deg"),
        table(inputs, "rover_heights").floats("height_m"),
    )
    if not all(np.isfinite(values).any() for values in columns):
        return 0.0
    latitude, longitude, height = (float(np.nanmedian(values)) for values in columns)
    turn = float(grid_convergence_deg(longitude, latitude, crs=crs))
    if counted_from == "true":
        return -turn
    year = float(decimal_year(_moment(inputs)))
    return float(site_values(latitude, longitude, height, decimal_year=year).declination_deg) - turn


def _moment(inputs: Mapping[str, Any]) -> float:
    """Return the datum's epoch, or the middle of the survey where there is no datum [s]."""
    epoch = document(inputs, "datum")["epoch_utc"]
    if epoch:
        return datetime.fromisoformat(epoch).timestamp()
    return float(np.nanmedian(table(inputs, "rover_times").seconds("time_utc")))
