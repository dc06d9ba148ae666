"""The reader of IAGA-2002: lines are sliced at fixed columns and every record is checked."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.formats.content import Content
from lodewalk.formats.iaga2002 import layout
from lodewalk.formats.iaga2002.elements import ELEMENTS, columns_of, vector_length
from lodewalk.records.recorded import Observatory, RecordedReadings
from lodewalk.records.table import float_column

FloatArray = NDArray[np.float64]

RECORD_HEAD = r"^\d{4}-\d\d-\d\d \d\d:\d\d:\d\d\.\d{3} [ \d]{2}\d {3}"
FIELD = r"^ +-?\d+\.\d+$"
TIME_FORMAT = "%Y-%m-%d %H:%M:%S%.3f"


@dataclass(frozen=True)
class Header:
    """The records by lower-case label, the elements in order and the line of the data header."""

    records: dict[str, str]
    elements: tuple[str, ...]
    line: int

    def get(self, label: str) -> str:
        """Return the description beside a label, empty where there is none."""
        return self.records.get(label.casefold(), "")


def recognise(head: bytes) -> float:
    """Return 1 where the first header record names the format, else 0.

    Examples
    --------
    >>> recognise(b" Format                 IAGA-2002                 |")
    1.0
    """
    first = head.removeprefix(b"\xef\xbb\xbf").split(b"\n", 1)[0].strip().upper()
    return float(first.startswith(b"FORMAT") and b"IAGA-2002" in first)


def read(path: Path, *, role: str, column_map: object = None) -> Content:
    """Read a file as an observatory series or as the readings of a base.

    Parameters
    ----------
    path : Path
        The file.
    role : {"observatory", "base"}
        An observatory gives all elements [nT, deg]; a base gives the total field [nT].
    column_map : None
        Not used: the format says itself what its columns are.

    Returns
    -------
    Content
        `Observatory` or `RecordedReadings`, in universal time.

    Raises
    ------
    InputError
        For a missing or contradictory header, a record that doesn't keep to the 70 columns or
        was cut off, a date that disagrees with the day of year, or a file without values.

    Notes
    -----
    Values of 99999 and 88888 are missing. The element G is the length of the vector minus the
    scalar total field, from which the latter is found again. The scalar and the length of the
    vector are never mixed within a base record, since they can differ by several nanotesla.
    """
    del column_map
    if role not in ("observatory", "base"):
        raise InputError("IAGA-2002 serves as observatory or base.", file=path.name, value=role)
    lines = _lines(path)
    header = _header(lines, file=path.name)
    frame = _records(lines, header, file=path.name)
    values = _values(frame, header, file=path.name)
    understood = [_station(header), _extent(frame, header), _elements(header, values)]
    table: Observatory | RecordedReadings
    if role == "observatory":
        columns, notes = columns_of(values)
        table = Observatory(_with(frame, columns))
    else:
        total, note = _total_field(values, file=path.name)
        notes = [note]
        table = RecordedReadings(_with(frame, {"raw_nT": total}))
    return Content(table=table, zone="UTC", understood=(*understood, *notes), place=_place(header))


def _lines(path: Path) -> pl.Series:
    """Return the lines of the file without trailing blanks."""
    raw = path.read_bytes().removeprefix(b"\xef\xbb\xbf")
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    return pl.Series("text", text.split("\n"), dtype=pl.String).str.strip_chars_end(" \r\x1a")


def _header(lines: pl.Series, *, file: str) -> Header:
    """Read the header records down to the data header."""
    if not recognise(str(lines[0]).encode()):
        raise InputError("An IAGA-2002 file must begin with its format record.", file=file, line=1)
    records: dict[str, str] = {}
    for number, text in enumerate(lines, start=1):
        if text.lstrip().upper().startswith("DATE "):
            elements = _header_elements(text, file=file, line=number)
            header = Header(records, elements, number)
            _check_reported(header, file=file)
            return header
        if not text.lstrip().startswith("#"):
            label = text[: layout.LABEL_END].strip().casefold()
            records[label] = text[layout.LABEL_END : layout.DESCRIPTION_END].rstrip("|").strip()
    raise InputError(
        "The data header, which begins with DATE, is missing.",
        file=file,
        line=len(lines),
        remedy="The file may be cut short; fetch it again.",
    )


def _header_elements(text: str, *, file: str, line: int) -> tuple[str, ...]:
    """Return the letters of the four elements that the data header names, in their order."""
    names = text.upper().rstrip("| ").split()
    letters = tuple(name[-1] for name in names[3:])
    different = len(letters) == len(set(letters)) == layout.FIELDS
    if names[:3] != ["DATE", "TIME", "DOY"] or not different:
        raise InputError(
            "The data header must name DATE, TIME, DOY and four different elements.",
            file=file,
            line=line,
            value=text,
        )
    if {"F", "S"} <= set(letters):
        raise InputError("The data header names the total field twice.", file=file, line=line)
    return letters


def _check_reported(header: Header, *, file: str) -> None:
    """Raise when the record of the reported elements contradicts the data header."""
    reported = " ".join(header.get("Reported").upper().split()[:1]).replace("S", "F")
    if not set(reported) <= set("".join(header.elements).replace("S", "F")):
        raise InputError(
            f"The elements reported ({header.get('Reported')}) must be those of the data header.",
            file=file,
            line=header.line,
            value="".join(header.elements),
            remedy="Ask the source which is right.",
        )


def _records(lines: pl.Series, header: Header, *, file: str) -> pl.DataFrame:
    """Return number, text and time of each data record, every record checked."""
    frame = pl.DataFrame({"text": lines}).with_row_index("line_in_file", offset=1)
    frame = frame.slice(header.line).filter(pl.col("text") != "")
    if frame.is_empty():
        raise InputError("The file holds no data records.", file=file, line=header.line)
    length = pl.col("text").str.len_chars()
    fields = [pl.col("text").str.slice(at, layout.FIELD_WIDTH) for at in _starts(frame)]
    sound = (length == layout.FIRST_FIELD + len(fields) * layout.FIELD_WIDTH) & pl.all_horizontal(
        pl.col("text").str.contains(RECORD_HEAD), *(field.str.contains(FIELD) for field in fields)
    )
    _check_all(frame, sound, _refuse_shape, file=file)
    time = pl.col("text").str.slice(0, layout.DATE_END)
    day = pl.col("text").str.slice(layout.DATE_END + 1, 3)
    frame = frame.with_columns(
        pl.col("line_in_file").cast(pl.Int64),
        time.str.to_datetime(TIME_FORMAT, time_unit="us", strict=False).alias("recorded_time"),
        day.str.strip_chars().cast(pl.Int16).alias("day"),
        *(field.str.strip_chars().cast(pl.Float64).alias(str(i)) for i, field in enumerate(fields)),
    )
    _check_all(frame, pl.col("recorded_time").is_not_null(), _refuse_time, file=file)
    agrees = pl.col("recorded_time").dt.ordinal_day() == pl.col("day")
    _check_all(frame, agrees, _refuse_day, file=file)
    return frame


def _starts(frame: pl.DataFrame) -> range:
    """Return where the fields begin; elements that no record holds may be left blank at the end."""
    longest = int(frame["text"].str.len_chars().max() or 0)  # type: ignore[arg-type]
    end = min(max(longest, layout.FIRST_FIELD + layout.FIELD_WIDTH), layout.RECORD_LENGTH)
    return range(layout.FIRST_FIELD, end, layout.FIELD_WIDTH)


def _check_all(
    frame: pl.DataFrame, sound: pl.Expr, refuse: Callable[..., NoReturn], *, file: str
) -> None:
    """Hand the first record that isn't sound to `refuse`."""
    bad = frame.filter(~sound.fill_null(value=False))
    if not bad.is_empty():
        line, text = int(bad["line_in_file"][0]), str(bad["text"][0])
        refuse(text, file=file, line=line, last=line == frame["line_in_file"][-1])


