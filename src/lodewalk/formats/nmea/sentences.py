"""Lines of a log: which are sentences, and whether their checksums are right."""

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

DOLLAR, STAR, HASH, BANG, NEWLINE, SPACE = b"$*#!\n "
_HEX = np.full(256, 99, dtype=np.uint8)
for _digits in (b"0123456789ABCDEF", b"0123456789abcdef"):
    _HEX[list(_digits)] = np.arange(16)


@dataclass(frozen=True)
class Lines:
    """The lines of a log, sorted out.

    Parameters
    ----------
    sound : polars.DataFrame
        `line_in_file` and `body` (between ``$`` and ``*``) of each sentence whose checksum is
        right.
    damaged : array of int
        Numbers of the other lines, comments and blank lines left out.
    """

    sound: pl.DataFrame
    damaged: NDArray[np.int64]


def sort_out(raw: bytes) -> Lines:
    r"""Check each line of a log.

    A sentence is sound if it is ``$``, a body of ASCII, ``*`` and two hexadecimal digits that
    are the exclusive or of the bytes of the body, with nothing but blanks behind. Lines that
    begin with ``#`` or ``!`` (comments, and other sentences that the standard allows) are passed
    over. A sentence without a checksum counts as damaged: nothing tells whether it is whole.

    Examples
    --------
    >>> lines = sort_out(b"$GPAAM,A*37\n$GPAAM,A*36\n")
    >>> lines.sound["line_in_file"].to_list(), lines.damaged.tolist()
    ([1], [2])
    """
    data = np.frombuffer(raw + b"\n\n\n\n", dtype=np.uint8)
    ends = np.flatnonzero(data[: len(raw) + 1] == NEWLINE)
    starts = np.concatenate([[0], ends[:-1] + 1])
    filled = _filled(data, starts, ends)
    stars = _first_star(data, starts, ends)
    sound = (data[starts] == DOLLAR) & (stars > starts + 1)
    sound[sound] &= _checked(data, starts[sound], stars[sound], ends[sound])
    passed = np.isin(data[starts], (HASH, BANG))
    numbers = np.arange(1, len(starts) + 1)
    bodies = [
        raw[start + 1 : star].decode("ascii", "replace")
        for start, star in zip(starts[sound].tolist(), stars[sound].tolist(), strict=True)
    ]
    body = pl.Series(bodies, dtype=pl.String)
    frame = pl.DataFrame({"line_in_file": numbers[sound], "body": body})
    return Lines(frame, numbers[filled & ~sound & ~passed])


def _filled(
    data: NDArray[np.uint8], starts: NDArray[np.int64], ends: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Tell which stretches, each up to the end of a line, hold anything but blanks."""
    bounds = np.column_stack([starts, ends]).ravel()
    return np.asarray(np.logical_or.reduceat(data > SPACE, bounds)[::2])


def _first_star(
    data: NDArray[np.uint8], starts: NDArray[np.int64], ends: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Return where the first star of each line is, -1 where there is none."""
    stars = np.append(np.flatnonzero(data == STAR), len(data))
    first = stars[np.searchsorted(stars, starts)]
    return np.where(first < ends, first, -1)


def _checked(
    data: NDArray[np.uint8],
    starts: NDArray[np.int64],
    stars: NDArray[np.int64],
    ends: NDArray[np.int64],
) -> NDArray[np.bool_]:
    """Tell which sentences carry the right checksum and nothing behind it."""
    if not len(starts):
        return np.zeros(0, dtype=np.bool_)
    bounds = np.column_stack([starts + 1, stars]).ravel()
    computed = np.bitwise_xor.reduceat(data, bounds)[::2]
    high, low = _HEX[data[stars + 1]], _HEX[data[stars + 2]]
    written = high.astype(np.int64) * 16 + low
    bare = ~_filled(data, np.minimum(stars + 3, ends), ends)
    whole = (high < 16) & (low < 16) & (stars + 2 < ends)
    return np.asarray(whole & (computed == written) & bare)
