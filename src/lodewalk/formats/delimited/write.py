"""Write a table of records as delimited text that its column map reads back."""

from pathlib import Path

import polars as pl

from lodewalk.errors import InputError
from lodewalk.formats.delimited.column_map import (
    ANGLE_COLUMNS,
    HEMISPHERE_COLUMNS,
    TEXT_COLUMNS,
    TIME_COLUMNS,
    WHITESPACE,
    ColumnMap,
)
from lodewalk.formats.delimited.time_plan import time_plan
from lodewalk.formats.delimited.write_times import time_texts
from lodewalk.records.recorded import RecordedReadings, Track, Waypoints

SOURCES = {
    "field": "raw_nT", "quality": "quality", "latitude": "latitude_deg",
    "longitude": "longitude_deg", "easting": "easting_m", "northing": "northing_m",
    "height": "height_m", "fix": "fix", "satellites": "satellites", "hdop": "hdop",
    "line": "line", "station": "station", "name": "name", "text": "text",
}  # fmt: skip


def write(path: Path, table: RecordedReadings | Track | Waypoints, column_map: ColumnMap) -> None:
    r"""Write a table as delimited text in UTF-8.

    Parameters
    ----------
    path : path
        The file to write.
    table : RecordedReadings, Track or Waypoints
        What to write; columns that the map does not name are left out.
    column_map : ColumnMap
        The layout. Reading the file with it gives the same values back: numbers to the last bit
        (angles in ``ddmm.mmm`` to about 1e-12 degrees), times to the microsecond where the
        format holds it.

    Raises
    ------
    InputError
        When a text can't be written in this layout so that it reads back.

    Examples
    --------
    >>> import tempfile
    >>> from lodewalk.formats.delimited import read
    >>> raw = Path(tempfile.mkdtemp(), "notes.csv")
    >>> _ = raw.write_text("name,text\nA1,fence\n")
    >>> chosen = ColumnMap.from_dict({"columns": {"name": "name", "text": "text"}})
    >>> write(raw, read(raw, role="notes", column_map=chosen).table, chosen)
    >>> raw.read_text()
    'name,text\nA1,fence\n'
    """
    order = _order(column_map)
    columns = {ours: _texts(table.frame, ours, column_map) for ours in column_map.columns}
    empty = pl.Series([None] * len(table), dtype=pl.String)
    cells = [
        _cells(columns.get(ours or "", empty), ours, place, column_map)
        for place, (ours, _) in enumerate(order)
    ]
    rows = _joined(cells, column_map)
    head = _head([name for _, name in order], column_map)
    _check_rows(rows, head, column_map)
    marked = _with_marks(rows, table.frame, column_map)
    path.write_text("\n".join([*head, *marked, ""]), encoding="utf-8", newline="\n")


def _order(column_map: ColumnMap) -> list[tuple[str | None, str]]:
    """Return our name and the file's name of each column in order."""
    numbered = {c: ours for ours, c in column_map.columns.items() if isinstance(c, int)}
    named = [(ours, c) for ours, c in column_map.columns.items() if isinstance(c, str)]
    size = max([*numbered, len(numbered) + len(named), len(column_map.widths or ())], default=0)
    order: list[tuple[str | None, str]] = []
    for place in range(1, size + 1):
        if place in numbered:
            order.append((numbered[place], numbered[place]))
        elif named:
            order.append(named.pop(0))
        else:
            order.append((None, f"column{place}"))
    return [*order, *named]


