"""From text to fields: lines, head, comments, line marks, and where each column lies."""

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from lodewalk.errors import InputError
from lodewalk.formats.delimited.column_map import (
    ANGLE_COLUMNS,
    NUMBER_COLUMNS,
    WHITESPACE,
    ColumnMap,
)
from lodewalk.formats.delimited.last_line import cut_off

LINE = "line_in_file"
SEGMENT = "segment"
NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)


@dataclass(frozen=True)
class Rows:
    """The data rows of a file, not yet split.

    Parameters
    ----------
    frame : polars.DataFrame
        "line_in_file", "raw" and, where rows of the file name lines, "line" and "segment".
    names : tuple of str, optional
        Names of the columns; None where the file has none.
    header_line : int, optional
        Line that holds the names.
    """

    frame: pl.DataFrame
    names: tuple[str, ...] | None
    header_line: int | None


@dataclass(frozen=True)
class Fields:
    """The wanted columns of every data row under our names, as text or as numbers.

    Parameters
    ----------
    frame : polars.DataFrame
        "line_in_file" and one column for each of ours: text without blanks around it, or
        numbers.
    file : str
        Name of the file.
    column_count : int
        Columns in the file, read or not.
    encoding : str
        Encoding in words.
    columns : tuple of str
        Every column of the file by name or number, in order.
    parts : polars.Series, optional
        Every field of each row as lists of text, where they were split one by one.
    """

    frame: pl.DataFrame
    file: str
    column_count: int
    encoding: str
    columns: tuple[str, ...]
    parts: pl.Series | None = None

    def has(self, name: str) -> bool:
        """Tell whether one of our columns was read."""
        return name in self.frame.columns


def numbered_lines(text: str) -> pl.DataFrame:
    r"""Return the lines of a text as "line_in_file" and "raw".

    Examples
    --------
    >>> numbered_lines("a\nb\n").rows()
    [(1, 'a'), (2, 'b')]
    """
    lines = pl.Series("raw", [text], dtype=pl.String).str.split("\n").explode()
    if lines.len() and not lines[-1]:
        lines = lines[:-1]
    numbers = pl.int_range(1, lines.len() + 1, dtype=pl.Int64, eager=True)
    return pl.DataFrame({LINE: numbers, "raw": lines})


def one_blank_between(text: str) -> str:
    """Return the text with one blank for each run of blanks and tabs."""
    text = text.replace("\t", " ")
    while "  " in text:
        text = text.replace("  ", " ")
    return text


def data_rows(lines: pl.DataFrame, column_map: ColumnMap, *, file: str) -> Rows:
    """Leave out the head, comments, blank lines, line marks and repeated headers.

    Parameters
    ----------
    lines : polars.DataFrame
        What `numbered_lines` returns.
    column_map : ColumnMap
        How the file is laid out.
    file : str
        Named in an error.

    Raises
    ------
    InputError
        When the line of names is missing or can't be split, or a line mark has no name.
    """
    stripped = pl.col("raw").str.strip_chars()
    comment = pl.lit(value=False)
    for prefix in column_map.comment:
        comment = comment | stripped.str.starts_with(prefix)
    lines = lines.with_columns(_mark(column_map, stripped).alias("mark"))
    plain = (stripped != "") & ~comment & pl.col("mark").is_null()
    header_line = _header_line(lines, column_map, plain, file)
    first = max(column_map.skip, header_line or 0)
    wanted = plain & (pl.col(LINE) > first)
    names = None
    if header_line is not None:
        raw = str(lines["raw"][header_line - 1])
        try:
            names = split_names(raw, column_map)
        except csv.Error as error:
            raise _unmatched(raw, header_line, file) from error
        wanted = wanted & (pl.col("raw") != raw)
    return Rows(_with_marks(lines, column_map, wanted, file), names, header_line)


