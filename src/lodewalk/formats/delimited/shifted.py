"""Columns that shift half-way: the field leaves its range and another column enters it."""

import polars as pl

from lodewalk.errors import InputError
from lodewalk.formats.delimited.layout import LINE, Fields

# The field of the Earth lies between about 22 000 and 67 000 nT (IGRF-14); bodies on the ground
# change it by less than the rest of this range.
FIELD_RANGE_NT = (10_000.0, 100_000.0)
FEWEST_ROWS = 3


def check_not_shifted(fields: Fields, field: pl.Series) -> None:
    """Raise when the columns shift from some row to the end.

    They do when the field lies out of the range of the Earth's field in every row from there on,
    in range before, and another column of the file is in that range in every row from there on
    and in no row before.

    Parameters
    ----------
    fields : Fields
        The split rows.
    field : polars.Series
        Total field, null where missing [nT].

    Raises
    ------
    InputError
        With the first row that is shifted; also where only the slower way, which keeps every
        column, can tell.
    """
    begin = _leaves_range(field)
    if begin is None:
        return
    if fields.parts is None:
        raise InputError("The field leaves the range of the Earth's field.", file=fields.file)
    for place in range(fields.column_count):
        other = fields.parts.list.get(place, null_on_oob=True).str.strip_chars()
        inside = _inside(other.cast(pl.Float64, strict=False))
        if inside[begin:].all() and not inside[:begin].any():
            raise InputError(
                "The columns shift: the field moves to another column here.",
                file=fields.file,
                line=fields.frame[LINE][begin],
                value=field[begin],
                remedy="Split the file there, or correct the rows in a copy.",
            )


def _inside(series: pl.Series) -> pl.Series:
    """Tell where a value lies in the range of the Earth's field."""
    low, high = FIELD_RANGE_NT
    return ((series >= low) & (series <= high)).fill_null(value=False)


def _leaves_range(field: pl.Series) -> int | None:
    """Return the row from which the field is out of range to the end, None where it is not."""
    low, high = FIELD_RANGE_NT
    outside = (field < low) | (field > high)
    present = outside.drop_nulls()
    if not present.len() or not present[-1] or present.all():
        return None
    last_inside = present.len() - 1 - int((~present).reverse().arg_max() or 0)
    if present.len() - 1 - last_inside < FEWEST_ROWS:
        return None
    places = outside.is_not_null().arg_true()
    return int(places[last_inside + 1])


def field_doubt(field: pl.Series) -> list[str]:
    """Return a sentence when no value looks like the Earth's field."""
    if field.null_count() == field.len() or _inside(field).any():
        return []
    low, high = FIELD_RANGE_NT
    return [f"No field lies in {low:,.0f} to {high:,.0f} nT: is it the right column, and in nT?"]