def _refuse_shape(text: str, *, file: str, line: int, last: bool) -> NoReturn:
    """Say what is wrong with the columns of a record."""
    if recognise(text.encode()):
        rule, remedy = "A second header begins.", "Add each file of the observatory by itself."
    elif last and len(text) < layout.RECORD_LENGTH:
        rule, remedy = "The last record is cut short.", "Fetch the file again."
    elif len(text) != layout.RECORD_LENGTH:
        rule = f"A data record must have {layout.RECORD_LENGTH} characters, not {len(text)}."
        remedy = "Don't edit the file; fetch it again."
    else:
        rule = "A data record must hold date, time, day of year and four values in fixed columns."
        remedy = "Don't edit the file; fetch it again."
    raise InputError(rule, file=file, line=line, value=text, remedy=remedy)


def _refuse_time(text: str, *, file: str, line: int, last: bool) -> NoReturn:
    """Say that date or time are impossible."""
    del last
    value = text[: layout.DATE_END]
    raise InputError("Date and time must exist.", file=file, line=line, value=value)


def _refuse_day(text: str, *, file: str, line: int, last: bool) -> NoReturn:
    """Say that the day of year disagrees with the date."""
    del last
    value = text[: layout.FIRST_FIELD].rstrip()
    rule = "The day of year must be that of the date."
    raise InputError(rule, file=file, line=line, value=value)


