"""Time: recorded times to UTC, with the clock decisions in force."""

import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl

from lodewalk.errors import InputError
from lodewalk.methods.corrections.time_scales import gps_minus_utc
from lodewalk.records import Document, Record, Table
from lodewalk.records.products import Times
from lodewalk.records.table import utc_column
from lodewalk.steps.context import Context
from lodewalk.steps.rows import FileRows, document, file_rows, table

ROLES = ("rover", "base", "track", "observatory", "notes")
#: A decision on an instrument's clock is about its readings; a GPS track keeps its own time.
INSTRUMENT_ROLES = ("rover", "base")
GPS_EPOCH = datetime(1980, 1, 6)  # as recorded, on the GPS scale


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the UTC time of each row of rover, base, tracks, observatories and notes.

    The times of rover and base are given without the clock decisions too: what tells a clock's
    error must not move when a person decides on it.
    """
    del settings

    def times(role: str, decisions: tuple[Mapping[str, Any], ...]) -> Times:
        files = document(inputs, f"{role}_files")
        return _times(table(inputs, f"{role}_recorded"), files, decisions)

    undecided: dict[str, Record] = {
        f"{role}_clock_times": times(role, ()) for role in INSTRUMENT_ROLES
    }
    decided: dict[str, Record] = {
        f"{role}_times": times(role, context.decisions if role in INSTRUMENT_ROLES else ())
        for role in ROLES
    }
    return decided | undecided


def _times(recorded: Table, files: Document, decisions: tuple[Mapping[str, Any], ...]) -> Times:
    """Return the times of one role, file by file."""
    naive, lines = recorded.frame["recorded_time"], recorded.frame["line_in_file"]
    parts = [
        to_utc(naive[span.rows], zone=span.zone, file=span.name, lines=lines[span.rows])
        - _clock_offset(naive[span.rows], span, decisions)
        for span in file_rows(files)
    ]
    seconds = np.concatenate(parts) if parts else np.zeros(0)
    return Times(pl.DataFrame({"time_utc": utc_column(seconds)}))


def to_utc(
    recorded: pl.Series, *, zone: str, file: str = "", lines: pl.Series | None = None
) -> np.ndarray[Any, Any]:
    """Return recorded times as Unix seconds in UTC.

    Parameters
    ----------
    recorded : polars.Series
        Times without a zone.
    zone : str
        ``UTC``, ``GPS``, an offset such as ``-03:00`` or an IANA name.
    file : str
        Name of the file for the message of an error.
    lines : polars.Series, optional
        Line of each time in the file, for the message.

    Returns
    -------
    array, shape (n,)
        NaN where the time is missing.

    Raises
    ------
    InputError
        For an unknown zone, or a time that a change of the clocks skips or repeats.

    Examples
    --------
    >>> noon = pl.Series([datetime(2026, 3, 10, 12)])
    >>> float(to_utc(noon, zone="-03:00")[0] - to_utc(noon, zone="UTC")[0]) / 3600
    3.0
    """
    if zone == "UTC":
        return _seconds(recorded)
    if zone == "GPS":
        return _from_gps(recorded, file, lines)
    offset = re.fullmatch(r"([+-])(\d{2}):(\d{2})", zone)
    if offset:
        east = int(offset[2]) * 3600 + int(offset[3]) * 60
        return _seconds(recorded) - (east if offset[1] == "+" else -east)
    return _from_named_zone(recorded, zone, file, lines)


def _from_gps(recorded: pl.Series, file: str, lines: pl.Series | None) -> np.ndarray[Any, Any]:
    """Return times of the GPS scale as Unix seconds in UTC."""
    early = (recorded < GPS_EPOCH).fill_null(value=False).arg_true()
    if len(early):
        first = int(early[0])
        raise InputError(
            "GPS time begins on 1980-01-06.",
            file=file or None,
            line=None if lines is None else int(lines[first]),
            value=str(recorded[first]),
            remedy="Is the date of the file right?",
        )
    seconds = _seconds(recorded)
    return seconds - gps_minus_utc(seconds)


def _from_named_zone(
    recorded: pl.Series, zone: str, file: str, lines: pl.Series | None
) -> np.ndarray[Any, Any]:
    """Return times of an IANA zone as Unix seconds in UTC."""
    try:
        local = recorded.dt.replace_time_zone(zone, ambiguous="null", non_existent="null")
    except pl.exceptions.ComputeError as error:
        raise InputError(
            "The time zone is unknown to the table library.",
            file=file or None,
            value=zone,
            remedy="Give it as Area/City, such as America/Bahia, or as a fixed offset.",
        ) from error
    bad = (local.is_null() & recorded.is_not_null()).arg_true()
    if len(bad):
        first = int(bad[0])
        raise InputError(
            f"A time can't be turned into UTC: a change of the clocks in {zone} skips or repeats "
            "it.",
            file=file or None,
            line=None if lines is None else int(lines[first]),
            value=str(recorded[first]),
            remedy="Give the zone as a fixed offset such as -03:00.",
        )
    return _seconds(local.dt.convert_time_zone("UTC"))


def _seconds(times: pl.Series) -> np.ndarray[Any, Any]:
    """Return times as seconds, NaN where missing."""
    return times.dt.timestamp("us").cast(pl.Float64).fill_null(float("nan")).to_numpy() / 1e6


def _clock_offset(
    recorded: pl.Series, span: FileRows, decisions: tuple[Mapping[str, Any], ...]
) -> np.ndarray[Any, Any]:
    """Return the clock minus UTC that persons decided on, for each row of a file."""
    offset = np.zeros(len(recorded))
    for decision in decisions:
        offset[decision_rows(decision["target"], recorded, span)] = decision["value"]["offset_s"]
    return offset


def decision_rows(
    target: Mapping[str, Any], recorded: pl.Series, span: FileRows
) -> np.ndarray[Any, Any]:
    """Return which rows of a file a decision's instrument and span as recorded mean."""
    chosen = np.full(len(recorded), target.get("instrument") == span.instrument)
    if target.get("start"):
        chosen &= (recorded >= datetime.fromisoformat(target["start"])).fill_null(False).to_numpy()
    if target.get("end"):
        chosen &= (recorded <= datetime.fromisoformat(target["end"])).fill_null(False).to_numpy()
    return chosen
