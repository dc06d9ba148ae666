"""Fields to values: numbers and texts, with one rule for what is missing."""

import polars as pl

from lodewalk.errors import InputError
from lodewalk.formats.delimited.column_map import FIX_WORDS, ColumnMap
from lodewalk.formats.delimited.layout import LINE, NUMBER, Fields

NAN_WORDS = ("nan", "+nan", "-nan")
# Runs of nines, as instruments write for "no reading": 9999, 99999.9, 99999.99, ...
NINES = tuple(float("9" * whole + "." + "9" * part) for whole in range(4, 9) for part in range(6))
# Field 6 of the GGA sentence of NMEA 0183 (from memory): 1 single, 2 differential, 3 precise
# service, 4 fixed and 5 float ambiguities, 6 estimated, 7 entered by hand, 8 simulated.
FIX_NUMBERS = {
    "0": "none", "1": "3d", "2": "dgps", "3": "3d", "4": "rtk", "5": "float",
    "6": "none", "7": "none", "8": "none",
}  # fmt: skip


def missing_texts(column_map: ColumnMap, *, numeric: bool) -> list[str]:
    """Return the texts that stand for nothing; numbers count in numeric columns only."""
    return [text.strip() for text in column_map.missing if numeric or _number(text) is None]


def missing_numbers(column_map: ColumnMap) -> list[float]:
    """Return the numbers that stand for nothing in numeric columns."""
    found = (_number(text.replace(",", ".")) for text in column_map.missing)
    return [value for value in found if value is not None]


def _number(text: str) -> float | None:
    """Return the number that a text writes, None for another text."""
    return float(text) if NUMBER.fullmatch(text.strip()) else None


def numbers(
    fields: Fields, name: str, column_map: ColumnMap, *, extra: tuple[float, ...] = ()
) -> pl.Series:
    """Return one of our columns as numbers, null where missing.

    Parameters
    ----------
    fields : Fields
        The split rows.
    name : str
        One of our names.
    column_map : ColumnMap
        Says what is missing and what the decimal sign is.
    extra : tuple of float
        More numbers that stand for nothing in this column.

    Returns
    -------
    polars.Series of Float64

    Raises
    ------
    InputError
        For a text that is no number, or a number that is not finite.
    """
    series = fields.frame[name]
    if series.dtype == pl.String:
        series = _parsed(fields, series, name, column_map)
    if series.null_count() < series.len() and series.is_nan().any():
        series = series.fill_nan(None)
    gone = [*missing_numbers(column_map), *extra]
    if gone:
        series = _without(series, gone)
    _check_finite(fields, series, name)
    return series


def _parsed(fields: Fields, raw: pl.Series, name: str, column_map: ColumnMap) -> pl.Series:
    """Parse texts as numbers or raise for the first that is none."""
    shown = raw.str.replace(",", ".", literal=True) if column_map.decimal == "," else raw
    parsed = shown.cast(pl.Float64, strict=False)
    if parsed.null_count() == raw.null_count():
        return parsed
    gone = [*missing_texts(column_map, numeric=True), ""]
    missing = raw.is_in(gone) | raw.str.to_lowercase().is_in(NAN_WORDS)
    wrong = ~missing & parsed.is_null()
    if wrong.any():
        raise row_error(
            fields,
            wrong,
            f"{name} must be a number.",
            value=raw,
            remedy="If this stands for a missing value, add it to missing in the column map; "
            "else check decimal and columns.",
        )
    return parsed


def _without(series: pl.Series, gone: list[float]) -> pl.Series:
    """Return numbers with null in place of some of them."""
    hit = series.is_in(gone)
    if not hit.any():
        return series
    return pl.select(pl.when(~hit).then(series)).to_series().alias(series.name)


def _check_finite(fields: Fields, series: pl.Series, name: str) -> None:
    """Raise for an infinite number."""
    infinite = series.is_infinite()
    if infinite.any():
        raise row_error(fields, infinite, f"{name} must be finite.", value=series)


def texts(fields: Fields, name: str, column_map: ColumnMap) -> pl.Series:
    """Return one of our columns as text without blanks around it, null where missing.

    Parameters
    ----------
    fields : Fields
        The split rows.
    name : str
        One of our names.
    column_map : ColumnMap
        Says what is missing; numbers among `missing` count in numeric columns only.
    """
    series = fields.frame[name].str.strip_chars()
    gone = series.is_in([*missing_texts(column_map, numeric=False), ""])
    if not gone.any():
        return series
    return pl.select(pl.when(~gone).then(series)).to_series().alias(name)


def fixes(fields: Fields, column_map: ColumnMap) -> pl.Series:
    """Return the kind of position fix in our words.

    Raises
    ------
    InputError
        For a mark that is neither one of our words, nor a number of NMEA 0183, nor in the map.
    """
    known = {word: word for word in FIX_WORDS} | FIX_NUMBERS | dict(column_map.position.fix)
    found = texts(fields, "fix", column_map)
    plain = found.replace_strict(known, default=None, return_dtype=pl.String)
    lower = found.str.to_lowercase().replace_strict(known, default=None, return_dtype=pl.String)
    kinds = plain.fill_null(lower)
    wrong = found.is_not_null() & kinds.is_null()
    if wrong.any():
        raise row_error(
            fields,
            wrong,
            f"fix must be one of {', '.join(FIX_WORDS)} or an NMEA number 0 to 8.",
            value=found,
            remedy="Give the meaning of this mark in position.fix of the column map.",
        )
    return kinds


def row_error(
    fields: Fields, mask: pl.Series, rule: str, *, value: object, remedy: str = ""
) -> InputError:
    """Return the error for the first row where `mask` is true.

    Parameters
    ----------
    fields : Fields
        The rows.
    mask : polars.Series of Boolean
        Where the rule is broken.
    rule : str
        The rule.
    value : series or object
        Values a row, of which the one found is shown, or the value itself.
    remedy : str
        What the user can do.
    """
    place = mask.fill_null(value=False).arg_max() or 0
    if place == 0 and fields.frame.height > 1:
        remedy = f"{remedy} If this is the line of names, set header.".strip()
    shown = value[place] if isinstance(value, pl.Series) else value
    line = fields.frame[LINE][place]
    return InputError(rule, file=fields.file, line=line, value=shown, remedy=remedy)
