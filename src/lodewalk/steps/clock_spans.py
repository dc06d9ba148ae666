"""The days of each instrument: when they lasted, and what was decided on the clock of each."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from lodewalk.records import Record
from lodewalk.steps.clock_links import Clocks, outing_days
from lodewalk.steps.rows import document, in_time_order, table


@dataclass(frozen=True)
class DaySpan:
    """A field day of an instrument, by its clock.

    Parameters
    ----------
    start_s, end_s : float
        First and last reading, Unix seconds by the clock as recorded.
    start, end : str
        The same as a decision's span is written: as recorded in the file.
    decided_s : float or None
        What persons decided that the clock is ahead of UTC, in the middle of its readings; None
        for nothing.
    drift_decided_s : float
        By how much more in the last reading than in the first one.
    """

    start_s: float
    end_s: float
    start: str
    end: str
    decided_s: float | None
    drift_decided_s: float = 0.0


def day_spans(inputs: Mapping[str, Record], clocks: Clocks) -> dict[str, dict[str, DaySpan]]:
    """Return the days of each instrument; days are told by the clock as recorded."""
    found: dict[str, dict[str, DaySpan]] = {}
    for role in ("base", "rover"):
        seconds = table(inputs, f"{role}_clock_times").seconds("time_utc")
        moved = seconds - table(inputs, f"{role}_times").seconds("time_utc")
        recorded = table(inputs, f"{role}_recorded").frame["recorded_time"]
        for name, rows in in_time_order(document(inputs, f"{role}_files"), seconds):
            for day, part in outing_days(seconds[rows], clocks.days).items():
                own = rows[part]
                decided = round(float(np.median(moved[own])), 3)
                found.setdefault(name, {})[day] = DaySpan(
                    float(seconds[own[0]]),
                    float(seconds[own[-1]]),
                    *_ends(recorded.gather(own)),
                    decided or None,
                    round(float(moved[own[-1]] - moved[own[0]]), 3),
                )
    return found


def _ends(recorded: pl.Series) -> tuple[str, str]:
    """Return first and last time as recorded, in whole seconds that hold them all."""
    ends = pl.Series([recorded.min(), recorded.max()]).cast(pl.Datetime("us"))
    whole = (ends + pl.Series([0, 999_999]).cast(pl.Duration("us"))).dt.truncate("1s")
    first, last = whole.dt.strftime("%Y-%m-%dT%H:%M:%S").to_list()
    return str(first), str(last)
