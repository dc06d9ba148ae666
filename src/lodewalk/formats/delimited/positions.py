"""Fields to positions as recorded, and what positions must obey."""

from dataclasses import replace
from typing import Literal

import polars as pl

from lodewalk.adapters.projection import to_geographic
from lodewalk.errors import InputError
from lodewalk.formats.delimited.column_map import ColumnMap
from lodewalk.formats.delimited.layout import Fields
from lodewalk.formats.delimited.values import numbers, row_error, texts

WGS84 = "EPSG:4326"
LIMITS = {"latitude": (-90.0, 90.0), "longitude": (-180.0, 360.0)}
SIGNS = {"latitude": {"N": 1, "S": -1}, "longitude": {"E": 1, "W": -1}}
BEFORE, AFTER = r"^([NSEWnsew])\s*[\d.]", r"[\d.]\s*([NSEWnsew])$"
Axis = Literal["latitude", "longitude"]


def angle(fields: Fields, name: Axis, column_map: ColumnMap) -> pl.Series:
    """Return latitude or longitude in decimal degrees, null where missing.

    Parameters
    ----------
    fields : Fields
        The split rows.
    name : str
        "latitude" or "longitude".
    column_map : ColumnMap
        Says how angles are written. A letter N, S, E or W may stand before or after the value,
        or in the column of the hemisphere.

    Raises
    ------
    InputError
        For an angle out of range, a wrong letter, or a sign beside a letter.

    Notes
    -----
    ``ddmm.mmm`` is degrees times 100 plus minutes, as NMEA 0183 writes positions: 4807.038
    is 48 degrees 7.038 minutes.
    """
    plain, letters = _letters_apart(fields, name)
    if fields.has(f"{name}_hemisphere"):
        letters = texts(fields, f"{name}_hemisphere", column_map).str.to_uppercase()
    values = numbers(plain, name, column_map)
    if column_map.position.angles == "ddmm.mmm":
        values = _from_minutes(fields, name, values)
    if letters is not None:
        values = _signed(fields, name, values, letters)
    _check_limits(fields, name, values, column_map)
    return values.alias(f"{name}_deg")


def _letters_apart(fields: Fields, name: Axis) -> tuple[Fields, pl.Series | None]:
    """Return the fields without letters in one angle, and the letters, None where none are."""
    series = fields.frame[name]
    if series.dtype != pl.String or not series.str.contains_any(list("NSEWnsew")).any():
        return fields, None
    # Only a letter beside a figure is a hemisphere; words such as "none" stay to be refused.
    letters = series.str.extract(BEFORE, 1).fill_null(series.str.extract(AFTER, 1))
    if letters.null_count() == letters.len():
        return fields, None
    plain = series.str.replace(r"^[NSEWnsew]\s*([\d.])", "$1")
    plain = plain.str.replace(r"([\d.])\s*[NSEWnsew]$", "$1")
    bare = replace(fields, frame=fields.frame.with_columns(plain.alias(name)))
    return bare, letters.str.to_uppercase()


def _from_minutes(fields: Fields, name: Axis, values: pl.Series) -> pl.Series:
    """Turn ddmm.mmm into degrees."""
    size = values.abs()
    degrees = (size / 100).floor()
    minutes = size - degrees * 100
    if (minutes >= 60).any():
        raise row_error(
            fields,
            minutes >= 60,
            f"The minutes of {name} must be below 60.",
            value=values,
            remedy='Set position.angles = "decimal degrees" if these are decimal degrees.',
        )
    return (degrees + minutes / 60) * (values < 0).cast(pl.Float64).replace({1.0: -1.0, 0.0: 1.0})


def _signed(fields: Fields, name: Axis, values: pl.Series, letters: pl.Series) -> pl.Series:
    """Give values the sign of their letters."""
    known = SIGNS[name]
    signs = letters.replace_strict(known, default=None, return_dtype=pl.Float64)
    wrong = values.is_not_null() & signs.is_null()
    if wrong.any():
        raise row_error(
            fields,
            wrong,
            f"{name} needs the letter {' or '.join(known)}.",
            value=letters,
            remedy="Are latitude and longitude swapped in columns?",
        )
    if ((values < 0) & signs.is_not_null()).any():
        raise row_error(
            fields, values < 0, f"{name} has a sign and a letter of the hemisphere.", value=values,
            remedy="Leave the column of the hemisphere out of the column map.",
        )  # fmt: skip
    return values * signs