def _texts(frame: pl.DataFrame, ours: str, column_map: ColumnMap) -> pl.Series:
    """Return one column as text, null where missing."""
    if ours in TIME_COLUMNS:
        plan = time_plan(column_map)
        found = time_texts(frame["recorded_time"], ours, column_map, plan)
        numeric = ours not in ("date", "time") or column_map.time.format == "unix"
        return _decimal(found, column_map) if numeric else _comma_time(found, column_map)
    if ours in HEMISPHERE_COLUMNS:
        return _hemisphere(frame, ours.removesuffix("_hemisphere"))
    source = SOURCES[ours]
    if source not in frame.columns:
        return pl.Series([None] * frame.height, dtype=pl.String)
    series = frame[source]
    if ours in TEXT_COLUMNS:
        return _fix_marks(series, column_map) if ours == "fix" else series
    series = series.fill_nan(None)
    if ours in ANGLE_COLUMNS:
        series = _angle(series, ours, column_map)
    return _decimal(series.cast(pl.String), column_map)


def _decimal(texts: pl.Series, column_map: ColumnMap) -> pl.Series:
    """Put in the decimal sign of the map."""
    return texts.str.replace(".", column_map.decimal, literal=True)


def _comma_time(texts: pl.Series, column_map: ColumnMap) -> pl.Series:
    """Write a fraction of a second with the decimal sign, where the reader undoes that."""
    if column_map.decimal == "," and "." not in column_map.time.format.replace("%.", ""):
        return texts.str.replace(r"\.(\d*)$", ",$1")
    return texts


def _fix_marks(series: pl.Series, column_map: ColumnMap) -> pl.Series:
    """Return the file's own marks of fixes."""
    marks = {word: mark for mark, word in column_map.position.fix.items()}
    return series.replace(marks)


def _hemisphere(frame: pl.DataFrame, axis: str) -> pl.Series:
    """Return the letters of one angle."""
    positive, negative = ("N", "S") if axis == "latitude" else ("E", "W")
    angle = frame[f"{axis}_deg"]
    letters = pl.when(angle < 0).then(pl.lit(negative)).when(angle >= 0).then(pl.lit(positive))
    return pl.select(letters).to_series()


def _angle(series: pl.Series, axis: str, column_map: ColumnMap) -> pl.Series:
    """Return angles as the map writes them."""
    if f"{axis}_hemisphere" in column_map.columns:
        series = series.abs()
    if column_map.position.angles == "decimal degrees":
        return series
    size = series.abs()
    degrees = size.floor()
    joined = degrees * 100 + (size - degrees) * 60
    full = joined - degrees * 100 >= 60  # sixty minutes by rounding
    joined = pl.select(pl.when(full).then((degrees + 1) * 100).otherwise(joined)).to_series()
    return joined * pl.select(pl.when(series < 0).then(-1.0).otherwise(1.0)).to_series()


def _cells(texts: pl.Series, ours: str | None, place: int, column_map: ColumnMap) -> pl.Series:
    """Return the cells of one column as they stand between the delimiters."""
    if ours in TEXT_COLUMNS:
        _check_texts(texts, str(ours), column_map)
    if column_map.widths is not None:
        return _padded(texts.fill_null(""), place, column_map.widths)
    delimiter = column_map.delimiter or ","
    if delimiter == WHITESPACE or not delimiter.strip() or len(column_map.columns) == 1:
        filler = next((t for t in column_map.missing if t and " " not in t), "")
        texts = texts.fill_null("0" if ours is None else filler)
        if delimiter == WHITESPACE and (texts == "").any():
            raise InputError(
                f"{ours} has missing values, which need a mark between blanks.",
                remedy='Add one to missing in the column map, such as "*".',
            )
    return _quoted(texts.fill_null(""), column_map)


def _check_texts(texts: pl.Series, ours: str, column_map: ColumnMap) -> None:
    """Raise for a text that would not read back."""
    bare = texts != texts.str.strip_chars()
    broken = texts.str.contains(r"[\r\n\x00]") | texts.is_in(["", *column_map.missing])
    if column_map.delimiter == WHITESPACE:
        broken = broken | texts.str.contains(r"\t|  ")
    wrong = (bare | broken).fill_null(value=False)
    if wrong.any():
        raise InputError(
            f"A {ours} with a line end, outer blanks or a mark of missing can't be written.",
            value=texts[wrong.arg_max() or 0],
        )


