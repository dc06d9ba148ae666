"""The column map: how the columns of a delimited text file are to be read."""

import re
import tomllib
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal, Self

import polars as pl
from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StrictBool,
    StrictInt,
    ValidationError,
    field_validator,
    model_validator,
)

from lodewalk.errors import SettingsError
from lodewalk.formats.delimited.map_text import settings_error, to_toml
from lodewalk.formats.delimited.time_format import WORDS, TimeFormat, time_format
from lodewalk.zones import checked_zone

WHITESPACE = "whitespace"
TIME_COLUMNS = (
    "time", "date", "year", "month", "day", "day_of_year", "hour", "minute", "second",
    "seconds_of_day",
)  # fmt: skip
NUMBER_COLUMNS = ("field", "quality", "easting", "northing", "height", "satellites", "hdop",
                  "station")  # fmt: skip
ANGLE_COLUMNS = ("latitude", "longitude")
HEMISPHERE_COLUMNS = ("latitude_hemisphere", "longitude_hemisphere")
TEXT_COLUMNS = ("fix", "line", "name", "text")
COLUMN_NAMES = (
    *TIME_COLUMNS, *NUMBER_COLUMNS, *ANGLE_COLUMNS, *HEMISPHERE_COLUMNS, *TEXT_COLUMNS
)  # fmt: skip
FIX_WORDS = ("none", "2d", "3d", "dgps", "rtk", "float")


def _listed(value: object) -> object:
    """Let one text stand for a list of one."""
    return (value,) if isinstance(value, str) else value


Texts = Annotated[tuple[str, ...], BeforeValidator(_listed)]