def _check_limits(fields: Fields, name: Axis, values: pl.Series, column_map: ColumnMap) -> None:
    """Raise for an angle out of range."""
    low, high = LIMITS[name]
    outside = (values < low) | (values > high)
    if not outside.any():
        return
    first = int(outside.fill_null(value=False).arg_max() or 0)
    raise row_error(
        fields,
        outside,
        f"{name} must lie in {low:g} to {high:g} degrees.",
        value=values,
        remedy=_reason(fields, name, values, first, column_map),
    )


def _reason(
    fields: Fields, name: Axis, values: pl.Series, first: int, column_map: ColumnMap
) -> str:
    """Return the likeliest reason for an angle out of range."""
    if values.head(first).is_not_null().any():
        return "Did the columns shift from this line on?"
    if values.abs().max() > 360:  # type: ignore[operator]
        return "Are these easting and northing, or ddmm.mmm (position.angles)?"
    other = "longitude" if name == "latitude" else "latitude"
    if name == "latitude" and fields.has(other):
        value = numbers(_letters_apart(fields, "longitude")[0], other, column_map)[first]
        if value is not None and abs(value) <= 90:
            return "Are latitude and longitude swapped?"
    return f"Correct columns.{name} in the column map."


def position_columns(fields: Fields, column_map: ColumnMap) -> list[pl.Series]:
    """Return the columns of position that the file has, as recorded.

    Parameters
    ----------
    fields : Fields
        The split rows.
    column_map : ColumnMap
        Says how positions are written.

    Returns
    -------
    list of polars.Series
        Of latitude_deg, longitude_deg [deg], easting_m, northing_m and height_m [m].
    """
    axes: tuple[Axis, ...] = ("latitude", "longitude")
    found = [angle(fields, name, column_map) for name in axes if fields.has(name)]
    found += [
        numbers(fields, name, column_map).alias(f"{name}_m")
        for name in ("easting", "northing", "height")
        if fields.has(name)
    ]
    return found


def geographic_columns(fields: Fields, column_map: ColumnMap) -> list[pl.Series]:
    """Return latitude, longitude on WGS84 [deg] and height [m], null where missing.

    Easting and northing are projected back where the file has no latitude and longitude.

    Raises
    ------
    InputError
        When easting and northing stand without a projected `position.crs`, or latitude and
        longitude are on another system than WGS84.
    """
    found = {series.name: series for series in position_columns(fields, column_map)}
    crs = column_map.position.crs
    missing = pl.Series([None] * fields.frame.height, dtype=pl.Float64)
    if "latitude_deg" not in found and "easting_m" in found:
        latitude, longitude = _projected_back(fields, found, crs)
    else:
        if crs not in (None, WGS84) and "latitude_deg" in found:
            raise InputError(
                "Latitude and longitude of a track or note must be on WGS84.",
                file=fields.file, value=crs, remedy="Leave position.crs out.",
            )  # fmt: skip
        latitude = found.get("latitude_deg", missing)
        longitude = found.get("longitude_deg", missing)
    height = found.get("height_m", missing)
    return [
        latitude.alias("latitude_deg"), longitude.alias("longitude_deg"), height.alias("height_m")
    ]  # fmt: skip


def _projected_back(
    fields: Fields, found: dict[str, pl.Series], crs: str | None
) -> tuple[pl.Series, pl.Series]:
    """Return latitude and longitude of easting and northing."""
    if crs is None:
        raise InputError(
            "Easting and northing of a track or note need their system.",
            file=fields.file,
            remedy='Set position.crs, such as "EPSG:32723".',
        )
    east, north = (
        found[name].fill_null(float("nan")).to_numpy() for name in ("easting_m", "northing_m")
    )
    try:
        longitude, latitude = to_geographic(east, north, crs=crs)
    except InputError as error:
        raise InputError(
            error.rule, file=fields.file, value=error.value, remedy=error.remedy
        ) from error
    return tuple(pl.Series(part, nan_to_null=True) for part in (latitude, longitude))  # type: ignore[return-value]