def _mark(column_map: ColumnMap, stripped: pl.Expr) -> pl.Expr:
    """Return the name that each line mark gives, null on other lines."""
    rule = column_map.lines
    if rule.mark is not None:
        name = stripped.str.strip_prefix(rule.mark).str.strip_chars(f" \t,;:=|{_one(column_map)}")
        return pl.when(stripped.str.starts_with(rule.mark)).then(name)
    if rule.pattern is not None:
        return pl.col("raw").str.extract(rule.pattern, 1).str.strip_chars()
    return pl.lit(None, dtype=pl.String)


def _header_line(
    lines: pl.DataFrame, column_map: ColumnMap, plain: pl.Expr, file: str
) -> int | None:
    """Return the line that holds the names, None where there are none."""
    if column_map.header is False:
        return None
    if column_map.header is True:
        candidates = lines.filter(plain & (pl.col(LINE) > column_map.skip))
        if not candidates.height:
            raise InputError("The file holds no rows below its head.", file=file)
        return int(candidates[LINE][0])
    if column_map.header > lines.height:
        raise InputError(
            "The line of names lies beyond the end of the file.",
            file=file,
            value=column_map.header,
            remedy="Correct header in the column map.",
        )
    return int(column_map.header)


def _with_marks(
    lines: pl.DataFrame, column_map: ColumnMap, wanted: pl.Expr, file: str
) -> pl.DataFrame:
    """Return the wanted rows with the name given by the last mark above them."""
    if not column_map.has_marks:
        return lines.filter(wanted).drop("mark")
    nameless = lines.filter(pl.col("mark") == "")
    if nameless.height:
        raise InputError(
            "A line mark must name a line.",
            file=file,
            line=nameless[LINE][0],
            value=nameless["raw"][0],
        )
    named = lines.with_columns(
        pl.col("mark").forward_fill().alias("line"),
        pl.col("mark").is_not_null().cast(pl.Int64).cum_sum().alias(SEGMENT),
    )
    return named.filter(wanted).drop("mark")


def _one(column_map: ColumnMap) -> str:
    """Return the delimiter as it stands between two columns."""
    return " " if column_map.delimiter == WHITESPACE else column_map.delimiter or ""


def split_names(raw: str, column_map: ColumnMap) -> tuple[str, ...]:
    """Split the line of names, without a comment sign before it.

    Raises
    ------
    csv.Error
        For a carriage return beside quotes.
    """
    for prefix in column_map.comment:
        if raw.lstrip().startswith(prefix):
            raw = raw.lstrip()[len(prefix) :]
            break
    if column_map.widths is not None:
        return tuple(raw[begin:end].strip() for begin, end in _spans(column_map.widths))
    if column_map.delimiter == WHITESPACE:
        raw = one_blank_between(raw).strip()
    delimiter = _one(column_map)
    if '"' in raw and len(delimiter) == 1:
        parts = next(csv.reader([raw], delimiter=delimiter, skipinitialspace=True))
    else:
        parts = raw.split(delimiter)
    return tuple(part.strip() for part in parts)


def _spans(widths: Sequence[int]) -> list[tuple[int, int]]:
    """Return begin and end of each column of fixed width."""
    ends = [sum(widths[: number + 1]) for number in range(len(widths))]
    return list(zip([0, *ends[:-1]], ends, strict=True))


def find_columns(
    column_map: ColumnMap, names: tuple[str, ...] | None, count: int, *, file: str | Path
) -> dict[str, int]:
    """Return where each of our columns stands, counted from 0.

    Raises
    ------
    InputError
        When the file has no such column, with those that it has.
    """
    return {
        ours: _position(ours, theirs, names, count, file)
        for ours, theirs in column_map.columns.items()
    }


