"""Reference field: IGRF-14 at each reading, at the datum's epoch and a smoothed height."""

from collections.abc import Mapping
from datetime import datetime
from functools import partial
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.geomagnetic import decimal_year, total_field
from lodewalk.records import Document, Record
from lodewalk.records.products import Reference
from lodewalk.records.table import float_column
from lodewalk.steps.context import Context
from lodewalk.steps.rows import document, table

Floats = NDArray[np.float64]
#: Readings in one part; fixed, so that the number of threads can't matter.
PART = 16_384


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the intensity of the reference field at each rover reading."""
    del settings
    positions = table(inputs, "rover_positions")
    heights = table(inputs, "rover_heights").floats("height_m")
    angles = (positions.floats(name) for name in ("latitude_deg", "longitude_deg"))
    places = np.stack([*angles, heights])
    seconds = table(inputs, "rover_times").seconds("time_utc")
    year = _epoch_year(document(inputs, "datum"), seconds)
    parts = [places[:, start : start + PART] for start in range(0, len(positions), PART)]
    fields = context.map(partial(_intensity, year=year), parts)
    reference = np.concatenate(fields) if fields else np.zeros(0)
    return {"rover_reference": Reference(pl.DataFrame({"reference_nT": float_column(reference)}))}


def _intensity(places: Floats, *, year: float) -> Floats:
    """Return the intensity at latitude, longitude and height, the rows of `places`."""
    return total_field(places[0], places[1], places[2], decimal_year=year)


def _epoch_year(datum: Document, seconds: Floats) -> float:
    """Return the datum's epoch, or the middle of the survey where there is no datum."""
    if datum["epoch_utc"]:
        moment = datetime.fromisoformat(datum["epoch_utc"]).timestamp()
    else:
        known = seconds[np.isfinite(seconds)]
        moment = float(np.median(known)) if known.size else 0.0
    return float(decimal_year(moment))
