"""Error budget: the sensor from the fourth difference, passage by passage.

The parts of clock and position are 0: nothing tells them yet.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.checks.fourth_difference import noise_sd
from lodewalk.methods.checks.resolution import quantisation_sd
from lodewalk.records import Record
from lodewalk.records.products import Budget
from lodewalk.records.table import float_column
from lodewalk.steps.context import Context
from lodewalk.steps.rows import document, in_time_order, table

NOT_YET = ("clock", "position")


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the parts of the error budget of each rover reading."""
    del settings, context
    count = len(table(inputs, "rover_checks"))
    columns = {"sd_sensor_nT": float_column(_sensor(inputs))}
    columns |= {f"sd_{name}_nT": float_column(np.zeros(count)) for name in NOT_YET}
    return {"rover_budget": Budget(pl.DataFrame(columns))}


def _sensor(inputs: Mapping[str, Record]) -> NDArray[np.float64]:
    """Return the noise of the passage that each reading belongs to, else of its instrument.

    It is never less than what rounding to the instrument's resolution leaves.
    """
    seconds = table(inputs, "rover_times").seconds("time_utc")
    fourth = table(inputs, "rover_checks").floats("fourth_difference_nT")
    passage = table(inputs, "rover_lines").floats("passage")
    lines = table(inputs, "lines").floats("noise_nT")
    value = table(inputs, "rover_recorded").floats("raw_nT")
    noise = np.full(seconds.shape, np.nan)
    least = np.zeros(seconds.shape)
    for _, rows in in_time_order(document(inputs, "rover_files"), seconds):
        noise[rows] = noise_sd(fourth[rows])
        least[rows] = np.nan_to_num(quantisation_sd(value[rows]))
    on_line = np.flatnonzero(np.isfinite(passage))
    own = lines[passage[on_line].astype(np.int64)]
    noise[on_line] = np.where(np.isfinite(own), own, noise[on_line])
    floored: NDArray[np.float64] = np.maximum(noise, least)
    return floored
