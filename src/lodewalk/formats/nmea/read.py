"""The reader of NMEA 0183 logs."""

import re
from pathlib import Path

import numpy as np
import polars as pl

from lodewalk.errors import InputError
from lodewalk.formats.content import Content
from lodewalk.formats.nmea.clock import dated
from lodewalk.formats.nmea.sentences import Lines, sort_out
from lodewalk.records.recorded import Track

#: A log with a larger share of damaged lines is refused.
DAMAGE_LIMIT = 0.05

#: The quality code of GGA and our word for it. A GGA doesn't tell a 2d from a 3d fix; estimated,
#: manual and simulated positions (6, 7 and 8) are not fixes.
QUALITY = {
    "0": "none", "1": "3d", "2": "dgps", "3": "3d", "4": "rtk", "5": "float",
    "6": "none", "7": "none", "8": "none",
}  # fmt: skip

GGA_FIELDS = (
    "time", "latitude", "north", "longitude", "east", "quality", "satellites", "hdop", "height",
    "height_unit", "separation", "separation_unit",
)  # fmt: skip
RMC_FIELDS = ("time", "status", "latitude", "north", "longitude", "east", "speed", "course", "date")

TIME = r"^\d{6}(\.\d*)?$"
ANGLE = r"^(\d+)([0-5]\d(?:\.\d*)?)$"
DECIMAL = r"^-?\d+(\.\d*)?$"
SENTENCE = re.compile(rb"^\$[A-Z]{2}(GGA|RMC),", re.MULTILINE)


def recognise(head: bytes) -> float:
    """Return how sure it is that a file beginning with `head` is a log of sentences.

    Examples
    --------
    >>> recognise(b"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A")
    1.0
    """
    lines = [line for line in head.splitlines() if line.strip()]
    share = sum(line.startswith(b"$") for line in lines) / max(len(lines), 1)
    return float(share) if SENTENCE.search(head) else 0.0


def read(path: Path, *, role: str, column_map: object = None) -> Content:
    """Read a log as a track.

    Parameters
    ----------
    path : Path
        The file.
    role : {"track"}
        A log serves as a track only.
    column_map : None
        Not used: the sentences say themselves what they hold.

    Returns
    -------
    Content
        `Track`, times in UTC, heights above the WGS84 ellipsoid.

    Raises
    ------
    InputError
        For a log without positions or without a date, or with more than 5 % damaged lines.

    Notes
    -----
    A line with a wrong or missing checksum, or with a time or position that can't be read, is
    damaged and left out; up to 5 % of the lines may be. The height is the sum of the height
    above sea level and the geoid separation that the receiver took, missing where either is. A
    new segment begins where sentences without a position lie between.
    """
    del column_map
    if role != "track":
        raise InputError("An NMEA 0183 log serves as track.", file=path.name, value=role)
    lines = sort_out(path.read_bytes().removeprefix(b"\xef\xbb\xbf"))
    gga, bad_gga = _readable(_fields(lines, "GGA", GGA_FIELDS))
    rmc, bad_rmc = _readable(_fields(lines, "RMC", RMC_FIELDS))
    damaged = np.sort(np.concatenate([lines.damaged, bad_gga, bad_rmc]))
    _check_damage(damaged, len(lines.sound) + len(lines.damaged), file=path.name)
    points, notes = _points(gga, rmc, file=path.name)
    table = Track(points)
    if len(damaged):
        notes.append(
            "Damaged lines left out (checksum wrong or missing, or time or position unreadable): "
            f"{len(damaged)}, {_some(damaged)}."
        )
    return Content(table, zone="UTC", understood=tuple(notes))


def _fields(lines: Lines, kind: str, names: tuple[str, ...]) -> pl.DataFrame:
    """Return the fields of all sentences of one kind from any talker, as text."""
    frame = lines.sound.filter(pl.col("body").str.contains(rf"^[A-Z]{{2}}{kind},"))
    parts = pl.col("body").str.split(",")
    return frame.select(
        pl.col("line_in_file").cast(pl.Int64),
        pl.col("body").str.slice(0, 2).alias("talker"),
        *(
            parts.list.get(index, null_on_oob=True).fill_null("").str.strip_chars().alias(name)
            for index, name in enumerate(names, start=1)
        ),
    )


def _readable(frame: pl.DataFrame) -> tuple[pl.DataFrame, np.ndarray]:
    """Parse time and position; return the readable sentences and the lines of the others.

    A sentence without a time is left out silently: a receiver sends it before its first fix.
    """
    frame = frame.filter(pl.col("time") != "")
    time = pl.col("time")
    second = time.str.slice(4).cast(pl.Float64, strict=False)
    clock = [time.str.slice(at, 2).cast(pl.Int64, strict=False) for at in (0, 2)]
    frame = frame.with_columns(
        _angle("latitude", "north", ("N", "S"), 90.0).alias("latitude_deg"),
        _angle("longitude", "east", ("E", "W"), 180.0).alias("longitude_deg"),
        ((clock[0] * 60 + clock[1]) * 60_000_000 + (second * 1e6).round(0).cast(pl.Int64)).alias(
            "time_of_day"
        ),
    )
    empty = (pl.col("latitude") == "") & (pl.col("longitude") == "")
    placed = pl.col("latitude_deg").is_not_null() & pl.col("longitude_deg").is_not_null()
    timed = time.str.contains(TIME) & (clock[0] < 24) & (clock[1] < 60) & (second < 61)
    sound = (timed & (empty | placed)).fill_null(value=False)
    return frame.filter(sound), frame.filter(~sound)["line_in_file"].to_numpy()


