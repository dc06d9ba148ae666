"""Read a delimited text file into a table of records."""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import polars as pl

from lodewalk.errors import InputError, SettingsError
from lodewalk.formats.content import Content
from lodewalk.formats.delimited.column_map import WHITESPACE, ColumnMap
from lodewalk.formats.delimited.detect import propose
from lodewalk.formats.delimited.encoding import decode
from lodewalk.formats.delimited.last_line import check_last_value
from lodewalk.formats.delimited.layout import (
    LINE,
    SEGMENT,
    Fields,
    data_rows,
    numbered_lines,
    one_blank_between,
    split_fields,
)
from lodewalk.formats.delimited.positions import geographic_columns, position_columns
from lodewalk.formats.delimited.regular import counted_delimiter, parse_regular
from lodewalk.formats.delimited.shifted import check_not_shifted, field_doubt
from lodewalk.formats.delimited.time_plan import time_plan
from lodewalk.formats.delimited.times import RecordedTimes, recorded_times
from lodewalk.formats.delimited.values import NINES, fixes, numbers, texts
from lodewalk.formats.registry import HEAD_BYTES, check_text
from lodewalk.formats.scan import MAX_LINE_BYTES, Scan, check_size, hash_and_scan
from lodewalk.records.recorded import OlderReadings, RecordedReadings, Track, Waypoints

ROLES = ("base", "rover", "track", "notes", "older")
SURE_ENOUGH = 0.6


def read(path: Path, *, role: str, column_map: ColumnMap | None) -> Content:
    r"""Read a delimited text file.

    Parameters
    ----------
    path : path
        The raw file.
    role : str
        "base" or "rover" (readings of the total field), "track" (points of a GPS track),
        "notes" (named points or notes) or "older" (points of an older survey).
    column_map : ColumnMap, optional
        How the columns are to be read. Without it the map that `propose` finds is taken, if it
        is sure enough.

    Returns
    -------
    Content
        `RecordedReadings`, `Track` or `Waypoints`, one row for each data row of the file in its
        order. A reading whose field is missing stays, as null.

    Raises
    ------
    InputError
        For a row that breaks a rule: file, line, value, rule and remedy.
    SettingsError
        When the column map lacks what the role needs.

    Examples
    --------
    >>> import tempfile
    >>> raw = Path(tempfile.mkdtemp(), "base.csv")
    >>> _ = raw.write_text("2025-03-04T08:00:00;22950,1\n2025-03-04T08:00:10;99999,9\n")
    >>> chosen = ColumnMap.from_dict({"delimiter": ";", "decimal": ",", "header": False,
    ...                               "columns": {"time": 1, "field": 2}})
    >>> read(raw, role="base", column_map=chosen).table.frame["raw_nT"].to_list()
    [22950.1, None]
    """
    return read_and_hash(path, role=role, column_map=column_map)[0]


def read_and_hash(path: Path, *, role: str, column_map: ColumnMap | None) -> tuple[Content, Scan]:
    """Read a delimited text file and hash it at the same time.

    Parameters
    ----------
    path, role, column_map
        As for `read`.

    Returns
    -------
    content : Content
        What `read` returns.
    scan : Scan
        SHA-256 and counts of the same bytes.

    Raises
    ------
    InputError, SettingsError
        As for `read`.
    """
    with path.open("rb") as stream:
        head = stream.read(HEAD_BYTES)
    check_text(head, file=path.name)
    check_size(path)
    chosen = column_map if column_map is not None else _proposed(path, role)
    _check_role(chosen, role, path.name)
    with ThreadPoolExecutor(1) as threads:
        scanning = threads.submit(hash_and_scan, path, count=counted_delimiter(chosen))
        regular = parse_regular(path, head, chosen) if role != "notes" else None
        scan = scanning.result()
    if not (scan.ends_with_newline or chosen.widths):
        check_last_value(path, chosen, lines=scan.lines)
    fields = regular.fields(scan, file=path.name) if regular else None
    if fields is not None:
        try:
            return _content(fields, role, chosen), scan
        except InputError:
            pass  # the slower way finds the exact place
    return _content(any_fields(path, chosen), role, chosen), scan


def any_fields(path: Path, column_map: ColumnMap) -> Fields:
    """Split any text file into fields, or say at which line it can't be.

    Parameters
    ----------
    path : path
        The raw file.
    column_map : ColumnMap
        How it is laid out.

    Raises
    ------
    InputError
        With the line.
    """
    decoded = decode(path.read_bytes(), file=path.name)
    text = decoded.text
    if column_map.delimiter == WHITESPACE:
        text = one_blank_between(text)
    lines = numbered_lines(text)
    _check_lengths(lines, path)
    rows = data_rows(lines, column_map, file=path.name)
    return split_fields(
        rows,
        column_map,
        file=path.name,
        finished=text.endswith("\n"),
        encoding=decoded.encoding,
    )


def _check_lengths(lines: pl.DataFrame, path: Path) -> None:
    """Raise for a line too long that the bytes could not show, as in UTF-16."""
    long = lines.filter(pl.col("raw").str.len_bytes() > MAX_LINE_BYTES)
    if long.height:
        raise InputError(
            f"A line may hold at most {MAX_LINE_BYTES:,} bytes.", file=path, line=long[LINE][0]
        )


def _proposed(path: Path, role: str) -> ColumnMap:
    """Return the column map found by looking at the file."""
    proposal = propose(path, role=role)
    if proposal.confidence < SURE_ENOUGH:
        raise InputError(
            "The columns can't be told with certainty.",
            file=path,
            remedy=" ".join([*proposal.doubts, "Give a column map."]),
        )
    return proposal.column_map


