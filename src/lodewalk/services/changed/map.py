"""What a run changed in the readings: which are kept, what their anomaly is."""

import numpy as np
import polars as pl
from numpy.typing import NDArray

#: Smaller changes of an anomaly are none [nT]; all readings moved by one amount within the second.
LEAST_NT, ALIKE_NT = 0.01, 0.005
#: Share by which the usual standard error changes at least.
LEAST_SHARE = 0.02


def reading_changes(before: pl.DataFrame, after: pl.DataFrame) -> list[str]:
    """Return what changed in the readings, as sentences.

    Parameters
    ----------
    before, after : DataFrame
        Columns `reading_id`, `kept`, `anomaly_nT` and `sd_nT`.
    """
    told = []
    if before.height != after.height:
        told.append(f"Readings: {before.height:,} became {after.height:,}.")
    kept = int(before["kept"].sum()), int(after["kept"].sum())
    if kept[0] != kept[1]:
        told.append(f"Kept readings: {kept[0]:,} became {kept[1]:,}.")
    both = before.filter("kept").join(after.filter("kept"), on="reading_id", suffix="_after")
    moved = (both["anomaly_nT_after"] - both["anomaly_nT"]).drop_nulls().to_numpy()
    return told + _moved(moved[np.isfinite(moved)]) + _error(before, after)


def _moved(moved: NDArray[np.float64]) -> list[str]:
    """Return how far anomalies moved."""
    far = moved[np.abs(moved) >= LEAST_NT]
    if not far.size:
        return []
    if far.size == moved.size and np.ptp(moved) <= ALIKE_NT:
        return [f"All anomalies moved by {float(np.median(moved)):+.2f} nT."]
    largest = float(far[np.argmax(np.abs(far))])
    return [
        f"Anomaly of {far.size:,} kept readings: moved by up to {largest:+.2f} nT, "
        f"half of them by less than {float(np.median(np.abs(far))):.2f} nT."
    ]


def _error(before: pl.DataFrame, after: pl.DataFrame) -> list[str]:
    """Return how the usual standard error changed."""
    old, new = (one.filter("kept")["sd_nT"].fill_nan(None).median() for one in (before, after))
    if not isinstance(old, float) or not isinstance(new, float) or not old:
        return []
    if abs(new / old - 1.0) < LEAST_SHARE:
        return []
    return [f"Standard error of a reading, median: {old:.2f} nT became {new:.2f} nT."]
