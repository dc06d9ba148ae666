"""Reference field: IGRF-14 at each reading, at the datum's epoch and a smoothed height."""

from collections.abc import Mapping
from datetime import datetime
from functools import partial
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.geomagnetic import decimal_year, total_field
from lodewalk.methods.geomagnetic.stated_uncertainty import stated_uncertainty
from lodewalk.records import Document, Record
from lodewalk.records.products import Reference
from lodewalk.records.table import float_column
from lodewalk.steps.context import Context
from lodewalk.steps.findings import FindingList
from lodewalk.steps.rows import document, in_time_order, table

Floats = NDArray[np.float64]
#: Readings in one part; fixed, so that the number of threads can't matter.
PART = 16_384
#: A model's stated error at one place, which is mostly rocks, times this is worth knowing.
NOTED_SD = 3.0


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the reference field's intensity at each rover reading, and who lies far from it."""
    positions = table(inputs, "rover_positions")
    heights = table(inputs, "rover_heights").floats("height_m")
    angles = (positions.floats(name) for name in ("latitude_deg", "longitude_deg"))
    places = np.stack([*angles, heights])
    seconds = table(inputs, "rover_times").seconds("time_utc")
    year = _epoch_year(document(inputs, "datum"), seconds)
    parts = [places[:, start : start + PART] for start in range(0, len(positions), PART)]
    fields = context.map(partial(_intensity, year=year), parts)
    reference = np.concatenate(fields) if fields else np.zeros(0)
    found = FindingList("reference")
    _tell_far(found, inputs, reference, float(settings["tolerances.reference_nT"]))
    return {
        "rover_reference": Reference(pl.DataFrame({"reference_nT": float_column(reference)})),
        "reference_findings": found.table(),
    }


def _tell_far(
    found: FindingList, inputs: Mapping[str, Record], reference: Floats, doubted: float
) -> None:
    """Tell of rovers whose usual reading lies farther from the reference field than rocks make."""
    raw = table(inputs, "rover_recorded").floats("raw_nT")
    seconds = table(inputs, "rover_times").seconds("time_utc")
    noted = NOTED_SD * stated_uncertainty(0.0).total_field_nT
    for name, rows in in_time_order(document(inputs, "rover_files"), seconds):
        off = (raw - reference)[rows]
        known = rows[np.isfinite(off)]
        median = float(np.median(off[np.isfinite(off)])) if known.size else 0.0
        if abs(median) <= min(noted, doubted):
            continue
        far = abs(median) > doubted
        side = "above" if median > 0 else "below"
        found.add(
            "far from the reference field",
            f"{name}: its readings lie {abs(median):,.0f} nT {side} the reference field, median "
            f"{np.median(reference[known]):,.0f} nT. "
            + ("Rocks rarely make that over a whole survey: " if far else "Rocks may make that; ")
            + "see to reference system, positions, unit and tuning.",
            severity="doubt" if far else "information",
            instrument=name,
            start_s=float(seconds[known[0]]),
            end_s=float(seconds[known[-1]]),
        )


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