def _values(frame: pl.DataFrame, header: Header, *, file: str) -> dict[str, FloatArray]:
    """Return the values of each element as in the file, NaN where missing; empty ones left out."""
    values = {}
    for index, letter in enumerate(header.elements):
        if str(index) in frame.columns and letter in ELEMENTS:
            array = frame[str(index)].to_numpy().copy()
            array[np.isin(np.trunc(array), layout.NO_VALUE)] = np.nan
            if not np.isnan(array).all():
                values[letter] = array
    if not values:
        raise InputError("Every value of the file is missing.", file=file, line=header.line + 1)
    return values


def _total_field(values: dict[str, FloatArray], *, file: str) -> tuple[FloatArray, str]:
    """Return the total field for a base and the sentence that says where it comes from."""
    for letter in ("F", "S"):
        if letter in values:
            return values[letter], f"The total field is the scalar {letter} of the file."
    length, names = vector_length(values)
    if length is None:
        raise InputError(
            "A base needs the total field or three components.",
            file=file,
            value="".join(values),
            remedy="Add it as an observatory.",
        )
    if "G" in values:
        return length - values["G"], f"The total field is the length of {names} minus G."
    return length, f"The total field is the length of {names}; the file has no scalar values."


def _with(frame: pl.DataFrame, columns: dict[str, FloatArray]) -> pl.DataFrame:
    """Return line, time and the given columns."""
    return frame.select(
        "line_in_file",
        "recorded_time",
        *(float_column(array).alias(name) for name, array in columns.items()),
    )


def _station(header: Header) -> str:
    """Say which station the file is of and where it lies."""
    code = header.get("IAGA Code")
    name = f"{header.get('Station Name') or 'an unnamed station'}{f' ({code})' if code else ''}"
    place = [
        f"{label.split()[-1].casefold()} {_rounded(header.get(label))}{unit}"
        for label, unit in zip(layout.LABELS[4:7], ("°", "°", " m"), strict=True)
        if header.get(label)
    ]
    return f"IAGA-2002 file of {', '.join([name, *place])}."


def _place(header: Header) -> tuple[float, float] | None:
    """Return latitude and longitude of the station, None where the header doesn't tell."""
    try:
        return float(header.get(layout.LABELS[4])), float(header.get(layout.LABELS[5]))
    except ValueError:
        return None


def _rounded(text: str) -> str:
    """Return a number of the header without needless digits, other text as it is."""
    try:
        return f"{round(float(text), 5):g}"
    except ValueError:
        return text


def _extent(frame: pl.DataFrame, header: Header) -> str:
    """Say how many records there are, how far apart and over which time."""
    times = frame["recorded_time"]
    seconds = times.dt.timestamp("us").to_numpy() / 1e6
    spacing = f" each {np.median(np.diff(seconds)):g} s" if len(times) > 1 else ""
    first, last = (f"{time.isoformat()}Z" for time in (times[0], times[-1]))
    kinds = [f"; {label.casefold()} {header.get(label)}" for label in layout.LABELS[9:]]
    said = "".join(kind for kind in kinds if not kind.endswith(" "))
    return f"{len(times)} records{spacing} from {first} to {last}{said}."


def _elements(header: Header, values: dict[str, FloatArray]) -> str:
    """Say the order of the elements, their units and what is missing."""
    parts = [f"Elements {', '.join(header.elements)} in this order, in nT"]
    if {"D", "I"} & set(values):
        parts.append("angles from minutes of arc turned into degrees")
    for letter in header.elements:
        if letter not in ELEMENTS:
            parts.append(f"{letter} is not read")
        elif letter not in values:
            parts.append(f"{letter} has no values")
        elif missing := int(np.isnan(values[letter]).sum()):
            parts.append(f"{letter} lacks {missing}")
    return "; ".join(parts) + "."