def _padded(texts: pl.Series, place: int, widths: tuple[int, ...]) -> pl.Series:
    """Fill texts up to the width of their column."""
    long = texts.str.len_chars() > widths[place]
    if long.any():
        raise InputError(
            f"A value is longer than the {widths[place]} characters of column {place + 1}.",
            value=texts[long.arg_max() or 0],
            remedy="Make widths larger.",
        )
    return texts.str.pad_end(widths[place])


def _quoted(texts: pl.Series, column_map: ColumnMap) -> pl.Series:
    """Put quotes round texts that need them."""
    delimiter = " " if column_map.delimiter == WHITESPACE else column_map.delimiter or ","
    if len(delimiter) > 1:
        holds = texts.str.contains_any(list(delimiter))
        if holds.any():
            raise InputError("A text holds a sign of the delimiter.", value=texts.filter(holds)[0])
        return texts
    needs = texts.str.contains(delimiter, literal=True)
    needs = needs | texts.str.contains('"', literal=True)
    for sign in (*column_map.comment, column_map.lines.mark or ""):
        needs = needs | (texts.str.starts_with(sign) if sign else False)
    if not needs.any():
        return texts
    quoted = '"' + texts.str.replace_all('"', '""', literal=True) + '"'
    return pl.select(pl.when(needs).then(quoted).otherwise(texts)).to_series()


def _joined(cells: list[pl.Series], column_map: ColumnMap) -> pl.Series:
    """Join the cells of each row."""
    delimiter = " " if column_map.delimiter == WHITESPACE else column_map.delimiter or ""
    frame = pl.DataFrame([cell.alias(str(place)) for place, cell in enumerate(cells)])
    return frame.select(pl.concat_str(pl.all(), separator=delimiter)).to_series()


def _head(names: list[str], column_map: ColumnMap) -> list[str]:
    """Return the lines above the rows; those passed over are blank."""
    if column_map.header is False:
        return [""] * column_map.skip
    cells = pl.Series(names, dtype=pl.String)
    if column_map.widths is None:
        parts = [_quoted(cells[place : place + 1], column_map) for place in range(len(names))]
    else:
        parts = [
            _padded(cells[place : place + 1], place, column_map.widths)
            for place in range(len(names))
        ]
    line = str(_joined(parts, column_map)[0])
    if column_map.header is True:
        return [""] * column_map.skip + [line]
    lines = [""] * max(column_map.skip, column_map.header)
    lines[column_map.header - 1] = line
    return lines


def _check_rows(rows: pl.Series, head: list[str], column_map: ColumnMap) -> None:
    """Raise for a row that would be read as a comment, a mark, a header or nothing."""
    stripped = rows.str.strip_chars()
    lost = stripped == ""
    for sign in (*column_map.comment, column_map.lines.mark or ""):
        lost = lost | (stripped.str.starts_with(sign) if sign else False)
    if column_map.header is not False:
        lost = lost | (rows == next(line for line in head if line or line == head[-1]))
    if lost.any():
        raise InputError(
            "A row would not be read as a row.", value=rows[lost.arg_max() or 0],
            remedy="Change comment, lines or missing in the column map.",
        )  # fmt: skip


def _with_marks(rows: pl.Series, frame: pl.DataFrame, column_map: ColumnMap) -> list[str]:
    """Return the rows with a mark above each new line or segment."""
    if not column_map.has_marks:
        return list(rows)
    if column_map.lines.mark is None:
        raise InputError("Line marks given by a pattern can't be written.", remedy="Use mark.")
    source = "segment" if "segment" in frame.columns else "line"
    names = frame[source].cast(pl.String) if source in frame.columns else [None] * len(rows)
    out: list[str] = []
    last = None
    for name, row in zip(names, rows, strict=True):
        if name != last:
            if name is None:
                raise InputError("Rows without a line can't follow a line mark.")
            out.append(f"{column_map.lines.mark} {name}")
        last = name
        out.append(row)
    return out
