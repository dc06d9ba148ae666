"""Columns of text: numbers with fixed decimals, and times as files write them."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.validation import FloatArray


def numbers(values: ArrayLike, decimals: int, *, comma: bool = False) -> list[str]:
    """Return numbers with fixed decimals, empty where missing.

    Examples
    --------
    >>> numbers([1.25, float("nan")], 1, comma=True)
    ['1,2', '']
    """
    plain = np.asarray(values, dtype=float).tolist()
    texts = [f"{value:.{decimals}f}" if value == value else "" for value in plain]
    return [text.replace(".", ",") for text in texts] if comma else texts


def utc_texts(time_s: FloatArray, *, unit: str = "s") -> list[str]:
    """Return Unix seconds as ISO 8601 with `T` and `Z`.

    Examples
    --------
    >>> utc_texts(np.array([0.0]))
    ['1970-01-01T00:00:00Z']
    """
    steps = np.round(np.asarray(time_s) * (1000.0 if unit == "ms" else 1.0)).astype(np.int64)
    stamps = np.datetime_as_string(steps.astype(f"datetime64[{unit}]"))
    return [f"{stamp}Z" for stamp in stamps.tolist()]


def write_rows(
    path: Path, head: Sequence[str], columns: Sequence[Sequence[str]], *, sign: str = ","
) -> None:
    """Write head lines and then the columns side by side, with unix line ends."""
    body = map(sign.join, zip(*columns, strict=True))
    path.write_text("\n".join([*head, *body, ""]), encoding="utf-8", newline="\n")