def _position(
    ours: str, theirs: str | int, names: tuple[str, ...] | None, count: int, file: str | Path
) -> int:
    """Return the place of one column."""
    if isinstance(theirs, int):
        if theirs > count:
            raise InputError(
                f"Column {theirs} for {ours} does not exist.",
                file=file,
                remedy=f"The file has {count} columns; correct columns.{ours}.",
            )
        return theirs - 1
    wanted = theirs.strip()
    known = list(names or ())
    found = [place for place, name in enumerate(known) if name == wanted] or [
        place for place, name in enumerate(known) if name.casefold() == wanted.casefold()
    ]
    if len(found) == 1 and found[0] < count:
        return found[0]
    what = "is not in" if not found else "stands more than once in"
    raise InputError(
        f"The column '{theirs}' for {ours} {what} the file.",
        file=file,
        remedy=f"Its columns are {_listed(known)}; correct columns.{ours}.",
    )


def check_header(rows: Rows, column_map: ColumnMap, *, file: str) -> None:
    """Raise when the line of names is a row, which would be lost without a word.

    Raises
    ------
    InputError
        When columns are given by number and every number among them is one in that line too.
    """
    if rows.names is None:
        return
    cells = [
        rows.names[place - 1].replace(column_map.decimal, ".")
        for ours, place in column_map.columns.items()
        if isinstance(place, int)
        and ours in (*NUMBER_COLUMNS, *ANGLE_COLUMNS)
        and place <= len(rows.names)
        and rows.names[place - 1] not in ("", *column_map.missing)
    ]
    if cells and all(NUMBER.fullmatch(cell) for cell in cells):
        raise InputError(
            "The line of names holds values.",
            file=file,
            line=rows.header_line,
            value=cells[0],
            remedy="If the file has no names, set header = false in the column map.",
        )


def _listed(names: Sequence[str], limit: int = 600) -> str:
    """Return names for an error, cut where they are very many."""
    text = ", ".join(names)
    return text if len(text) <= limit else f"{text[:limit]}…"


def split_fields(
    rows: Rows, column_map: ColumnMap, *, file: str, finished: bool, encoding: str
) -> Fields:
    """Split every data row and keep the columns of the map.

    Parameters
    ----------
    rows : Rows
        What `data_rows` returns.
    column_map : ColumnMap
        How the file is laid out.
    file, encoding : str
        Name of the file and its encoding in words.
    finished : bool
        Whether the last line ends with a line end.

    Raises
    ------
    InputError
        When there are no rows, or one has another number of columns than the first.
    """
    if not rows.frame.height:
        raise InputError("The file holds no rows below its head.", file=file)
    if column_map.widths is not None:
        parts, count = _by_width(rows, column_map.widths, file, finished)
    else:
        parts, count = _by_delimiter(rows, column_map, file, finished)
    _check_names(rows, column_map, parts, count, file)
    places = find_columns(column_map, rows.names, count, file=file)
    check_header(rows, column_map, file=file)
    kept = [name for name in (LINE, "line", SEGMENT) if name in rows.frame.columns]
    wanted = [
        parts.list.get(place, null_on_oob=True).str.strip_chars().alias(ours)
        for ours, place in places.items()
    ]
    frame = rows.frame.select(kept).with_columns(wanted)
    return Fields(frame, file, count, encoding, column_titles(rows.names, count), parts)


def column_titles(names: tuple[str, ...] | None, count: int) -> tuple[str, ...]:
    """Return the name of each column, or its number where names and columns do not match."""
    if names is not None and len(names) == count:
        return names
    return tuple(str(number + 1) for number in range(count))


def _check_names(
    rows: Rows, column_map: ColumnMap, parts: pl.Series, count: int, file: str
) -> None:
    """Raise when names that are used do not match the columns; a last empty one needs none."""
    if rows.names is None or not any(isinstance(c, str) for c in column_map.columns.values()):
        return
    names = list(rows.names)
    while len(names) > count and names[-1] == "":
        names.pop()
    if len(names) == count - 1 and (parts.list.last().str.strip_chars() == "").all():
        return
    if len(names) != count:
        raise InputError(
            f"The first row has {count} columns below {len(names)} names.",
            file=file,
            line=rows.frame[LINE][0],
            remedy="Correct delimiter, skip or header, or give columns by number.",
        )


