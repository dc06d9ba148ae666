"""Times as an instrument recorded them, which is how decisions name a span."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from lodewalk.errors import FolderError, InputError
from lodewalk.services.decide import ROLES, check_instrument, check_whole, role_of
from lodewalk.services.joined import product
from lodewalk.services.one_run import check_one_run
from lodewalk.steps.rows import file_rows, spread
from lodewalk.steps.time import decision_rows
from lodewalk.survey.decisions import span_of
from lodewalk.survey.folder import Folder
from lodewalk.survey.ledger import read_ledger
from lodewalk.survey.store import product_path

#: Years in which a reading may lie; zones and clocks lead out of none that a calendar has.
YEARS = 1900, 2199


@dataclass(frozen=True)
class RecordedSpan:
    """A span as an instrument recorded it, without its zone; `readings` counts those in it."""

    instrument: str
    zone: str
    start: str
    end: str
    readings: int


@dataclass(frozen=True)
class SpanTaken:
    """How many of an instrument's `of` readings a decision on a span as recorded would take.

    `refused` says why such a decision can't be taken; null where it can. Both numbers are null
    where it can't, and before a run knows the instrument.
    """

    instrument: str
    readings: int | None
    of: int | None
    refused: str | None


def taken_by(
    folder: Folder,
    *,
    kind: str,
    instrument: str,
    start: str | None,
    end: str | None,
    whole: bool = False,
) -> SpanTaken:
    """Return how many readings a decision would take, by the rule of the steps that read it.

    Parameters
    ----------
    kind : str
        Kind of the decision.
    instrument : str
        Name of a base or rover.
    start, end : str or None
        Ends as recorded; None for an open one.
    whole : bool
        Whether a drop says that the whole record is meant.
    """
    roles = ROLES.get(kind, ("base", "rover"))
    try:
        check_instrument(folder, instrument, roles)
        check_whole(kind, instrument, whole=whole, spanned=bool(start or end))
        target = span_of(instrument, start, end).model_dump(mode="json")
    except InputError as error:
        return SpanTaken(instrument, None, None, str(error))
    taken = of = 0
    for role in roles:
        names = (f"{role}_files", f"{role}_recorded")
        if not all(product_path(folder, name).exists() for name in names):
            continue
        try:
            check_one_run(folder, *names)
        except FolderError:
            return SpanTaken(instrument, None, None, None)
        times = product(folder, names[1]).frame["recorded_time"]
        for span in file_rows(product(folder, names[0])):
            if span.instrument == instrument:
                taken += int(decision_rows(target, times[span.rows], span).sum())
                of += span.stop - span.start
    return SpanTaken(instrument, taken if of else None, of or None, None)


def as_recorded(folder: Folder, *, instrument: str, start_utc: str, end_utc: str) -> RecordedSpan:
    """Return a span of UTC as an instrument's clock showed it.

    The reading nearest to each end tells how far recorded time and UTC lie apart there: its zone,
    and what was decided of its clock.

    Parameters
    ----------
    instrument : str
        Name of a base or rover.
    start_utc, end_utc : str
        Ends in ISO 8601 with a Z.

    Raises
    ------
    InputError
        For an unknown instrument, or an end that is no time.
    FolderError
        Before the first run, or where the last one didn't come so far.
    """
    ends = [_parsed(text) for text in (start_utc, end_utc)]
    role = role_of(folder, instrument)
    entries = [e for e in read_ledger(folder) if e.role == role]
    zones = [e.zone for e in entries if e.instrument == instrument]
    if not zones:
        raise InputError("The survey has no such base or rover.", value=instrument)
    names = (f"{role}_times", f"{role}_recorded", f"{role}_files")
    if not all(product_path(folder, name).exists() for name in names):
        raise FolderError("The survey hasn't been run with this instrument yet. Run it first.")
    check_one_run(folder, *names)
    own = pl.DataFrame(
        {
            "name": spread(product(folder, names[2]), "instrument"),
            "utc": product(folder, names[0]).frame["time_utc"].dt.epoch("us"),
            "recorded": product(folder, names[1]).frame["recorded_time"].dt.epoch("us"),
        }
    ).filter((pl.col("name") == instrument) & pl.col("utc").is_not_null())
    if not own.height:
        raise FolderError("This instrument has no readings with a time.")
    utc, recorded = own["utc"].to_numpy(), own["recorded"].to_numpy()
    wanted = [round(end.timestamp() * 1e6) for end in ends]
    shown = [_shown(end + int((recorded - utc)[np.abs(utc - end).argmin()])) for end in wanted]
    inside = int(((utc >= wanted[0]) & (utc <= wanted[1])).sum())
    return RecordedSpan(instrument, zones[-1], shown[0], shown[1], inside)


def _parsed(text: str) -> datetime:
    """Return a time in UTC."""
    try:
        time = datetime.fromisoformat(text)
    except ValueError as error:
        raise InputError("A time is written YYYY-MM-DDTHH:MM:SSZ.", value=text) from error
    if not YEARS[0] <= time.year <= YEARS[1]:
        raise InputError(f"A time lies in the years {YEARS[0]} to {YEARS[1]}.", value=text)
    return time.astimezone(UTC) if time.tzinfo else time.replace(tzinfo=UTC)


def _shown(microseconds: int) -> str:
    """Return a time as decisions write it, with a fraction where it has one."""
    time = datetime(1970, 1, 1) + timedelta(microseconds=microseconds)
    return time.isoformat(timespec="milliseconds" if time.microsecond else "seconds")
