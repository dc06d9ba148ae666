"""The date of a sentence that holds the time of day only."""

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.errors import InputError

DAY = 86_400_000_000
DATE = r"^\d{6}$"

#: GPS began in 1980, so a two-digit year below 80 is of this century.
FIRST_YEAR = 80

Micro = NDArray[np.int64]


def dated(source: pl.DataFrame, rmc: pl.DataFrame, *, file: str) -> pl.DataFrame:
    """Add `recorded_time` to sentences that hold `line_in_file` and `time_of_day`.

    Parameters
    ----------
    source : polars.DataFrame
        The sentences to date, in order of the file.
    rmc : polars.DataFrame
        The sentences with a date and a valid fix, in order of the file.
    file : str
        Name of the file, for the message.

    Raises
    ------
    InputError
        When no sentence holds a date.

    Notes
    -----
    Midnight is where the time of day falls by more than half a day from one sentence to the
    next. Each sentence takes the date of the RMC before or behind it, whichever is nearer in
    time of day, and the midnights between the two are added.
    """
    anchors = _with_date(rmc)
    if anchors.is_empty():
        raise InputError(
            "No RMC sentence with a valid fix gives the date, and GGA holds the time of day only.",
            file=file,
            remedy="Switch RMC sentences on in the receiver, or add the track as GPX.",
        )
    lines = [part["line_in_file"].to_numpy() for part in (anchors, source)]
    times = [part["time_of_day"].to_numpy() for part in (anchors, source)]
    midnights = _midnights(lines, times)
    chosen = _nearest(lines, times)
    day = anchors["day"].to_numpy() - midnights[0]
    micro = (day[chosen] + midnights[1]) * DAY + times[1]
    return source.with_columns(pl.Series("recorded_time", micro).cast(pl.Datetime("us")))


def _with_date(rmc: pl.DataFrame) -> pl.DataFrame:
    """Return the sentences with a date that exists, and its day since 1970."""
    text = pl.col("date").str
    century = pl.when(text.slice(4, 2).cast(pl.Int64, strict=False) < FIRST_YEAR)
    written = text.slice(0, 4) + century.then(pl.lit("20")).otherwise(pl.lit("19")) + text.slice(4)
    return (
        rmc.filter(text.contains(DATE))
        .with_columns(written.str.to_date("%d%m%Y", strict=False).alias("day"))
        .drop_nulls("day")
        .with_columns(pl.col("day").cast(pl.Int32).cast(pl.Int64))
    )


def _midnights(lines: list[Micro], times: list[Micro]) -> tuple[Micro, Micro]:
    """Return for both kinds of sentences how many midnights passed since the first of all."""
    order = np.argsort(np.concatenate(lines), kind="stable")
    step = np.diff(np.concatenate(times)[order])
    passed = np.zeros(len(order), dtype=np.int64)
    passed[order[1:]] = np.cumsum((step < -DAY // 2).astype(np.int64) - (step > DAY // 2))
    return passed[: len(lines[0])], passed[len(lines[0]) :]


def _nearest(lines: list[Micro], times: list[Micro]) -> NDArray[np.int64]:
    """Return for each sentence which anchor, before or behind, is nearer in time of day."""
    behind = np.searchsorted(lines[0], lines[1])
    last = len(lines[0]) - 1
    before, behind = np.clip(behind - 1, 0, last), np.clip(behind, 0, last)
    apart = [_apart(times[0][which], times[1]) for which in (before, behind)]
    return np.where(apart[1] < apart[0], behind, before)


def _apart(first: Micro, second: Micro) -> Micro:
    """Return how far two times of day are apart, the shorter way round the clock."""
    step = np.abs(first - second)
    return np.asarray(np.minimum(step, DAY - step), dtype=np.int64)