def _by_width(
    rows: Rows, widths: Sequence[int], file: str, finished: bool
) -> tuple[pl.Series, int]:
    """Cut rows at fixed places."""
    raw = rows.frame["raw"]
    spans = _spans(widths)
    lengths = raw.str.len_chars()
    rest = raw.str.slice(spans[-1][1]).str.strip_chars() != ""
    if rest.any():
        place = rest.arg_max() or 0
        raise InputError(
            f"A row is longer than the widths together, {spans[-1][1]} characters.",
            file=file,
            line=rows.frame[LINE][place],
            value=raw[place],
            remedy="Correct widths in the column map.",
        )
    if not finished and rows.frame.height > 1 and lengths[-1] < (lengths[:-1].min() or 0):
        raise cut_off(file, rows.frame[LINE][-1], raw[-1])
    cut = [raw.str.slice(begin, end - begin).alias(str(begin)) for begin, end in spans]
    return pl.DataFrame(cut).select(pl.concat_list(pl.all())).to_series(), len(spans)


def _by_delimiter(
    rows: Rows, column_map: ColumnMap, file: str, finished: bool
) -> tuple[pl.Series, int]:
    """Split rows at the delimiter and check that each has as many columns as the first."""
    raw = rows.frame["raw"]
    if column_map.delimiter == WHITESPACE:
        raw = raw.str.strip_chars()
    delimiter = _one(column_map)
    parts = raw.str.split(delimiter)
    quoted = raw.str.contains('"', literal=True)
    if len(delimiter) == 1 and quoted.any():
        parts = _unquoted(rows, raw, parts, quoted, delimiter, file)
    counts = parts.list.len()
    count = int(counts[0])
    odd = counts != count
    if odd.any():
        raise _count_changes(rows.frame, counts, odd.arg_max() or 0, file, finished)
    return parts, count


def _unquoted(
    rows: Rows, raw: pl.Series, parts: pl.Series, quoted: pl.Series, delimiter: str, file: str
) -> pl.Series:
    """Split the rows that hold quotes by the rules of quoted text."""
    texts = raw.filter(quoted).to_list()
    try:
        # A quote left open makes the reader join lines, or fail on the last: either shows here.
        split = list(csv.reader(texts, delimiter=delimiter, skipinitialspace=True, strict=True))
    except csv.Error:
        split = []
    if len(split) != len(texts):
        place = _open_quote(texts, delimiter)
        raise _unmatched(texts[place], rows.frame[LINE].filter(quoted)[place], file)
    frame = pl.DataFrame({"parts": parts, "quoted": quoted}).with_row_index()
    better = pl.DataFrame(
        {
            "index": frame["index"].filter(quoted),
            "better": pl.Series(split, dtype=pl.List(pl.String)),
        }
    )
    joined = frame.join(better, on="index", how="left", maintain_order="left")
    return joined.select(pl.coalesce("better", "parts")).to_series()


def _unmatched(raw: str, line: int, file: str) -> InputError:
    """Return the error for a line whose quotes break the rules of quoted text."""
    return InputError(
        "The quotes on this line do not match.",
        file=file,
        line=line,
        value=raw,
        remedy="Text over several lines can't be read.",
    )


def _open_quote(texts: Sequence[str], delimiter: str) -> int:
    """Return the first row that can't be split alone."""
    for place, text in enumerate(texts):
        try:
            list(csv.reader([text], delimiter=delimiter, skipinitialspace=True, strict=True))
        except csv.Error:
            return place
    return 0


def _count_changes(
    frame: pl.DataFrame, counts: pl.Series, place: int, file: str, finished: bool
) -> InputError:
    """Return the error for a row that has other columns than the first."""
    line, raw = frame[LINE][place], frame["raw"][place]
    if not finished and place == frame.height - 1 and counts[place] < counts[0]:
        return cut_off(file, line, raw)
    return InputError(
        f"This row has {counts[place]} columns where the rows above have {counts[0]}.",
        file=file,
        line=line,
        value=raw,
        remedy="Did the layout change half-way? Split the file there, or correct the delimiter.",
    )
