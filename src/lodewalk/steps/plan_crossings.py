"""Where the walks of a plan pass under power lines."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.adapters.surroundings import crossed
from lodewalk.records.planning import walked

#: Crossings that a warning lists at most.
MOST_LISTED = 8


def power_crossings(rows: pl.DataFrame, base: NDArray[np.float64], power: Any) -> list[str]:
    """Return the legs of one walk, from the base and back to it, that meet a power line.

    Parameters
    ----------
    rows : frame
        The rows of `PlannedLines` of one rover on one day, in order.
    base : array, shape (2,)
        The base [m].
    power : geometry
        Power lines without their buffers.

    Returns
    -------
    list of str
        Such as ``L003A to L003B``, or the name of a line that itself meets one; as straight ways.
    """
    if power.is_empty or not rows.height:
        return []
    places, legs, before = [tuple(base)], list[str](), "BASE"
    for row in rows.iter_rows(named=True):
        east_1, north_1, east_2, north_2 = walked(row)
        places += [(east_1, north_1), (east_2, north_2)]
        legs += [f"{before} to {row['line']}", row["line"]]
        before = row["line"]
    places.append(tuple(base))
    legs.append(f"{before} to BASE")
    line = np.array(places)
    meets = crossed(line[:-1], line[1:], power)
    return [leg for leg, under in zip(legs, meets, strict=True) if under]


def crossing_words(days: Sequence[dict[str, Any]]) -> list[str]:
    """Warn of the walks of a plan that pass under power lines."""
    found = [
        f"day {day['day']}, rover {part['rover']}: {leg}"
        for day in days
        for part in day["rovers"]
        for leg in part["power_crossings"]
    ]
    if not found:
        return []
    listed = "; ".join(found[:MOST_LISTED])
    more = f"; and {len(found) - MOST_LISTED} more" if len(found) > MOST_LISTED else ""
    times = "once" if len(found) == 1 else f"{len(found)} times"
    return [
        f"The walks meet power lines {times} ({listed}{more}). A mast under live conductors can "
        "kill: carry it low or take it down, keep the distance that the operator prescribes, or "
        "plan each side as an area of its own."
    ]
