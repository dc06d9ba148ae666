"""Columns of numbers with what there is to say of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.errors import FolderError
from lodewalk.records import Table
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path, read_product


@dataclass(frozen=True)
class Columns:
    """Arrays of one length or several, by name, and what is said of them; units end the names."""

    about: Mapping[str, Any]
    values: Mapping[str, NDArray[Any]]


def frame_of(folder: Folder, product: str) -> pl.DataFrame:
    """Return the table of a product.

    Raises
    ------
    FolderError
        Where it hasn't been made yet.
    """
    made(folder, product)
    found = read_product(folder, product)
    assert isinstance(found, Table)
    return found.frame


def made(folder: Folder, product: str) -> None:
    """Raise where a product hasn't been made yet."""
    if not product_path(folder, product).exists():
        raise FolderError(f"There is no product {product} yet. Run the survey first.")


def seconds(times: pl.Series) -> NDArray[np.float64]:
    """Return UTC times as seconds since 1970, NaN where there is none."""
    return times.dt.epoch("us").cast(pl.Float64).fill_null(float("nan")).to_numpy() / 1e6


def small(values: pl.Series, less: float = 0.0) -> NDArray[np.float32]:
    """Return numbers less an origin in 32 bits, which the origin would cost their last digits."""
    found = values.cast(pl.Float64).fill_null(float("nan")).to_numpy() - less
    return found.astype(np.float32)


def utc(time: datetime | None) -> str | None:
    """Return a time as text."""
    return None if time is None else time.strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3] + "Z"


def codes(values: pl.Series) -> tuple[NDArray[np.int32], Sequence[str]]:
    """Return texts as numbers into a list of them; -1 where there is none.

    Examples
    --------
    >>> numbers, names = codes(pl.Series(["b", None, "a", "b"]))
    >>> numbers.tolist(), names
    ([1, -1, 0, 1], ['a', 'b'])
    """
    names = sorted(values.drop_nulls().unique().to_list())
    places = {name: place for place, name in enumerate(names)}
    numbers = values.replace_strict(places, default=-1, return_dtype=pl.Int32)
    return numbers.fill_null(-1).to_numpy(), names
