"""The reader of tables of facts: what is known at a place, its value, its error."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from lodewalk.errors import InputError
from lodewalk.formats.content import Content
from lodewalk.formats.delimited.encoding import decode
from lodewalk.formats.plain_table import delimiter_of, number_of, rows_of
from lodewalk.records.recorded import Known

#: What can be known, in words, and the least and greatest value of each.
FACTS = {
    "depth": ("depth of the top in a borehole", 0.0, 5000.0),
    "not_reached": ("depth to which a borehole did not reach the body", 0.0, 5000.0),
    "width": ("horizontal width across the strike at an outcrop", 0.0, 10_000.0),
    "dip": ("dip at an outcrop", 0.0, 90.0),
}
REMEDY = "Known is depth or not_reached (borehole), width or dip (outcrop)."
#: Columns by the names a header may use.
NAMES = {
    "what": "what", "fact": "what", "name": "name", "borehole": "name", "place": "name",
    "latitude": "latitude_deg", "latitude_deg": "latitude_deg",
    "longitude": "longitude_deg", "longitude_deg": "longitude_deg",
    "easting": "easting_m", "easting_m": "easting_m",
    "northing": "northing_m", "northing_m": "northing_m",
    "value": "value", "sd": "sd", "towards": "towards_deg", "towards_deg": "towards_deg",
}  # fmt: skip
PLACES = (("latitude_deg", "longitude_deg"), ("easting_m", "northing_m"))
MAX_ROWS = 100_000


def recognise(head: bytes) -> float:
    r"""Return how sure it is that a file beginning with `head` is a table of facts.

    Examples
    --------
    >>> recognise(b"what,easting,northing,value,sd\ndepth,5000,7000,12.5,0.2\n")
    0.9
    """
    try:
        text = decode(head[: head.rfind(b"\n") + 1] or head, file="").text
    except InputError:
        return 0.0
    lines = [line for line in text.split("\n") if line.strip() and not line.startswith("#")]
    if not lines:
        return 0.0
    names = _names(lines[0].split(delimiter_of(lines[0])))
    return 0.9 if {"what", "value"} <= set(names) else 0.0


@dataclass(frozen=True)
class _Head:
    """The columns by our names, and the two that hold the place."""

    columns: Mapping[str, int]
    place: tuple[str, str]
    count: int


def read(path: Path, *, role: str, column_map: object = None) -> Content:
    """Read a table of facts.

    Parameters
    ----------
    path : Path
        Text with a header and columns apart by commas, semicolons or tabs.
    role : {"known"}
        The only role that it serves.
    column_map : None
        Not used: the header names the columns.

    Returns
    -------
    Content
        `Known`.

    Raises
    ------
    InputError
        For a header without what, value or place, an unknown fact, or a value that can't be; with
        the line.

    Notes
    -----
    Columns are ``what`` (``depth``, ``not_reached``, ``width``, ``dip``), ``value`` (metres, a
    dip in degrees), ``easting`` and ``northing`` in the survey's CRS or ``latitude`` and
    ``longitude``, and where they are there ``sd``, ``name`` and, for a dip, ``towards``: the
    azimuth that the body dips towards.
    """
    del column_map
    if role != "known":
        rule = "A table of facts serves as known."
        raise InputError(rule, file=path.name, value=role)
    rows = rows_of(decode(path.read_bytes(), file=path.name).text, path.name)
    head = _head(*rows[0], file=path.name)
    if len(rows) == 1:
        raise InputError("The table holds no rows.", file=path.name, line=rows[0][0])
    if len(rows) > MAX_ROWS:
        raise InputError(f"A table may have {MAX_ROWS:,} rows at most.", file=path.name)
    found = [_fact(line, fields, head, path.name) for line, fields in rows[1:]]
    columns = [c for c in Known.SCHEMA if not c.optional or c.name in head.place]
    table = Known(pl.DataFrame(found, schema={c.name: c.dtype for c in columns}))
    counts = Counter(table.frame["what"])
    said = ", ".join(f"{counts[name]} of {name}" for name in FACTS if counts[name])
    return Content(table, zone="UTC", understood=(f"Known: {len(found)} rows ({said}).",))


def _names(fields: Sequence[str]) -> list[str]:
    """Return the names of a header in one way of writing."""
    plain = (re.sub(r"[\s()\[\]]+", "_", field.strip().strip('"').casefold()) for field in fields)
    return [NAMES.get(name.strip("_"), name.strip("_")) for name in plain]


def _head(line: int, fields: Sequence[str], *, file: str) -> _Head:
    """Read the header, or raise for what it lacks."""
    names = _names(fields)
    for name, count in Counter(names).items():
        if count > 1 and name in NAMES.values():
            raise InputError(f"The header names {name} twice.", file=file, line=line, value=name)
    columns = {name: place for place, name in enumerate(names)}
    for wanted in ("what", "value"):
        if wanted not in columns:
            raise InputError(
                f"The header must name a column {wanted}.",
                file=file,
                line=line,
                value=", ".join(fields),
                remedy=REMEDY if wanted == "what" else "It holds metres, of a dip degrees.",
            )
    for place in PLACES:
        if set(place) <= set(columns):
            return _Head(columns, place, len(fields))
    raise InputError(
        "The header must name the place.",
        file=file,
        line=line,
        value=", ".join(fields),
        remedy="Have easting and northing in the survey's CRS, or latitude and longitude.",
    )


def _fact(
    line: int, fields: Sequence[str], head: _Head, file: str
) -> dict[str, int | float | str | None]:
    """Return one row of the record."""
    if len(fields) != head.count:
        raise InputError(
            f"A row must have {head.count} fields, as the header has.",
            file=file,
            line=line,
            value=f"{len(fields)} fields",
            remedy="Was a decimal comma written where commas part the columns?",
        )
    given = {name: fields[place] for name, place in head.columns.items()}
    what = given["what"].casefold().replace(" ", "_")
    if what not in FACTS:
        rule = f"What is known must be one of {', '.join(FACTS)}."
        raise InputError(rule, file=file, line=line, value=given["what"], remedy=REMEDY)
    row: dict[str, int | float | str | None] = {"line_in_file": line, "what": what}
    row["name"] = given.get("name") or None
    for name in head.place:
        row[name] = number_of(given[name], name, file=file, line=line)
    row["value"] = _value(what, given["value"], file=file, line=line)
    row["sd"] = _sd(given.get("sd", ""), file=file, line=line)
    row["towards_deg"] = _towards(what, given.get("towards_deg", ""), file=file, line=line)
    return row


def _value(what: str, text: str, *, file: str, line: int) -> float:
    """Return a value that the fact can have, or raise."""
    words, low, high = FACTS[what]
    value = number_of(text, "value", file=file, line=line)
    if not low < value <= high:
        unit = "degrees" if what == "dip" else "m"
        raise InputError(
            f"A {words} must be above {low:g} and at most {high:g} {unit}.",
            file=file,
            line=line,
            value=text,
        )
    return value


def _sd(text: str, *, file: str, line: int) -> float | None:
    """Return a standard deviation above zero, or none."""
    if not text:
        return None
    value = number_of(text, "sd", file=file, line=line)
    if not value > 0.0:
        raise InputError(
            "sd must be above zero.", file=file, line=line, value=text, remedy="Or leave it empty."
        )
    return value


def _towards(what: str, text: str, *, file: str, line: int) -> float | None:
    """Return the azimuth that a dip goes towards, which it needs, or none."""
    if what != "dip":
        return None
    if not text:
        raise InputError(
            "A dip needs the azimuth that it goes towards.",
            file=file,
            line=line,
            remedy="Add a column towards, in degrees from grid north.",
        )
    value = number_of(text, "towards", file=file, line=line)
    if not 0.0 <= value <= 360.0:
        raise InputError("An azimuth lies in 0 to 360 degrees.", file=file, line=line, value=text)
    return value