def _check_role(column_map: ColumnMap, role: str, file: str) -> None:
    """Raise when the map lacks what the role needs."""
    if role not in ROLES:
        raise InputError(f"Delimited text serves as {', '.join(ROLES)}.", file=file, value=role)
    columns = set(column_map.columns)
    plan = time_plan(column_map)
    lacking = None
    if role in ("base", "rover"):
        lacking = "field" if "field" not in columns else None
        lacking = lacking or (None if plan else "time")
    elif role == "older" and "field" not in columns:
        lacking = "field (total field or anomaly)"
    elif role in ("track", "older") and not (
        {"latitude", "longitude"} <= columns or {"easting", "northing"} <= columns
    ):
        lacking = "latitude and longitude, or easting and northing,"
    elif role == "notes" and not columns & {"name", "text", "latitude", "easting"}:
        lacking = "name, text or a position"
    if lacking:
        raise SettingsError(
            f"The column map needs {lacking} for a file of role {role}.",
            file=file,
            remedy="Add it to [columns].",
        )


def _content(fields: Fields, role: str, column_map: ColumnMap) -> Content:
    """Turn fields into the table of the role."""
    times = recorded_times(fields, column_map)
    if role == "track":
        table, notes = _track(fields, column_map, times)
    elif role == "notes":
        table, notes = _waypoints(fields, column_map, times)
    elif role == "older":
        table, notes = _older(fields, column_map, times)
    else:
        table, notes = _readings(fields, column_map, times)
    understood = (*_described(fields, column_map), *times.understood, *notes)
    untimed = role == "older" and time_plan(column_map) is None
    return Content(table, "UTC" if untimed else times.zone, understood)


Made = tuple[RecordedReadings | OlderReadings | Track | Waypoints, list[str]]


def _readings(fields: Fields, column_map: ColumnMap, times: RecordedTimes) -> Made:
    """Return the readings of a base or rover."""
    if times.times.null_count():
        raise _lacks(fields, times.times, "A reading must have a time.")
    field = numbers(fields, "field", column_map, extra=NINES).alias("raw_nT")
    columns = [times.times, field, *position_columns(fields, column_map)]
    columns += _fix_columns(fields, column_map)
    if fields.has("quality"):
        columns.append(numbers(fields, "quality", column_map))
    if fields.has("line"):
        columns.append(texts(fields, "line", column_map))
    if fields.has("station"):
        columns.append(numbers(fields, "station", column_map))
    check_not_shifted(fields, field)
    notes = field_doubt(field)
    if field.null_count():
        notes.append(f"{field.null_count()} readings have no field; they stay, as missing.")
    return RecordedReadings(fields.frame.select(LINE).with_columns(columns)), notes


def _track(fields: Fields, column_map: ColumnMap, times: RecordedTimes) -> Made:
    """Return the points of a track; rows without a position hold no point."""
    segment = pl.lit(0, dtype=pl.Int64)
    if fields.has(SEGMENT):
        segment = pl.col(SEGMENT) - pl.col(SEGMENT).min()
    frame = fields.frame.select(LINE, segment.alias(SEGMENT)).with_columns(
        times.times, *geographic_columns(fields, column_map), *_fix_columns(fields, column_map)
    )
    placed = frame.drop_nulls(["latitude_deg", "longitude_deg"])
    notes = []
    if placed.height < frame.height:
        notes.append(f"{frame.height - placed.height} rows without a position are passed over.")
    return Track(placed), notes


def _waypoints(fields: Fields, column_map: ColumnMap, times: RecordedTimes) -> Made:
    """Return named points or notes."""
    empty = pl.Series([None] * fields.frame.height, dtype=pl.String)
    named = [
        (texts(fields, name, column_map) if fields.has(name) else empty).alias(name)
        for name in ("name", "text")
    ]
    frame = fields.frame.select(LINE).with_columns(
        times.times, *geographic_columns(fields, column_map), *named
    )
    return Waypoints(frame), []


def _older(fields: Fields, column_map: ColumnMap, times: RecordedTimes) -> Made:
    """Return the points of an older survey; time and height may be missing."""
    value = numbers(fields, "field", column_map).alias("value_nT")
    columns = [times.times, value, *position_columns(fields, column_map)]
    notes = [f"{value.null_count()} points have no value."] if value.null_count() else []
    return OlderReadings(fields.frame.select(LINE).with_columns(columns)), notes


def _fix_columns(fields: Fields, column_map: ColumnMap) -> list[pl.Series]:
    """Return the columns about the position fix that the file has."""
    found = [fixes(fields, column_map)] if fields.has("fix") else []
    found += [
        numbers(fields, name, column_map) for name in ("satellites", "hdop") if fields.has(name)
    ]
    return found


def _lacks(fields: Fields, series: pl.Series, rule: str) -> InputError:
    """Return the error for the first missing value."""
    place = series.is_null().arg_max() or 0
    return InputError(
        rule, file=fields.file, line=fields.frame[LINE][place],
        remedy="Mark the row as a comment, or correct [time] in the column map.",
    )  # fmt: skip


def _described(fields: Fields, column_map: ColumnMap) -> list[str]:
    """Return what was understood of the layout."""
    mapped = ", ".join(
        f"{ours} from {f'column {theirs}' if isinstance(theirs, int) else repr(theirs)}"
        for ours, theirs in column_map.columns.items()
    )
    split = (
        "columns of fixed width"
        if column_map.widths
        else "columns between blanks"
        if column_map.delimiter == WHITESPACE
        else f"columns separated by {column_map.delimiter!r}"
    )
    rows, first = fields.frame.height, fields.frame[LINE][0]
    return [
        f"{fields.encoding} text, {rows} rows from line {first}, {fields.column_count} {split}.",
        f"{mapped[:1].upper()}{mapped[1:]}.",
    ]
