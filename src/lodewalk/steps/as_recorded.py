"""Positions, lines and crossings as recorded, whatever was decided on clocks and lags."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl

from lodewalk.methods.checks.spikes import find_out_of_range
from lodewalk.records import Record
from lodewalk.records.products import Checks
from lodewalk.steps import crossings, lines, position
from lodewalk.steps.context import Context
from lodewalk.steps.rows import table


def as_recorded(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> Mapping[str, Record]:
    """Return the inputs as they would be without any decision on a clock or a lag, and no arm.

    Evidence on a clock must not move when a person decides on that clock.
    """
    decided = table(inputs, "rover_times").seconds("time_utc")
    clock = table(inputs, "rover_clock_times").seconds("time_utc")
    bare = dict(inputs) | {
        "base_times": inputs["base_clock_times"],
        "rover_times": inputs["rover_clock_times"],
        "rover_checks": _possible(inputs),
    }
    same = np.array_equal(decided, clock, equal_nan=True)
    quiet = Context(step=context.step, cancelled=context.cancelled)
    bare["rover_positions"] = (
        inputs["rover_recorded_positions"]
        if same
        else position.recorded_positions(bare, settings, quiet)
    )
    for step in (crossings,) if same and not moved(inputs) else (lines, crossings):
        made = step.run(bare, settings, quiet)
        bare |= {name: record for name, record in made.items() if name in inputs}
    return bare


def moved(inputs: Mapping[str, Record]) -> bool:
    """Tell whether an arm or a lag moved any position."""
    recorded, now = (table(inputs, f"rover_{name}") for name in ("recorded_positions", "positions"))
    return not all(
        np.array_equal(recorded.floats(axis), now.floats(axis), equal_nan=True)
        for axis in ("easting_m", "northing_m")
    )


def _possible(inputs: Mapping[str, Record]) -> Checks:
    """Return checks that keep every possible value: the real ones know the decided places."""
    value = table(inputs, "rover_recorded").floats("raw_nT")
    possible = np.isfinite(value) & ~find_out_of_range(value)
    frame = table(inputs, "rover_checks").frame
    return Checks(frame.with_columns(kept=pl.Series(possible)))
