"""One field day out of the records: its span of time, its rows, and what was said of it."""

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.figures.spans import Span, day_spans
from lodewalk.figures.style import MARKS, QUIET, Mark
from lodewalk.records.document import Document
from lodewalk.records.products import BaseRecord, Findings, Lines, Minutes

#: The shortest stretch of time that a page shows [s].
_LEAST_S = 900.0
#: The check tells starts in whole milliseconds, cut off or rounded.
_SAME_START_S = 0.002
_OFFSET = re.compile(r"([+-])(\d{2}):(\d{2})")
_FREE = Mark("–", "unknown", QUIET, "#ffffff")

#: How verdicts and severities look; hatches keep them apart without colour.
LOOKS = {**MARKS, "unknown": _FREE, "not judged": Mark("", "not judged", QUIET, "#ffffff")}
HATCHES = {"doubt": "/////", "re-walk": "xxxxx", "loss": "xxxxx", "unknown": "....."}
VERDICTS = ("keep", "doubt", "re-walk", "unknown")


@dataclass(frozen=True)
class Walk:
    """One passage of a line, in seconds from the begin of the day, with its verdict."""

    line: str
    rover: str
    start: float
    end: float
    verdict: str
    length_m: float


@dataclass(frozen=True)
class FieldDay:
    """What is known of one field day; times are seconds from its begin in the survey's zone.

    Parameters
    ----------
    date, zone_name : str
        Local date and the name of the zone.
    zone : tzinfo
        The zone.
    begin : float
        Unix time of the begin of the day [s].
    window : tuple of float
        The stretch of time shown.
    base, minutes : BaseRecord, Minutes
        Rows of the day, by instrument and time.
    walks : list of Walk
        Lines that were begun on the day.
    spans : list of Span
        What was found, the gravest first.
    said : mapping
        The entry of the check on the day, empty where it was not judged.
    """

    date: str
    zone_name: str
    zone: dt.tzinfo
    begin: float
    window: tuple[float, float]
    base: BaseRecord
    minutes: Minutes
    walks: list[Walk]
    spans: list[Span]
    said: Mapping[str, Any]

    @property
    def of_base(self) -> Mapping[str, Any]:
        """What the check said of the base."""
        return self.said.get("base") or {}

    @property
    def tolerance(self) -> float | None:
        """The error of the diurnal correction that the survey can bear [nT], where told."""
        rows = self.of_base.get("intervals") or []
        known = [row["tolerance_nT"] for row in rows if row.get("tolerance_nT")]
        return float(known[0]) if known else None

    def moment(self, seconds: float, zone: dt.tzinfo = dt.UTC) -> dt.datetime:
        """Return seconds from the begin of the day as a moment, rounded to the second."""
        return dt.datetime.fromtimestamp(round(self.begin + seconds), zone)


def field_day(
    base: BaseRecord,
    lines: Lines,
    findings: Findings,
    *,
    minutes: Minutes | None,
    check: Document | None,
    day: str,
    zone: str,
) -> FieldDay:
    """Return what is known of one field day.

    Raises
    ------
    InputError
        For a malformed day, an unknown zone, or a day without base, minutes and lines.
    """
    where = field_zone(zone)
    begin, end = _bounds(day, where)
    said = _said(check, day)
    part = BaseRecord(_within(base.frame.drop_nulls("raw_nT"), "time_utc", begin, end))
    judged = Minutes(_within((minutes or Minutes.empty()).frame, "start_utc", begin, end))
    walks = _walks(lines, said, begin=begin, end=end)
    return FieldDay(
        date=day,
        zone_name=zone,
        zone=where,
        begin=begin,
        window=_window(part, judged, walks, begin=begin, day=day),
        base=part,
        minutes=judged,
        walks=walks,
        spans=day_spans(part, findings, begin=begin, end=end),
        said=said,
    )