def _angle(name: str, side: str, letters: tuple[str, str], limit: float) -> pl.Expr:
    """Return degrees from degrees and minutes with their hemisphere, null where unreadable."""
    parts = pl.col(name).str.extract_groups(ANGLE)
    whole = parts.struct.field("1").cast(pl.Float64, strict=False)
    minutes = parts.struct.field("2").cast(pl.Float64, strict=False)
    degrees = whole + minutes / 60.0
    sign = pl.col(side).replace_strict(
        {letters[0]: 1.0, letters[1]: -1.0}, default=None, return_dtype=pl.Float64
    )
    return pl.when(degrees <= limit).then(degrees * sign)


def _check_damage(damaged: np.ndarray, total: int, *, file: str) -> None:
    """Raise when there is no sentence or too many are damaged."""
    if not total:
        raise InputError("The file holds no NMEA 0183 sentences.", file=file)
    if len(damaged) > DAMAGE_LIMIT * total:
        raise InputError(
            f"{len(damaged)} of {total} lines are damaged; {DAMAGE_LIMIT:.0%} may be.",
            file=file,
            line=int(damaged[0]),
            remedy="Copy the log from the receiver again, with checksums switched on.",
        )


def _points(gga: pl.DataFrame, rmc: pl.DataFrame, *, file: str) -> tuple[pl.DataFrame, list[str]]:
    """Return the points of the track and what was understood."""
    valid = rmc.filter(pl.col("status") == "A")
    source = gga if len(gga) else valid
    if source.is_empty():
        raise InputError("The log holds no GGA or RMC sentence with a fix.", file=file)
    points = dated(source, valid, file=file).with_columns(
        pl.col("latitude_deg").is_null().rle_id().alias("run")
    )
    points, repeated = _without_repeats(points.drop_nulls("latitude_deg"))
    if points.is_empty():
        raise InputError("No sentence of the log holds a position.", file=file)
    notes = [_summary(points, source["latitude_deg"].null_count(), "GGA" if len(gga) else "RMC")]
    if repeated:
        notes.append(f"Left out as repeats by a second talker at the same time: {repeated}.")
    segment = pl.col("run").rle_id().cast(pl.Int64).alias("segment")
    if not len(gga):
        notes.append("RMC sentences hold no height and no quality of the fix.")
        height = pl.lit(None, dtype=pl.Float64).alias("height_m")
        return points.select(*_COMMON, segment, height), notes
    points = points.with_columns(_height().alias("height_m"), segment)
    notes += _quality_notes(points)
    return points.select(*_COMMON, "segment", "height_m", *_fix_columns()), notes


_COMMON = ("line_in_file", "recorded_time", "latitude_deg", "longitude_deg")


def _without_repeats(points: pl.DataFrame) -> tuple[pl.DataFrame, int]:
    """Leave out a point that another talker repeats for the same time."""
    again = (
        (pl.col("recorded_time") == pl.col("recorded_time").shift(1))
        & (pl.col("talker") != pl.col("talker").shift(1))
    ).fill_null(value=False)
    kept = points.filter(~again)
    return kept, len(points) - len(kept)


def _decimal(name: str) -> pl.Expr:
    """Return a field as a number, null where it is empty or unreadable."""
    field = pl.col(name)
    return pl.when(field.str.contains(DECIMAL)).then(field.cast(pl.Float64, strict=False))


def _height() -> pl.Expr:
    """Return the height above the ellipsoid [m], null without either part in metres."""
    metres = (pl.col("height_unit") == "M") & (pl.col("separation_unit") == "M")
    return pl.when(metres).then(_decimal("height") + _decimal("separation"))


def _fix_columns() -> list[pl.Expr]:
    """Return kind of fix, satellites and dilution."""
    word = pl.col("quality").replace_strict(QUALITY, default=None, return_dtype=pl.String)
    return [
        word.alias("fix"),
        _decimal("satellites").alias("satellites"),
        _decimal("hdop").alias("hdop"),
    ]


def _summary(points: pl.DataFrame, unplaced: int, kind: str) -> str:
    """Say how many points there are and over which time."""
    first, last = (f"{points['recorded_time'][at].isoformat()}Z" for at in (0, -1))
    return (
        f"NMEA 0183 log: points from {kind} sentences: {len(points)}, from {first} to {last}; "
        f"sentences left out for want of a position: {unplaced}."
    )


def _quality_notes(points: pl.DataFrame) -> list[str]:
    """Say how heights were made and which positions are no fixes."""
    notes = ["Heights are above the ellipsoid: height above sea level plus geoid separation."]
    if missing := points["height_m"].null_count():
        notes.append(f"Points without a height, since one of the two is missing: {missing}.")
    if guessed := int(points["quality"].is_in(["6", "7", "8"]).sum()):
        notes.append(f"Estimated, manual or simulated positions, taken as fix none: {guessed}.")
    return notes


def _some(lines: np.ndarray, limit: int = 5) -> str:
    """Name the first lines."""
    named = ", ".join(str(line) for line in lines[:limit].tolist())
    return f"line{'s' if len(lines) > 1 else ''} {named}{' and more' if len(lines) > limit else ''}"
