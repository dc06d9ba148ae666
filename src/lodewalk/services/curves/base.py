"""The base record, thinned so that every spike stays visible."""

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.errors import FolderError, InputError
from lodewalk.services.curves.columns import Columns, seconds
from lodewalk.services.curves.kept import kept
from lodewalk.services.joined import base_record
from lodewalk.survey.folder import Folder

#: A silence longer than this many usual intervals is drawn as a gap.
GAP = 3.0
#: Products that the record of the base is joined from.
PRODUCTS = ("base_checks", "base_files", "base_times", "base_recorded")


def base_curve(
    folder: Folder,
    *,
    instrument: str | None = None,
    start_s: float | None = None,
    end_s: float | None = None,
    bins: int = 1500,
) -> Columns:
    """Return least and largest field of the base in each bin of a span of time.

    Parameters
    ----------
    instrument : str, optional
        Name of the base; the first when left out.
    start_s, end_s : float, optional
        Span in seconds since 1970, UTC; the whole record when left out.
    bins : int
        Number of bins; a record with fewer readings is given whole, each its own least and largest.

    Returns
    -------
    Columns
        ``time_s``, ``low_nT`` and ``high_nT`` less the datum in `about`; NaN in gaps.

    Raises
    ------
    FolderError
        Before the first run, or without a base.
    InputError
        For a base that isn't there, or a span that ends before it begins.
    """
    bases = kept(folder, "base", PRODUCTS, lambda: _bases(folder))
    if not bases:
        raise FolderError("There is no base record yet. Add the base's files and run.")
    names = list(bases)
    name = instrument or names[0]
    if name not in bases:
        raise InputError(
            "There is no such base.", value=name, remedy=f"Bases are {', '.join(names)}."
        )
    times, field, datum = bases[name]
    whole = (float(times[0]), float(times[-1])) if times.size else (0.0, 0.0)
    first, last = start_s or whole[0], end_s or whole[1]
    if last < first:
        raise InputError("A span ends after it begins.", value=last)
    usual = float(np.median(np.diff(times))) if times.size > 1 else 1.0
    inside = slice(int(np.searchsorted(times, first)), int(np.searchsorted(times, last, "right")))
    middle, low, high = thinned(times[inside], field[inside], bins=bins, gap_s=GAP * usual)
    return Columns(
        {
            "instrument": name,
            "instruments": names,
            "datum_nT": datum,
            "start_s": whole[0],
            "end_s": whole[1],
            "interval_s": usual,
            "readings": int(inside.stop - inside.start),
        },
        {"time_s": middle, "low_nT": low.astype("f4"), "high_nT": high.astype("f4")},
    )


def _bases(folder: Folder) -> dict[str, tuple[NDArray[np.float64], NDArray[np.float64], float]]:
    """Return time, field less a datum, and the datum of each base; none without a record."""
    record = base_record(folder)
    if record is None:
        return {}
    found = {}
    for name in record.frame["instrument"].unique(maintain_order=True).to_list():
        own = record.frame.filter((pl.col("instrument") == name) & pl.col("kept"))
        field = own["raw_nT"].to_numpy()
        datum = float(np.round(np.median(field))) if field.size else 0.0
        found[name] = (seconds(own["time_utc"]), field - datum, datum)
    return found


def thinned(
    times_s: NDArray[np.float64], values: NDArray[np.float64], *, bins: int, gap_s: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return time, least and largest value of each bin that holds readings, NaN in long gaps.

    Examples
    --------
    >>> t, low, high = thinned(np.arange(4.0), np.array([1.0, 5, 2, 3]), bins=2, gap_s=3)
    >>> t.tolist(), low.tolist(), high.tolist()
    ([0.5, 2.5], [1.0, 2.0], [5.0, 3.0])
    """
    if times_s.size <= bins:
        middle, low, high = times_s, values, values
    else:
        edges = np.linspace(times_s[0], times_s[-1], bins + 1)[1:-1]
        starts = np.unique(np.r_[0, np.searchsorted(times_s, edges)])
        starts = starts[starts < times_s.size]
        low, high = np.minimum.reduceat(values, starts), np.maximum.reduceat(values, starts)
        ends = np.r_[starts[1:], times_s.size] - 1
        middle = 0.5 * (times_s[starts] + times_s[ends])
        gap_s = max(gap_s, 2.0 * float(times_s[-1] - times_s[0]) / bins)
    holes = np.flatnonzero(np.diff(middle) > gap_s) + 1
    nan = np.full(holes.size, np.nan)
    between = 0.5 * (middle[holes - 1] + middle[holes]) if holes.size else nan
    return (
        np.insert(middle, holes, between),
        np.insert(low, holes, nan),
        np.insert(high, holes, nan),
    )
