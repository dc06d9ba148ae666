"""The fast way for regular files: the table library parses them in one go.

A file is regular when it is ASCII, has one-character delimiters, no quotes, no line marks and,
below its head, data rows only. Whether it was regular shows in the counts of one scan made
beside the parsing; where anything disagrees the slower way reads it and says what is wrong.
"""

from dataclasses import dataclass
from pathlib import Path

import polars as pl

from lodewalk.errors import InputError
from lodewalk.formats.delimited.column_map import (
    ANGLE_COLUMNS,
    NUMBER_COLUMNS,
    TIME_COLUMNS,
    WHITESPACE,
    ColumnMap,
)
from lodewalk.formats.delimited.layout import (
    LINE,
    Fields,
    check_header,
    column_titles,
    data_rows,
    find_columns,
    numbered_lines,
)
from lodewalk.formats.delimited.values import missing_texts
from lodewalk.formats.scan import Scan, is_utf8


@dataclass(frozen=True)
class Regular:
    """The fields of a file that looks regular, and what the scan must find if it is.

    Parameters
    ----------
    frame : polars.DataFrame
        Our columns, numbers already parsed.
    start : int
        Lines before the first row.
    head_delimiters : int
        Delimiters before the first row.
    columns : tuple of str
        Every column of the file by name or number.
    """

    frame: pl.DataFrame
    start: int
    head_delimiters: int
    columns: tuple[str, ...]

    def fields(self, scan: Scan, *, file: str) -> Fields | None:
        """Return the fields if the file is regular after all."""
        height, count = self.frame.height, len(self.columns)
        regular = (
            scan.ascii_only
            and not scan.has_nul
            and not scan.has_quote
            and height == scan.lines - self.start
            and scan.counted == self.head_delimiters + height * (count - 1)
        )
        if not regular or _has_empty_row(self.frame):
            return None
        numbers = pl.int_range(
            self.start + 1, self.start + 1 + height, dtype=pl.Int64, eager=True
        ).alias(LINE)
        frame = self.frame.rechunk().insert_column(0, numbers)
        return Fields(frame, file, count, "ASCII", self.columns)


def counted_delimiter(column_map: ColumnMap) -> bytes:
    """Return the delimiter as the byte that a scan counts, nothing where it is none."""
    delimiter = column_map.delimiter or ""
    plain = len(delimiter) == 1 and delimiter.isascii() and delimiter != WHITESPACE
    return delimiter.encode() if plain else b""


def parse_regular(path: Path, head: bytes, column_map: ColumnMap) -> Regular | None:
    """Parse a file that looks regular.

    Parameters
    ----------
    path : path
        The raw file.
    head : bytes
        Its beginning.
    column_map : ColumnMap
        How it is laid out.

    Returns
    -------
    Regular or None
        None when the file is not regular; the slower way then finds out why.
    """
    delimiter = counted_delimiter(column_map)
    if not is_utf8(str(path)):  # the table library opens no such path
        return None
    if not delimiter or column_map.has_marks or len(column_map.comment) > 1:
        return None
    whole = head.rpartition(b"\n")[0]
    if not whole or not whole.removeprefix(b"\xef\xbb\xbf").isascii() or b'"' in whole:
        return None
    lines = numbered_lines(whole.decode("utf-8-sig").replace("\r\n", "\n"))
    try:
        rows = data_rows(lines, column_map, file=path.name)
        start = int(rows.frame[LINE][0]) - 1 if rows.frame.height else 0
        count = str(rows.frame["raw"][0]).count(delimiter.decode()) + 1 if rows.frame.height else 0
        names = rows.names if rows.names is None or len(rows.names) == count else None
        places = find_columns(column_map, names, count, file=path.name)
        check_header(rows, column_map, file=path.name)
        frame = _parse(path, start, count, places, column_map)
    except (InputError, pl.exceptions.PolarsError, pl.exceptions.PanicException):
        return None
    before = b"\n".join(whole.split(b"\n", start)[:start])
    return Regular(frame, start, before.count(delimiter), column_titles(names, count))


def _parse(
    path: Path, start: int, count: int, places: dict[str, int], column_map: ColumnMap
) -> pl.DataFrame:
    """Let the table library parse the wanted columns."""
    numeric = {*NUMBER_COLUMNS, *ANGLE_COLUMNS, *TIME_COLUMNS} - {"time", "date"}
    ours = {place: name for name, place in places.items()}
    schema = {
        ours.get(place, f"#{place}"): pl.Float64 if ours.get(place) in numeric else pl.String
        for place in range(count)
    }
    frame = pl.scan_csv(
        path,
        has_header=False,
        separator=column_map.delimiter or ",",
        skip_lines=start,
        schema=schema,
        quote_char=None,
        comment_prefix=column_map.comment[0] if column_map.comment else None,
        null_values=missing_texts(column_map, numeric=False),
        decimal_comma=column_map.decimal == ",",
        glob=False,
    )
    return frame.select(list(places)).collect()


def _has_empty_row(frame: pl.DataFrame) -> bool:
    """Tell whether a row has no value in any column that is read."""
    if min(frame.null_count().row(0), default=0) == 0:
        return False
    return bool(frame.select(pl.all_horizontal(pl.all().is_null()).any()).item())
