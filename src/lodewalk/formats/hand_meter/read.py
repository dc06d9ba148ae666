"""The reader of hand-meter tables: rock, place, part, susceptibility, readings, scatter."""

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
from lodewalk.records.recorded import HandMeter

#: Powers of ten that a header may write for the unit of susceptibility; hand meters read 1e-3 or
#: 1e-5 SI (common practice). The volume susceptibility of the cgs system is not among them.
UNITS = {"si": 1.0, "1e-3_si": 1e-3, "1e-5_si": 1e-5, "1e-6_si": 1e-6}
UNIT_HEADS = "k_SI, k_1e-3_SI, k_1e-5_SI or k_1e-6_SI"
PARTS = ("target", "host", "soil")
PART_REMEDY = "target is the rock sought, host the rock around it, soil the ground over both."
NAMES = {"rock": "rock", "lithology": "rock", "place": "place", "outcrop": "place",
         "part": "part", "n": "n", "readings": "n"}  # fmt: skip
VALUE = re.compile(r"(k|sd)(?:_(.+))?")
#: Magnetite, the most susceptible of minerals, stays below this (5.7 SI and more in tables of
#: rock magnetism; from memory), so a larger value is of another unit.
LARGEST_SI = 20.0
LOWEST_SI = -1e-3
MAX_ROWS = 100_000


def recognise(head: bytes) -> float:
    r"""Return how sure it is that a file beginning with `head` is a hand-meter table.

    Examples
    --------
    >>> recognise(b"rock,place,part,k_1e-3_SI,n\ndolerite,creek,target,35.1,10\n")
    0.9
    """
    try:
        text = decode(head[: head.rfind(b"\n") + 1] or head, file="").text
    except InputError:
        return 0.0
    lines = [line for line in text.split("\n") if line.strip() and not line.startswith("#")]
    if not lines:
        return 0.0
    names = set(_names(lines[0].split(delimiter_of(lines[0]))))
    value = any(VALUE.fullmatch(name) and name[0] == "k" for name in names)
    return 0.9 if value and "part" in names else 0.0


@dataclass(frozen=True)
class _Head:
    """The columns by our names, and the units of value and scatter."""

    places: Mapping[str, int]
    unit: float
    sd_unit: float
    title: str
    columns: int


def read(path: Path, *, role: str, column_map: object = None) -> Content:
    """Read a table of hand-meter readings.

    Parameters
    ----------
    path : Path
        Text with a header and columns apart by commas, semicolons or tabs.
    role : {"hand_meter"}
        The only role that it serves.
    column_map : None
        Not used: the header names the columns.

    Returns
    -------
    Content
        `HandMeter`, susceptibilities in SI.

    Raises
    ------
    InputError
        For a header without the unit of k, an unknown part, or a value that is no number or that
        no rock has; with the line.

    Notes
    -----
    Columns are ``part``, ``k`` with its unit (``k_SI``, ``k_1e-3_SI``, ``k_1e-5_SI``,
    ``k_1e-6_SI``), and where they are there ``rock``, ``place``, ``n`` (readings that k is the
    mean of; 1 when left out) and ``sd`` (their standard deviation, in the unit of k unless its
    own header tells another). The decimal sign may be a comma unless commas part the columns.
    """
    del column_map
    if role != "hand_meter":
        rule = "A hand-meter table serves as hand_meter."
        raise InputError(rule, file=path.name, value=role)
    text = decode(path.read_bytes(), file=path.name).text
    rows = rows_of(text, path.name)
    head = _head(*rows[0], file=path.name)
    if len(rows) == 1:
        raise InputError("The table holds no rows.", file=path.name, line=rows[0][0])
    if len(rows) > MAX_ROWS:
        raise InputError(f"A table may have {MAX_ROWS:,} rows at most.", file=path.name)
    found = [_reading(line, fields, head, path.name) for line, fields in rows[1:]]
    schema = {column.name: column.dtype for column in HandMeter.SCHEMA}
    table = HandMeter(pl.DataFrame(found, schema=schema, orient="row"))
    parts = Counter(table.frame["part"])
    said = ", ".join(f"{parts[name]} of {name}" for name in PARTS if parts[name])
    told = f"Hand-meter table: {len(found)} rows ({said}); {head.title}, kept as SI."
    return Content(table, zone="UTC", understood=(told,))