def field_zone(name: str) -> dt.tzinfo:
    """Return a zone by its IANA name or its offset.

    Examples
    --------
    >>> field_zone("UTC-03:00"), field_zone("GPS")
    (datetime.timezone(datetime.timedelta(days=-1, seconds=75600)), datetime.timezone.utc)
    """
    if name in ("", "UTC", "GPS"):
        return dt.UTC
    offset = _OFFSET.fullmatch(name.removeprefix("UTC"))
    if offset:
        sign, hours, minutes = offset.groups()
        ahead = dt.timedelta(hours=int(hours), minutes=int(minutes))
        return dt.timezone(-ahead if sign == "-" else ahead)
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise InputError("Unknown time zone.", value=name) from error


def _bounds(day: str, zone: dt.tzinfo) -> tuple[float, float]:
    """Return begin and end of a local date in Unix seconds."""
    try:
        date = dt.date.fromisoformat(day)
    except ValueError as error:
        raise InputError("A day is written YYYY-MM-DD.", value=day) from error
    start = dt.datetime.combine(date, dt.time(), zone)
    return start.timestamp(), (start + dt.timedelta(days=1)).timestamp()


def _said(check: Document | None, day: str) -> Mapping[str, Any]:
    """Return the entry of the check on a day."""
    days = (check.values.get("days") or []) if check is not None else []
    return next((entry for entry in days if entry["date"] == day), {})


def _within(frame: pl.DataFrame, column: str, begin: float, end: float) -> pl.DataFrame:
    """Return the rows of a stretch of time, by instrument and time."""
    micro = pl.col(column).dt.timestamp("us")
    rows = frame.filter((micro >= round(begin * 1e6)) & (micro < round(end * 1e6)))
    return rows.sort("instrument", column, maintain_order=True)


def _walks(lines: Lines, said: Mapping[str, Any], *, begin: float, end: float) -> list[Walk]:
    """Return the passages begun on a day, by rover and time, each with its verdict."""
    known = lines.frame.drop_nulls(["start_utc", "end_utc"])
    rows = Lines(_within(known, "start_utc", begin, end))
    told = said.get("lines") or []
    starts, ends = (rows.seconds(name) - begin for name in ("start_utc", "end_utc"))
    lengths = np.nan_to_num(rows.floats("length_m"))
    names, rovers = rows.strings("line"), rows.strings("instrument")
    walks = []
    for name, rover, start, last, length in zip(names, rovers, starts, ends, lengths, strict=True):
        mine = (entry["verdict"] for entry in told if _is_of(entry, name, rover, begin + start))
        verdict = str(next(mine, "not judged"))
        walks.append(Walk(name or "", rover or "", start, last, verdict, float(length)))
    return walks


def _is_of(entry: Mapping[str, Any], name: str | None, rover: str | None, start: float) -> bool:
    """Tell whether a verdict is that of a passage; a key that it leaves out fits every one."""
    if entry["line"] != name or entry.get("instrument") not in (None, rover):
        return False
    if entry.get("start_utc") is None:
        return True
    at = dt.datetime.fromisoformat(entry["start_utc"]).timestamp()
    return abs(at - start) <= _SAME_START_S


def _window(
    base: BaseRecord, minutes: Minutes, walks: list[Walk], *, begin: float, day: str
) -> tuple[float, float]:
    """Return the stretch of time that holds base, minutes and lines, with a narrow margin."""
    ends = [edge for walk in walks for edge in (walk.start, walk.end)]
    own = minutes.seconds("start_utc") - begin
    times: NDArray[np.float64] = np.concatenate(
        [base.seconds("time_utc") - begin, own, own + 60.0, np.array(ends, dtype=float)]
    )
    if times.size == 0:
        raise InputError("There is no base reading and no line on this day.", value=day)
    low, high = float(times.min()), float(times.max())
    edge = max(0.01 * (high - low), (_LEAST_S - (high - low)) / 2)
    return low - edge, high + edge
