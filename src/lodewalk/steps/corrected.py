"""The corrections of each reading, in the order in which they are taken off."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from lodewalk.methods.corrections.anomaly import total_field_anomaly
from lodewalk.records import Record
from lodewalk.steps.rows import table

#: Each correction and the product that holds its column.
CORRECTIONS = {
    "diurnal": "rover_diurnal",
    "reference": "rover_reference",
    "instrument": "rover_instrument",
    "heading": "rover_heading",
    "level": "rover_level",
    "micro_level": "rover_micro_level",
}


def corrections(
    inputs: Mapping[str, Record], *, before: str | None = None
) -> dict[str, NDArray[np.float64]]:
    """Return each correction [nT]; 0 from `before` on."""
    count = len(table(inputs, "rover_recorded"))
    taken: dict[str, NDArray[np.float64]] = {}
    for name, product in CORRECTIONS.items():
        later = before == name or (before is not None and before in taken)
        taken[name] = np.zeros(count) if later else table(inputs, product).floats(f"{name}_nT")
    return taken


def anomaly_before(inputs: Mapping[str, Record], name: str | None) -> NDArray[np.float64]:
    """Return the anomaly with all corrections before `name` taken off [nT]; None for all."""
    raw = table(inputs, "rover_recorded").floats("raw_nT")
    anomaly: NDArray[np.float64] = total_field_anomaly(raw, **corrections(inputs, before=name))
    return anomaly