class _Part(BaseModel):
    """Base of the parts of a column map: frozen, no unknown key."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class Peg(_Part):
    """A peg of the local grid whose projected position is known."""

    line: str = Field(description="the name of a line of the local grid")
    station: float = Field(allow_inf_nan=False, description="the station on that line [m]")
    easting: float = Field(allow_inf_nan=False, description="the easting of the peg in `crs` [m]")
    northing: float = Field(allow_inf_nan=False, description="the northing of the peg in `crs` [m]")


class TimeRule(_Part):
    """How the time of a row is put together."""

    format: str = Field(
        default="iso",
        description='the format of the column time: "iso", "unix" or strptime directives',
    )
    date_format: str = Field(
        default="iso", description='the format of the column date: "iso" or strptime directives'
    )
    year: Annotated[int, Field(ge=1970, le=2100)] | None = Field(
        default=None, description="the year of the first row, 1970 to 2100, where the file has none"
    )
    date: str | None = Field(
        default=None, description="the date of the first row, YYYY-MM-DD, where the file has none"
    )
    zone: str | None = Field(
        default=None, description='"UTC", "GPS", an IANA name or "+hh:mm"'
    )  # fmt: skip

    @field_validator("zone")
    @classmethod
    def _check_zone(cls, zone: str | None) -> str | None:
        return zone if zone is None else checked_zone(zone)

    @model_validator(mode="after")
    def _check(self) -> Self:
        _check_date(self.date)
        if self.date_format == "unix":
            raise SettingsError("time.date_format can't be unix.", remedy="Use time.format.")
        for key, text in (("format", self.format), ("date_format", self.date_format)):
            if text not in WORDS:
                time_format(text, key=f"time.{key}")
        return self

    @property
    def parsed_format(self) -> TimeFormat | None:
        """The format of the column time taken apart, None for a word."""
        return None if self.format in WORDS else time_format(self.format, key="time.format")

    @property
    def parsed_date_format(self) -> TimeFormat | None:
        """The format of the column date taken apart, None for ``iso``."""
        if self.date_format in WORDS:
            return None
        return time_format(self.date_format, key="time.date_format")


def _check_date(text: str | None) -> None:
    """Raise unless the text is a date."""
    if text is None:
        return
    try:
        good = re.fullmatch(r"\d{4}-\d\d-\d\d", text) and date.fromisoformat(text)
    except ValueError:
        good = None
    if not good:
        raise SettingsError("time.date must be a date YYYY-MM-DD.", value=text)


class PositionRule(_Part):
    """What the position columns mean."""

    crs: str | None = Field(
        default=None,
        pattern=r"^EPSG:\d{4,6}$",
        description='"EPSG:" and a code; without it latitude and longitude are WGS84, and easting '
        "and northing are in the survey's own CRS",
    )
    angles: Literal["decimal degrees", "ddmm.mmm"] = Field(
        default="decimal degrees",
        description='"decimal degrees" or "ddmm.mmm" (degrees and minutes written as one number)',
    )
    fix: dict[str, Literal["none", "2d", "3d", "dgps", "rtk", "float"]] = Field(
        default_factory=dict,
        description="a table from the file's own mark of a fix to one of " + ", ".join(FIX_WORDS),
    )
    local_grid: bool = Field(
        default=False, description="true where line and station are a local grid, else false"
    )
    pegs: tuple[Peg, ...] = Field(
        default=(), description="a list of {line, station, easting, northing}, two or more pegs"
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.pegs and not self.local_grid:
            raise SettingsError(
                "position.pegs need a local grid.", remedy="Set position.local_grid = true."
            )
        if len(self.pegs) == 1:
            raise SettingsError("position.pegs must be two or more pegs.", value="1 peg")
        return self


class LineRule(_Part):
    """Rows in the file that name the survey line of the rows below them."""

    mark: str | None = Field(
        default=None,
        min_length=1,
        description="the text that begins a row naming a line; the name follows",
    )
    pattern: str | None = Field(
        default=None, description="a regular expression for such a row; its first group is the name"
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.mark is not None and self.pattern is not None:
            raise SettingsError(
                "lines.mark and lines.pattern can't stand together.", remedy="Keep one of them."
            )
        if self.pattern is not None:
            _check_pattern(self.pattern)
        return self


def _check_pattern(pattern: str) -> None:
    """Raise unless the table library can use the pattern and it has a group."""
    try:
        groups = re.compile(pattern).groups
        pl.Series(["a"]).str.extract(pattern)
    except (re.error, pl.exceptions.PolarsError) as error:
        raise SettingsError(
            "lines.pattern must be a regular expression without look-around.", value=pattern
        ) from error
    if groups < 1:
        raise SettingsError(
            "lines.pattern needs a group for the name of the line.",
            value=pattern,
            remedy="Put the name in parentheses, such as 'LINE (.+)'.",
        )


class ColumnMap(_Part):
    """How the columns of one kind of delimited text file are to be read.

    Every part has a default; a wrong key or value is a `SettingsError` that names it.

    Parameters
    ----------
    skip : int
        Lines at the head of the file that are passed over (names may stand in one of them).
    header : bool or int
        Whether the first line after `skip` holds the names, or the number of the line that does.
    comment : tuple of str
        Lines that begin with one of these are passed over.
    delimiter : str, optional
        Text between columns; "whitespace" for runs of blanks and tabs.
    widths : tuple of int, optional
        Width of each column in characters, in place of `delimiter`.
    decimal : str
        Decimal sign, point or comma.
    missing : tuple of str
        Values that stand for nothing. Numbers are compared as numbers in numeric columns.
    columns : dict
        Our name to the file's name, or to the number of the column, counted from 1.
    time, position, lines : TimeRule, PositionRule, LineRule
        How times, positions and line marks are read.

    Examples
    --------
    >>> chosen = ColumnMap.from_dict({"columns": {"time": 1, "field": 2}, "time": {"zone": "UTC"}})
    >>> chosen.delimiter, chosen.time.format
    (',', 'iso')
    """

    skip: Annotated[int, Field(ge=0, le=100_000)] = Field(
        default=0, description="the number of lines to pass over at the head, 0 to 100000"
    )
    header: StrictBool | Annotated[StrictInt, Field(ge=1)] = Field(
        default=True,
        description="true, false, or the number of the line that holds the names, from 1",
    )
    comment: Texts = Field(
        default=(), description="a text, or list of texts, that begins a comment line"
    )
    delimiter: str | None = Field(
        default=None,
        description='the text between columns, or "whitespace" for runs of blanks and tabs',
    )
    widths: tuple[Annotated[int, Field(ge=1)], ...] | None = Field(
        default=None,
        min_length=1,
        description="a list of column widths in characters, each 1 or more",
    )
    decimal: Literal[".", ","] = Field(default=".", description='"." or ","')
    missing: Texts = Field(
        default=("", "*"), description="a text, or list of texts, that stands for a missing value"
    )
    columns: dict[str, Annotated[str, Field(min_length=1)] | Annotated[int, Field(ge=1)]] = Field(
        default_factory=dict,
        description="a table from our name to the file's name or to a number from 1",
    )
    time: TimeRule = Field(default_factory=TimeRule, description="a table")
    position: PositionRule = Field(default_factory=PositionRule, description="a table")
    lines: LineRule = Field(default_factory=LineRule, description="a table")

    @model_validator(mode="before")
    @classmethod
    def _default_delimiter(cls, data: Any) -> Any:
        if isinstance(data, dict) and data.get("delimiter") is None and data.get("widths") is None:
            return {**data, "delimiter": ","}
        return data

    @model_validator(mode="after")
    def _check(self) -> Self:
        _check_delimiter(self)
        _check_columns(self)
        if "" in self.comment:
            raise SettingsError("comment can't be an empty text.", remedy="Leave comment out.")
        return self

    @property
    def has_marks(self) -> bool:
        """Whether rows of the file name the survey lines."""
        return self.lines.mark is not None or self.lines.pattern is not None

    @classmethod
    def from_dict(cls, values: dict[str, Any], *, file: str | Path | None = None) -> Self:
        """Return the column map that plain values describe.

        Raises
        ------
        SettingsError
            Naming the wrong key, what it must be and the remedy.
        """
        try:
            return cls.model_validate(_plain(values))
        except ValidationError as error:
            raise settings_error(error, model=cls, file=file) from error

    @classmethod
    def from_toml(cls, path: Path) -> Self:
        """Read a column map from a TOML file.

        Raises
        ------
        SettingsError
            When the file is not TOML or a key or value is wrong.
        """
        try:
            values = tomllib.loads(path.read_bytes().decode("utf-8-sig"))
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            found = re.search(r"at line (\d+)", str(error))
            raise SettingsError(
                f"The column map is not TOML: {error}.",
                file=path,
                line=int(found[1]) if found else None,
            ) from error
        return cls.from_dict(values, file=path)

    def to_dict(self) -> dict[str, Any]:
        """Return every setting, defaults included, as plain values in a fixed order."""
        return self.model_dump(mode="json")

    def to_toml(self) -> str:
        """Return the map as TOML text that `from_toml` reads back."""
        return to_toml(self.to_dict())


def _plain(value: Any) -> Any:
    """Return settings with tuples for lists and text for dates."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return tuple(_plain(item) for item in value)
    return value.isoformat() if isinstance(value, date) else value