def _names(fields: Sequence[str]) -> list[str]:
    """Return the names of a header in one way of writing."""
    plain = (re.sub(r"[\s()\[\]]+", "_", field.strip().strip('"').casefold()) for field in fields)
    return [NAMES.get(name.strip("_"), name.strip("_")) for name in plain]


def _head(line: int, fields: Sequence[str], *, file: str) -> _Head:
    """Read the header, or raise for what it lacks."""
    names = _names(fields)
    places: dict[str, int] = {}
    units: dict[str, float] = {}
    for place, name in enumerate(names):
        match = VALUE.fullmatch(name)
        ours = match[1] if match else name
        if ours in places:
            raise InputError(
                f"The header names {ours} twice.", file=file, line=line, value=fields[place]
            )
        places[ours] = place
        if match and (match[2] or ours == "k"):
            units[ours] = _unit(fields[place], match[2], file=file, line=line)
    for wanted in ("part", "k"):
        if wanted not in places:
            raise InputError(
                f"The header must name a column {'k with its unit' if wanted == 'k' else wanted}.",
                file=file,
                line=line,
                value=", ".join(fields),
                remedy=f"Call it {UNIT_HEADS}." if wanted == "k" else PART_REMEDY,
            )
    title = fields[places["k"]]
    return _Head(places, units["k"], units.get("sd", units["k"]), title, len(fields))


def _unit(title: str, unit: str | None, *, file: str, line: int) -> float:
    """Return the unit that a header writes, or raise."""
    if unit is None or unit.replace("10^", "1e") not in UNITS:
        raise InputError(
            "The header must tell the unit of susceptibility.",
            file=file,
            line=line,
            value=title,
            remedy=f"Call the column {UNIT_HEADS}, as the meter shows it.",
        )
    return UNITS[unit.replace("10^", "1e")]


Row = tuple[int, str, str | None, str | None, float, int, float | None]


def _reading(line: int, fields: Sequence[str], head: _Head, file: str) -> Row:
    """Return one row of the record."""
    if len(fields) != head.columns:
        raise InputError(
            f"A row must have {head.columns} fields, as the header has.",
            file=file,
            line=line,
            value=f"{len(fields)} fields",
            remedy="Was a decimal comma written where commas part the columns?",
        )
    given = {name: fields[place] for name, place in head.places.items()}
    part = given["part"].casefold()
    if part not in PARTS:
        rule = f"The part must be one of {', '.join(PARTS)}."
        raise InputError(rule, file=file, line=line, value=given["part"], remedy=PART_REMEDY)
    value = number_of(given["k"], "k", file=file, line=line)
    value = _susceptibility(value * head.unit, given["k"], file=file, line=line)
    count = _count(given.get("n", ""), file=file, line=line)
    sd = None
    if given.get("sd"):
        sd = number_of(given["sd"], "sd", file=file, line=line) * head.sd_unit
        if sd < 0:
            raise InputError("sd must not be negative.", file=file, line=line, value=given["sd"])
    return line, part, given.get("rock") or None, given.get("place") or None, value, count, sd


def _susceptibility(value: float, text: str, *, file: str, line: int) -> float:
    """Return a susceptibility that a rock can have, or raise."""
    if not LOWEST_SI <= value <= LARGEST_SI:
        raise InputError(
            f"A susceptibility must lie in {LOWEST_SI:g} to {LARGEST_SI:g} SI.",
            file=file,
            line=line,
            value=text,
            remedy="Is the unit in the header the one that the meter shows?",
        )
    return value


def _count(text: str, *, file: str, line: int) -> int:
    """Return the number of readings; 1 where none is told."""
    if not text:
        return 1
    if not re.fullmatch(r"\d{1,9}", text, re.ASCII) or int(text) < 1:
        raise InputError(
            "n must be a whole number of readings, 1 or more.", file=file, line=line, value=text
        )
    return int(text)
