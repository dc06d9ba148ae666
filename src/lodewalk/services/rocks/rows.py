"""Rows of products as plain result classes."""

import math
from collections.abc import Mapping
from dataclasses import fields
from typing import Any, TypeVar, cast

import polars as pl

from lodewalk.handover.words import angle_digits as angle_digits
from lodewalk.methods.lineaments.evidence import SUREST
from lodewalk.records import Document
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import read_product

Row = TypeVar("Row")


def frame_of(folder: Folder, product: str) -> pl.DataFrame:
    """Return the frame of a product that is a table."""
    return cast(pl.DataFrame, cast(Any, read_product(folder, product)).frame)


def notes_of(folder: Folder, product: str) -> dict[str, Any]:
    """Return the values of a product that is a document."""
    return cast(Document, read_product(folder, product)).values


def filled(kind: type[Row], row: Mapping[str, Any]) -> Row:
    """Return a result of the values of a row that it has a field for, NaN as None."""
    names = [field.name for field in fields(cast(Any, kind))]
    return kind(**{name: plain(row[name]) for name in names})


def plain(value: Any) -> Any:
    """Return a value that JSON can hold.

    Examples
    --------
    >>> plain(float("nan")), plain(2.0)
    (None, 2.0)
    """
    return None if isinstance(value, float) and not math.isfinite(value) else value


def number(value: float | None, digits: int = 1) -> str:
    """Return a number for print, a dash where there is none.

    Examples
    --------
    >>> number(None), number(-0.04)
    ('-', '0.0')
    """
    if value is None:
        return "-"
    rounded = round(value, digits)
    return f"{rounded if rounded else 0.0:.{digits}f}"


def evidence(value: float) -> str:
    """Return the evidence of a lineament for print; trials bear no more than "over 0.999".

    Examples
    --------
    >>> evidence(0.9731), evidence(0.999)
    ('0.973', 'over 0.999')
    """
    return f"over {SUREST:g}" if value >= SUREST else f"{value:.3f}"


def interval(value: float | None, low: float | None, high: float | None, *, digits: int = 1) -> str:
    """Return an estimate with its 90 % interval for print.

    Examples
    --------
    >>> interval(12.0, 10.0, 15.0), interval(None, None, 9.0)
    ('12.0 (10.0 to 15.0)', 'under 9.0')
    """
    if value is not None:
        return f"{number(value, digits)} ({number(low, digits)} to {number(high, digits)})"
    if high is not None:
        return f"under {number(high, digits)}"
    return "-" if low is None else f"over {number(low, digits)}"