def _check_delimiter(chosen: ColumnMap) -> None:
    """Raise when delimiter, widths and decimal sign don't go together."""
    delimiter = chosen.delimiter
    if delimiter is not None and chosen.widths is not None:
        raise SettingsError(
            "delimiter and widths can't stand together.", remedy="Keep one of them."
        )
    if delimiter is None:
        return
    if delimiter == "" or any(sign in delimiter for sign in '"\r\n'):
        raise SettingsError(
            "delimiter can't be empty or hold a quote or line end.", value=delimiter
        )
    if delimiter == chosen.decimal:
        raise SettingsError("delimiter and decimal must differ.", value=delimiter)


def _check_columns(chosen: ColumnMap) -> None:
    """Raise for an unknown name of ours, a column read twice or one out of reach."""
    taken: dict[str | int, str] = {}
    for ours, theirs in chosen.columns.items():
        key = f"columns.{ours}"
        if ours not in COLUMN_NAMES:
            raise SettingsError(
                f"{key} is unknown.", remedy=f"The names are {', '.join(COLUMN_NAMES)}."
            )
        if theirs in taken:
            raise SettingsError(f"{key} and columns.{taken[theirs]} read the same column.",
                                value=theirs)  # fmt: skip
        taken[theirs] = ours
        _check_reference(chosen, key, theirs)
    if "line" in chosen.columns and chosen.has_marks:
        raise SettingsError("columns.line and line marks can't stand together.",
                            remedy="Keep one of them.")  # fmt: skip


def _check_reference(chosen: ColumnMap, key: str, theirs: str | int) -> None:
    """Raise when a column can't be found by such a reference."""
    if isinstance(theirs, str) and chosen.header is False:
        raise SettingsError(
            f"{key} is a name, but header is false.", value=theirs,
            remedy="Give the number of the column, counted from 1.",
        )  # fmt: skip
    if isinstance(theirs, int) and chosen.widths and theirs > len(chosen.widths):
        raise SettingsError(f"{key} lies beyond the last of the widths.", value=theirs)
